package physics

import (
	"fmt"
	"math"
	"slices"
)

// Copper at 20 °C: 58 MS/m by definition of the standard annealed copper, and its temperature coefficient at constant
// mass (IEC 60028:1925).
const (
	copperConductivity           = 58 // m/(Ω mm²)
	CopperCoefficient  PerKelvin = 0.00393
	iec60028                     = "IEC 60028:1925"
	iec60228                     = "IEC 60228 ed. 3 (2004)"
)

// ResistanceAt is the resistance at temperature t, in Ω, of a metal that has resistance r at the reference
// temperature, by the linear law R = r (1 + α (t - reference)). The law holds over the range in which α was measured;
// r must be 0 to 1e9 Ω, α -0.1 to 0.1 1/K, both temperatures -200 to 3500 °C, and the factor positive; else
// *RangeError. Source: temperature coefficient of resistance, any handbook of physics.
func ResistanceAt(r Ohm, alpha PerKelvin, reference, t Celsius) (Ohm, error) {
	err := within(in("resistance", r, 1, 0, 1e9, "Ω"), in("temperature_coefficient", alpha, 1, -0.1, 0.1, "1/K"),
		in("reference_temperature", reference, 1, -200, 3500, "°C"), in("temperature", t, 1, -200, 3500, "°C"))
	if err != nil {
		return 0, err
	}
	factor := 1 + float64(alpha)*float64(t-reference)
	if err := within(bound{"resistance_factor", factor, 1e-6, math.MaxFloat64, ""}); err != nil {
		return 0, err
	}
	return r * Ohm(factor), nil
}

// copperFactor is the resistance of copper at t over that at 20 °C.
func copperFactor(t Celsius) float64 { return 1 + float64(CopperCoefficient)*float64(t-20) }

// conductorTemperature is the range in which the linear law of copper holds well within one percent.
func conductorTemperature(t Celsius) bound {
	return in("conductor_temperature", t, 1, -60, 150, "°C")
}

// CopperResistivity is that of standard annealed copper in Ω m, from -60 to 150 °C, else *RangeError.
// Source: IEC 60028:1925, 1/58 Ω mm²/m at 20 °C and 0.00393 1/K.
func CopperResistivity(t Celsius) (OhmMetre, error) {
	if err := within(conductorTemperature(t)); err != nil {
		return 0, err
	}
	return OhmMetre(copperFactor(t) / copperConductivity * 1e-6), nil
}

// Construction is how a conductor is made up, which decides how much its resistance exceeds that of bare copper.
type Construction int

// The constructions. The classes are those of IEC 60228: stranded (2) and flexible (5), plain or tinned. Solid is
// standard copper of exactly the area, as in the gauge tables.
const (
	Class5 Construction = iota
	Class5Tinned
	Class2
	Class2Tinned
	Solid
)

var constructionNames = []string{"class 5 plain copper", "class 5 tinned copper", "class 2 plain copper",
	"class 2 tinned copper", "solid copper"}

// String names the construction.
func (c Construction) String() string { return name(constructionNames, int(c)) }

// name is for the small closed sets of this package.
func name(names []string, i int) string {
	if i < 0 || i >= len(names) {
		return fmt.Sprintf("unknown (%d)", i)
	}
	return names[i]
}

// one is the check of a member of such a set.
func one(field string, names []string, i int) bound {
	return bound{field, float64(i), 0, float64(len(names) - 1), ""}
}

// conductorTable is the largest resistance at 20 °C in Ω/km by area in mm²: IEC 60228 ed. 3 (2004), tables 2 and 3.
var conductorTable = []struct {
	area float64
	max  [4]float64 // class 5, class 5 tinned, class 2, class 2 tinned
}{
	{0.5, [4]float64{39.0, 40.1, 36.0, 36.7}},
	{0.75, [4]float64{26.0, 26.7, 24.5, 24.8}},
	{1, [4]float64{19.5, 20.0, 18.1, 18.2}},
	{1.5, [4]float64{13.3, 13.7, 12.1, 12.2}},
	{2.5, [4]float64{7.98, 8.21, 7.41, 7.56}},
	{4, [4]float64{4.95, 5.09, 4.61, 4.70}},
	{6, [4]float64{3.30, 3.39, 3.08, 3.11}},
	{10, [4]float64{1.91, 1.95, 1.83, 1.84}},
	{16, [4]float64{1.21, 1.24, 1.15, 1.16}},
	{25, [4]float64{0.780, 0.795, 0.727, 0.734}},
	{35, [4]float64{0.554, 0.565, 0.524, 0.529}},
	{50, [4]float64{0.386, 0.393, 0.387, 0.391}},
}

// StandardAreas are the nominal cross-sections from 0.5 to 50 mm², ascending, in m². Source: IEC 60228 ed. 3 (2004).
func StandardAreas() []SquareMetre {
	areas := make([]SquareMetre, len(conductorTable))
	for i, row := range conductorTable {
		areas[i] = SquareMetre(row.area) * SquareMillimetre
	}
	return areas
}

// Conductor is one wire of copper.
type Conductor struct {
	Construction Construction
	Area         SquareMetre
}

func (c Conductor) bounds() []bound {
	least, most := 0.5, 50.0
	if c.Construction == Solid {
		least, most = 0.005, 120
	}
	return []bound{one("cable_construction", constructionNames, int(c.Construction)),
		in("cable_area", c.Area, SquareMillimetre, least, most, "mm²")}
}

// perMetre is the resistance at 20 °C in Ω/m. Between the areas of the table it is the product of resistance and area
// that is taken on a straight line, since it hardly changes.
func (c Conductor) perMetre() float64 {
	area := float64(c.Area / SquareMillimetre)
	if c.Construction == Solid {
		return 1 / (copperConductivity * area)
	}
	products := make(curve, len(conductorTable))
	for i, row := range conductorTable {
		products[i] = point{row.area, row.area * row.max[c.Construction]}
	}
	return products.at(area) / area / 1000
}

// record adds the resistance of one metre at temperature t.
func (c Conductor) record(w *Working, t Celsius) OhmPerMetre {
	area, cold := float64(c.Area/SquareMillimetre), c.perMetre()
	switch {
	case c.Construction == Solid:
		w.step("resistance of a metre at 20 °C", "1/(γ·A)", cold, "Ω/m", iec60028, "1 / (58 × #)", area)
	case slices.ContainsFunc(StandardAreas(), func(a SquareMetre) bool { return math.Abs(float64(a-c.Area)) < 1e-12 }):
		w.find("resistance of a metre at 20 °C", fmt.Sprintf("%s mm², %v, table", number(area), c.Construction), cold,
			"Ω/m", iec60228)
	default:
		w.find("resistance of a metre at 20 °C", fmt.Sprintf("%s mm², %v, between the sizes of the table", number(area),
			c.Construction), cold, "Ω/m", iec60228)
	}
	hot := cold * copperFactor(t)
	w.step("resistance of a metre", "r20·(1 + α·(t − 20))", hot, "Ω/m", iec60028, "# × (1 + 0.00393 × (# − 20))",
		cold, float64(t))
	return OhmPerMetre(hot)
}

// ResistancePerMetre is the greatest resistance of a conductor in Ω/m at its temperature t, which a new cable may have
// by its standard. Areas of 0.5 to 50 mm² (solid 0.005 to 120 mm²) and -60 to 150 °C, else *RangeError.
// Source: IEC 60228 ed. 3 (2004), tables 2 and 3; solid copper IEC 60028:1925; temperature coefficient exact, where
// annex B of IEC 60228 rounds (they differ by less than half a percent to 100 °C).
func ResistancePerMetre(c Conductor, t Celsius) (OhmPerMetre, error) {
	if err := within(append(c.bounds(), conductorTemperature(t))...); err != nil {
		return 0, err
	}
	return OhmPerMetre(c.perMetre() * copperFactor(t)), nil
}

// ConductorResistance is the resistance in Ω of one conductor of the given length at its temperature t. Length 0 to
// 1000 m, else as ResistancePerMetre, which names the sources.
func ConductorResistance(c Conductor, length Metre, t Celsius) (Figure[Ohm], error) {
	if err := within(append(c.bounds(), in("cable_length", length, 1, 0, 1000, "m"),
		conductorTemperature(t))...); err != nil {
		return Figure[Ohm]{}, err
	}
	var w Working
	per := c.record(&w, t)
	r := Ohm(float64(per) * float64(length))
	w.step("resistance of the conductor", "r·L", float64(r), "Ω", ohmsLaw, "# × #", float64(per), float64(length))
	return Figure[Ohm]{r, w}, nil
}

// GaugeArea is the cross-section of a solid wire of an American gauge in m²: -3 (0000) to 40, else *RangeError. A
// stranded wire of the same gauge has the same area of metal and about two percent more resistance.
// Source: ASTM B258, d = 0.127 mm · 92^((36 - n)/39).
func GaugeArea(gauge int) (SquareMetre, error) {
	if err := within(bound{"cable_gauge", float64(gauge), -3, 40, "AWG"}); err != nil {
		return 0, err
	}
	d := 0.127 * math.Pow(92, float64(36-gauge)/39)
	return SquareMetre(math.Pi/4*d*d) * SquareMillimetre, nil
}
