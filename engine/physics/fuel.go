package physics

import "math"

// Fuel is a kind of fuel.
type Fuel int

// The fuels.
const (
	WinterDiesel Fuel = iota
	SummerDiesel
	ParaffinicDiesel // hydrotreated vegetable oil
	Biodiesel        // fatty-acid methyl ester, neat
	HeatingOil
	Kerosene
)

var fuelNames = []string{"winter diesel", "summer diesel", "paraffinic diesel", "biodiesel", "heating oil", "kerosene"}

// String names the fuel.
func (f Fuel) String() string { return name(fuelNames, int(f)) }

// FuelProperties are the density at 15 °C, the lower heating value, and the relative expansion.
type FuelProperties struct {
	Density      KilogramPerCubicMetre
	HeatingValue JoulePerKilogram
	Expansion    PerKelvin
	Source       string
}

var fuels = []FuelProperties{
	WinterDiesel:     {830.565, 43.027e6, 0.00084, "UK DESNZ conversion factors 2025, mineral diesel"},
	SummerDiesel:     {830.565, 43.027e6, 0.00084, "UK DESNZ conversion factors 2025, mineral diesel"},
	ParaffinicDiesel: {780, 44.0e6, 0.00084, memory},
	Biodiesel:        {883, 37.2e6, 0.00083, memory},
	HeatingOil:       {853.971, 42.569e6, 0.00084, "UK DESNZ conversion factors 2025, gas oil"},
	Kerosene:         {802.568, 43.865e6, 0.00095, "UK DESNZ conversion factors 2025, burning oil"},
}

// Properties are those of a usual lot of the fuel; one lot differs from another by two percent or so. An unknown fuel
// gives *RangeError. Source: in the result, with the expansion from a product table.
func (f Fuel) Properties() (FuelProperties, error) {
	if err := within(one("fuel_kind", fuelNames, int(f))); err != nil {
		return FuelProperties{}, err
	}
	return fuels[f], nil
}

func fuelTemperature(t Celsius) bound { return in("fuel_temperature", t, 1, -50, 60, "°C") }

// Density is that of the fuel at a temperature of -50 to 60 °C, in kg/m³, else *RangeError.
// Source: linear expansion from 15 °C with the coefficient of the fuel's properties.
func (f Fuel) Density(t Celsius) (KilogramPerCubicMetre, error) {
	if err := within(one("fuel_kind", fuelNames, int(f)), fuelTemperature(t)); err != nil {
		return 0, err
	}
	return fuels[f].Density * KilogramPerCubicMetre(1-float64(fuels[f].Expansion)*(float64(t)-15)), nil
}

func pumpDose(d CubicMetre) bound { return in("pump_dose", d, Microlitre, 1, 200, "µL") }
func strokeRate(r Hertz) bound    { return in("stroke_rate", r, 1, 0.05, 30, "Hz") }

// DosePerStroke is what a pump delivers a stroke, in m³, from what a measuring jar holds after a number of strokes: 1
// to 10,000 strokes and a dose of up to 200 µL, else *RangeError. Source: proportion. Pumps of small heaters deliver
// of the order of 20 µL (common practice, no source).
func DosePerStroke(volume CubicMetre, strokes int) (Figure[CubicMetre], error) {
	if err := within(in("fuel_volume", volume, Millilitre, 0, 2000, "mL"),
		bound{"strokes", float64(strokes), 1, 10000, ""}); err != nil {
		return Figure[CubicMetre]{}, err
	}
	dose := float64(volume/Microlitre) / float64(strokes)
	if err := within(bound{"pump_dose", dose, 0, 200, "µL"}); err != nil {
		return Figure[CubicMetre]{}, err
	}
	var w Working
	w.step("dose", "V/n", dose, "µL", "proportion", "# × 1000 / #", float64(volume/Millilitre), float64(strokes))
	return Figure[CubicMetre]{CubicMetre(dose) * Microlitre, w}, nil
}

// Burn is a heater at work: strokes a second, fuel a stroke, the fuel and its temperature, and the part of the heat
// that reaches the warm air.
type Burn struct {
	Rate        Hertz
	Dose        CubicMetre
	Fuel        Fuel
	Temperature Celsius
	Efficiency  Share
}

// HeatOutput is what a heater burns and gives.
type HeatOutput struct {
	Flow      CubicMetrePerSecond
	Mass      KilogramPerSecond
	Released  Watt
	Delivered Watt
	Working   Working
}

// HeatOutputOf is the fuel use and heat of a heater. Rate 0.05 to 30 Hz, dose 1 to 200 µL, fuel -50 to 60 °C,
// efficiency 0 to 1; a heat of more than 100 kW is no small heater; else *RangeError.
// Source: conservation of mass and energy with the fuel's density and lower heating value; about eight tenths of the
// heat reach the air (common practice, no source).
func HeatOutputOf(b Burn) (HeatOutput, error) {
	if err := within(strokeRate(b.Rate), pumpDose(b.Dose), one("fuel_kind", fuelNames, int(b.Fuel)),
		fuelTemperature(b.Temperature), share("efficiency", b.Efficiency)); err != nil {
		return HeatOutput{}, err
	}
	p := fuels[b.Fuel]
	var w Working
	density, perMillilitre := recordEnergy(&w, b.Fuel, b.Temperature)
	flow := float64(b.Rate) * float64(b.Dose/Microlitre)
	w.step("fuel", "f·V", flow, "µL/s", "conservation of mass", "# × #", float64(b.Rate), float64(b.Dose/Microlitre))
	w.step("fuel an hour", "3600 s", flow*3.6, "mL/h", "conservation of mass", "# × 3600 / 1000", flow)
	heat := flow * perMillilitre
	w.step("heat released", "fuel·energy", heat, "W", "conservation of energy", "# × #", flow, perMillilitre)
	if err := within(bound{"heat", heat, 0, 100e3, "W"}); err != nil {
		return HeatOutput{}, err
	}
	delivered := heat * float64(b.Efficiency)
	w.step("heat delivered", "η·heat", delivered, "W", "definition of efficiency", "# × #", float64(b.Efficiency), heat)
	cubic := flow * float64(Microlitre)
	return HeatOutput{CubicMetrePerSecond(cubic), KilogramPerSecond(cubic * density),
		Watt(cubic * density * float64(p.HeatingValue)), Watt(delivered), w}, nil
}

// recordEnergy adds the density in kg/m³ and the energy of a millilitre in kJ, which is that of a microlitre in J.
func recordEnergy(w *Working, f Fuel, t Celsius) (density, perMillilitre float64) {
	p := fuels[f]
	density = float64(p.Density) * (1 - float64(p.Expansion)*(float64(t)-15))
	w.step("density", "ρ15·(1 − β·(t − 15))", density, "kg/m³", p.Source, "# × (1 − # × (# − 15))",
		float64(p.Density), float64(p.Expansion), float64(t))
	perMillilitre = density * float64(p.HeatingValue) * 1e-9
	w.step("energy of a millilitre", "ρ·Hi", perMillilitre, "kJ", p.Source, "# × # / 1000", density,
		float64(p.HeatingValue)*1e-6)
	return density, perMillilitre
}

// FuelForHeat is the fuel, in m³/s, for a heat delivered of 1 W to 100 kW at an efficiency of 0.05 to 1 and a fuel of
// -50 to 60 °C, else *RangeError. It is the inverse of HeatOutputOf, which names the sources.
func FuelForHeat(delivered Watt, f Fuel, t Celsius, efficiency Share) (Figure[CubicMetrePerSecond], error) {
	err := within(in("heat", delivered, 1, 1, 100e3, "W"), one("fuel_kind", fuelNames, int(f)), fuelTemperature(t),
		in("efficiency", efficiency, 1, 0.05, 1, ""))
	if err != nil {
		return Figure[CubicMetrePerSecond]{}, err
	}
	var w Working
	_, perMillilitre := recordEnergy(&w, f, t)
	hourly := float64(delivered) / (float64(efficiency) * perMillilitre) * 3.6
	w.step("fuel an hour", "P/(η·energy)·3600 s", hourly, "mL/h", "conservation of energy",
		"# / (# × #) × 3600 / 1000", float64(delivered), float64(efficiency), perMillilitre)
	return Figure[CubicMetrePerSecond]{CubicMetrePerSecond(hourly * float64(Millilitre) / float64(Hour)), w}, nil
}

// Line is a fuel line from pick-up to burner and the pump that fills it.
type Line struct {
	Bore, Length Metre
	Dose         CubicMetre
	Rate         Hertz
}

func (l Line) bounds() []bound {
	return []bound{in("line_bore", l.Bore, Millimetre, 0.5, 12, "mm"), in("line_length", l.Length, 1, 0, 50, "m"),
		pumpDose(l.Dose), strokeRate(l.Rate)}
}

// Priming is what fills an empty line.
type Priming struct {
	Volume  CubicMetre
	Strokes int
	Time    Second
	Working Working
}

// record adds the volume of the line in mL.
func (l Line) record(w *Working) float64 {
	bore := float64(l.Bore / Millimetre)
	volume := math.Pi / 4 * bore * bore * float64(l.Length)
	w.step("volume of the line", "π/4·d²·L", volume, "mL", geometry, "3.14159265 / 4 × # ^ 2 × #", bore,
		float64(l.Length))
	return volume
}

// Prime is how many strokes fill an empty line, and how long that takes. Bore 0.5 to 12 mm, length 0 to 50 m, dose 1 to
// 200 µL, rate 0.05 to 30 Hz, else *RangeError. A dry pump moves less than its dose, so that the first strokes count
// for less; priming ends when fuel stands at the burner's end of the line, and not before or after.
// Source: geometry; that each stroke moves its dose is an assumption.
func Prime(l Line) (Priming, error) {
	if err := within(l.bounds()...); err != nil {
		return Priming{}, err
	}
	var w Working
	volume := l.record(&w)
	dose := float64(l.Dose / Microlitre)
	strokes := math.Ceil(volume * 1000 / dose * (1 - roundingShare))
	w.step("strokes", "V/dose, rounded up", strokes, "", "conservation of mass", "ceil(# × 1000 / #)", volume, dose)
	seconds := strokes / float64(l.Rate)
	w.step("time", "strokes/rate", seconds, "s", "definition of the rate", "# / #", strokes, float64(l.Rate))
	return Priming{CubicMetre(volume) * Millilitre, int(strokes), Second(seconds), w}, nil
}

// StandingFuel is the volume, in m³, that stands unburnt in the chamber when a line that was empty is primed for a
// number of strokes: what went in beyond the volume of the line. Strokes 0 to 100,000, else as Prime. Fuel that stands
// there is soaked up cold, never burnt off.
// Source: conservation of mass; nothing is taken to evaporate or to leak, so that it is the most there can be.
func StandingFuel(l Line, strokes int) (Figure[CubicMetre], error) {
	if err := within(append(l.bounds(), bound{"strokes", float64(strokes), 0, 100000, ""})...); err != nil {
		return Figure[CubicMetre]{}, err
	}
	var w Working
	volume := l.record(&w)
	pumped := float64(strokes) * float64(l.Dose/Millilitre)
	w.step("volume pumped", "n·dose", pumped, "mL", "conservation of mass", "# × # / 1000", float64(strokes),
		float64(l.Dose/Microlitre))
	over := max(0, pumped-volume)
	w.step("standing in the chamber", "pumped − line, not below zero", over, "mL", "conservation of mass",
		"max(0, # − #)", pumped, volume)
	return Figure[CubicMetre]{CubicMetre(over) * Millilitre, w}, nil
}
