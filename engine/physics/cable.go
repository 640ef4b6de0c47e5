package physics

import (
	"fmt"
	"math"
	"slices"
)

// ampacities are the currents, in A, that a single cable with 70 °C insulation carries for good at 30 °C, by area in
// mm²: ISO 10133, annex A, from memory.
var ampacities = curve{{0.75, 10}, {1, 14}, {1.5, 18}, {2.5, 25}, {4, 35}, {6, 45}, {10, 65}, {16, 90}, {25, 120},
	{35, 160}, {50, 210}}

const ampacitySource = "ISO 10133, annex A, 70 °C insulation, single cable, from memory"

// insulationLimit and tableAmbient are those of the table, in °C.
const (
	insulationLimit = 70
	tableAmbient    = 30
)

// Ampacity is the current, in A, that a single copper cable with 70 °C insulation may carry for good in free air. Area
// 0.75 to 50 mm², ambient -40 to 65 °C, else *RangeError; below 30 °C it is not taken for more than at 30 °C.
// Cables in bundles, ducts or insulation carry less.
// Source: ISO 10133, annex A, from memory; ambient by the heat balance, current² ∝ warming, as the factors of BS
// 7671.
func Ampacity(area SquareMetre, ambient Celsius) (Figure[Ampere], error) {
	err := within(in("cable_area", area, SquareMillimetre, 0.75, 50, "mm²"), cableAmbient(ambient))
	if err != nil {
		return Figure[Ampere]{}, err
	}
	var w Working
	i := recordAmpacity(&w, area, ambient)
	return Figure[Ampere]{i, w}, nil
}

func cableAmbient(t Celsius) bound { return in("ambient_temperature", t, 1, -40, 65, "°C") }

func recordAmpacity(w *Working, area SquareMetre, ambient Celsius) Ampere {
	mm2 := float64(area / SquareMillimetre)
	free := ampacities.at(mm2)
	w.find("current at 30 °C", number(mm2)+" mm², table", free, "A", ampacitySource)
	t := max(float64(ambient), tableAmbient)
	i := free * math.Sqrt((insulationLimit-t)/(insulationLimit-tableAmbient))
	w.step("current at ambient", "I·√((70 − t)/(70 − 30)), t at least 30", i, "A", "heat balance",
		"# × sqrt((70 − #) / (70 − 30))", free, t)
	return Ampere(i)
}

// bladeRatings are in A: ISO 8820-3, as its colours are listed.
var bladeRatings = []Ampere{1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 35, 40}

// BladeRatings are the rated currents of blade fuses up to 40 A, ascending. Source: ISO 8820-3.
func BladeRatings() []Ampere { return slices.Clone(bladeRatings) }

// lasting is the part of its rating that a fuse carries for good: common practice, no source.
const lasting = 0.8

// largestLoad is what the largest blade fuse carries.
const largestLoad = lasting * 40

// Fuse is the rating, in A, of the blade fuse for a load on a cable: the smallest whose eight tenths carry the load. It
// must not exceed the cable's ampacity, so that the fuse goes before the cable burns; if it would, or if the load is
// not 0.1 to 32 A or the ampacity not 1 to 300 A, *RangeError. A blown fuse is never replaced by a larger one.
// Source: ratings ISO 8820-3; eight tenths are common practice, no source.
func Fuse(load, ampacity Ampere) (Figure[Ampere], error) {
	if err := within(in("current", load, 1, 0.1, largestLoad, "A"), in("ampacity", ampacity, 1, 1, 300, "A")); err != nil {
		return Figure[Ampere]{}, err
	}
	var w Working
	rating := recordFuse(&w, load)
	if rating > ampacity {
		return Figure[Ampere]{}, &RangeError{"fuse", float64(rating), 0, float64(ampacity), "A"}
	}
	return Figure[Ampere]{rating, w}, nil
}

func recordFuse(w *Working, load Ampere) Ampere {
	least := float64(load) / lasting
	w.step("least rating", "I/0.8", least, "A", practice, "# / 0.8", float64(load))
	i, _ := slices.BinarySearch(bladeRatings, Ampere(least*(1-roundingShare)))
	w.find("fuse", "next blade fuse", float64(bladeRatings[i]), "A", "ISO 8820-3")
	return bladeRatings[i]
}

// fuseTimes bounds the time in which a blade fuse opens, in s, by the multiple of its rating.
var fuseTimes = []struct{ multiple, soonest, latest float64 }{
	{1.35, 0.75, 600}, {1.6, 0.25, 50}, {2, 0.15, 5}, {3.5, 0.04, 0.5}, {6, 0.02, 0.1},
}

const fuseSource = "ISO 8820-3 type C, from memory; editions differ"

// Opening is the time in which a fuse must open: not before Soonest, not after Latest.
type Opening struct {
	Soonest, Latest Second
	Working         Working
}

// FuseOpening is the time in which a blade fuse opens at a current. Rating 1 to 40 A; the current must be 1.35 to 6
// times the rating: below, the standard asks only that 1.1 times be carried for 100 h; else *RangeError.
// Source: ISO 8820-3 type C, from memory, editions differ; between its points a straight line of logarithms.
func FuseOpening(rating, current Ampere) (Opening, error) {
	if err := within(in("fuse", rating, 1, 1, 40, "A")); err != nil {
		return Opening{}, err
	}
	if err := within(in("current", current, 1, 1.35*float64(rating), 6*float64(rating), "A")); err != nil {
		return Opening{}, err
	}
	var soonest, latest curve
	for _, f := range fuseTimes {
		soonest = append(soonest, point{math.Log(f.multiple), math.Log(f.soonest)})
		latest = append(latest, point{math.Log(f.multiple), math.Log(f.latest)})
	}
	var w Working
	multiple := float64(current) / float64(rating)
	w.step("multiple of the rating", "I/In", multiple, "", "definition", "# / #", float64(current), float64(rating))
	o := Opening{Soonest: Second(math.Exp(soonest.at(math.Log(multiple)))),
		Latest: Second(math.Exp(latest.at(math.Log(multiple))))}
	w.find("opens not before", "table, logarithms between its points", float64(o.Soonest), "s", fuseSource)
	w.find("opens not after", "table, logarithms between its points", float64(o.Latest), "s", fuseSource)
	o.Working = w
	return o, nil
}

// CableDrop is what a cable out and back loses at a current, in V. Length 0 to 500 m one way, current 0 to 200 A,
// cables as ResistancePerMetre, which names the sources; else *RangeError.
func CableDrop(cable Conductor, length Metre, current Ampere, t Celsius) (Figure[Volt], error) {
	bounds := append(cable.bounds(), in("cable_length", length, 1, 0, 500, "m"), in("current", current, 1, 0, 200, "A"),
		conductorTemperature(t))
	if err := within(bounds...); err != nil {
		return Figure[Volt]{}, err
	}
	var w Working
	drop := recordDrop(&w, float64(length), float64(cable.record(&w, t)), float64(current))
	return Figure[Volt]{Volt(drop), w}, nil
}

func recordDrop(w *Working, length, perMetre, current float64) float64 {
	drop := 2 * length * perMetre * current
	w.step("drop, out and back", "2·L·r·I", drop, "V", ohmsLaw, "2 × # × # × #", length, perMetre, current)
	return drop
}

// Feed is what a cable is to be chosen for: its length one way, the greatest current that lasts, the nominal voltage of
// 12 or 24 V and the drop that is allowed as a part of it, how it is made up, how warm its metal and its surroundings
// get.
type Feed struct {
	Length       Metre
	Load         Ampere
	Nominal      Volt
	Drop         Share
	Construction Construction
	Temperature  Celsius
	Ambient      Celsius
}

func (f Feed) bounds() []bound {
	return []bound{in("cable_length", f.Length, 1, 0.1, 1000, "m"), in("current", f.Load, 1, 0.1, largestLoad, "A"),
		nominal(f.Nominal),
		in("drop", f.Drop, 1, 0.005, 0.2, ""), bound{"cable_construction", float64(f.Construction), 0, float64(Class2Tinned),
			""},
		conductorTemperature(f.Temperature), cableAmbient(f.Ambient)}
}

// Cable is the cable chosen. Because says what ruled out the next smaller size, one of the limits.
type Cable struct {
	Area     SquareMetre
	Drop     Volt
	Share    Share // of the nominal voltage
	Ampacity Ampere
	Fuse     Ampere
	Because  string
	Working  Working
}

// What rules a size out, in the order in which it is looked at.
const (
	LimitDrop     = "volt drop"
	LimitAmpacity = "ampacity below the fuse"
	LimitSmallest = "smallest size allowed"
)

// smallestArea is the least that ISO 10133 allows for a conductor that runs by itself.
const smallestArea = 1 * SquareMillimetre

// SmallestCable is the smallest standard cable, from 1 to 50 mm², that keeps the drop and whose ampacity is not below
// the fuse that the load needs. Length 0.1 to 1000 m one way, load 0.1 to 32 A (what a 40 A blade fuse carries), drop
// 0.5 to 20 % of the nominal voltage, ambient -40 to 65 °C, else *RangeError. If the largest size does not do, the
// *RangeError names the greatest length for which it would.
// Source: IEC 60228 and Ohm's law; ampacity as Ampacity, fuse as Fuse. A heater's own instructions outrank it.
func SmallestCable(f Feed) (Cable, error) {
	if err := within(f.bounds()...); err != nil {
		return Cable{}, err
	}
	because := LimitSmallest
	var smaller Working
	for _, area := range StandardAreas() {
		if area < smallestArea {
			continue
		}
		c, why := f.try(area)
		if why == "" {
			c.Because = because
			c.Working = append(smaller, c.Working...)
			return c, nil
		}
		because = why
		last := c.Working[len(c.Working)-1]
		smaller = nil
		smaller.find(last.Quantity+" with the next smaller size, which does not do",
			fmt.Sprintf("%s mm², as below", number(float64(area/SquareMillimetre))), last.Result, last.Unit, last.Source)
	}
	return Cable{}, f.tooLong()
}

// try works out one size and says why it does not do, or nothing. The working ends with what decided.
func (f Feed) try(area SquareMetre) (Cable, string) {
	var w Working
	per := Conductor{f.Construction, area}.record(&w, f.Temperature)
	drop := recordDrop(&w, float64(f.Length), float64(per), float64(f.Load))
	part := drop / float64(f.Nominal)
	w.step("part of the nominal voltage", "drop/nominal", part, "", "definition", "# / #", drop, float64(f.Nominal))
	if part > float64(f.Drop) {
		return Cable{Working: w}, LimitDrop
	}
	fuse := recordFuse(&w, f.Load)
	ampacity := recordAmpacity(&w, area, f.Ambient)
	if fuse > ampacity {
		return Cable{Working: w}, LimitAmpacity
	}
	w.find("area", "smallest standard area that does", float64(area/SquareMillimetre), "mm²", iec60228)
	return Cable{area, Volt(drop), Share(part), ampacity, fuse, "", w}, ""
}

// tooLong tells how far the largest cable would reach. Its ampacity is above the largest fuse at any ambient, so that
// only the drop can rule it out.
func (f Feed) tooLong() error {
	areas := StandardAreas()
	per := Conductor{f.Construction, areas[len(areas)-1]}.perMetre() * copperFactor(f.Temperature)
	return &RangeError{"cable_length", float64(f.Length), 0,
		float64(f.Drop) * float64(f.Nominal) / (2 * per * float64(f.Load)), "m"}
}
