package heater

import (
	"math"

	"lightoff/engine/knowledge"
	"lightoff/engine/physics"
)

// Here physics meets probability. Each computation is a function of setup facts; what is a judgement, and not a law, is
// a number in this file with the reason beside it: common practice, no source, unless one is named.

// Binding names the computations that the model files refer to.
func Binding() knowledge.Binding {
	return knowledge.Binding{
		"cable_too_thin": {Facts: []string{"cable_area", "cable_length", "nominal_voltage"}, Rate: cableTooThin},
		"wax":            {Facts: []string{"fuel_kind", "ambient_temperature"}, Rate: waxing},
		"thin_air":       {Facts: []string{"altitude", "ambient_temperature"}, Rate: thinAir},
		"tight_duct":     {Facts: []string{"duct_length", "duct_bends", "duct_diameter"}, Rate: tightDuct},

		"rest_volts":    {Facts: []string{"battery_chemistry"}, Optional: []string{"charging_now"}, Level: restVolts},
		"sag_volts":     {Facts: []string{"battery_chemistry", "battery_age", "ambient_temperature"}, Level: sagVolts},
		"cable_volts":   {Facts: []string{"cable_area", "cable_length"}, Level: cableVolts},
		"start_amps":    {Facts: []string{"glow_plug_kind", "nominal_voltage"}, Level: startAmps},
		"plug_ohms":     {Facts: []string{"glow_plug_kind", "nominal_voltage"}, Level: plugOhms},
		"sensor_ohms":   {Facts: []string{"sensor_kind", "ambient_temperature"}, Level: sensorOhms},
		"panel_degrees": {Facts: []string{"ambient_temperature"}, Level: panelDegrees},
		"coil_ohms":     {Facts: []string{"nominal_voltage"}, Level: coilOhms},
		"jar":           {Facts: []string{"pump_dose"}, Level: jar},
	}
}

// below is the chance that a value with a normal spread lies below a bound.
func below(bound, value, spread float64) float64 {
	return math.Erfc((value-bound)/(spread*math.Sqrt2)) / 2
}

// clamp keeps an owner's number within what the formulas hold for.
func clamp(x, low, high float64) float64 { return max(low, min(high, x)) }

// must is for calls whose arguments have been clamped to the valid range.
func must[T any](x T, err error) T {
	if err != nil {
		panic(err)
	}
	return x
}

// A start is looked at fifteen seconds in: boards allow ten to twenty before they call the voltage too low.
const (
	startMoment  = 15  // s
	startRunning = 1.5 // A: fan on low and the board
)

// startCurrent is what a usual heater for 12 V draws then, from about 11.5 V.
func startCurrent(kind physics.PlugKind) float64 {
	plug := must(physics.TypicalPlug(kind, 12))
	return 11.5/float64(must(plug.ResistanceAfter(startMoment))) + startRunning
}

// cableDrop is what a usual start loses in a flexible cable out and back, on a 12 V system.
func cableDrop(area, length float64) float64 {
	cable := physics.Conductor{Construction: physics.Class5,
		Area: physics.SquareMetre(clamp(area, 0.5, 50)) * physics.SquareMillimetre}
	r := must(physics.ConductorResistance(cable, physics.Metre(2*clamp(length, 0, 50)), 20))
	return float64(r.Value) * (startCurrent(physics.MetalPlug) + startCurrent(physics.CeramicPlug)) / 2
}

// cableTooThin is the chance that a sound battery on this cable leaves the heater less than boards want while it glows:
// 10 to 10.8 V on a 12 V system, and some margin since a start that hardly glows is as bad.
func cableTooThin(f knowledge.Facts) float64 {
	drop := cableDrop(f.Number["cable_area"], f.Number["cable_length"])
	const sound, wanted, spread = 12.3, 11.0, 0.35
	if f.State["nominal_voltage"] == "24" {
		drop /= 4 // half the current at twice the voltage, in 12 V terms
	}
	return 0.004 + below(wanted, sound-drop, spread)
}

// plugging is where usual lots of each fuel stop, as physics.Grade has it: what is sold under one name differs by
// season and country. Heating oil is the British summer class, or one that bears some ten degrees of frost (DIN
// 51603-1, from memory).
var plugging = map[string][]physics.Grade{
	"winter_diesel": {physics.GradeF, physics.GradeE}, "summer_diesel": {physics.GradeB, physics.GradeC},
	"red_diesel": {physics.GradeGasOilSummer, physics.GradeGasOilWinter},
	"hvo":        {physics.GradeParaffinicWinter}, "biodiesel": {physics.GradeBiodiesel, physics.GradeB},
	"heating_oil": {physics.GradeHeatingOil, physics.GradeD}, "kerosene": {physics.GradeKerosene},
	"other": {physics.GradeB, physics.GradeD},
}

// waxing has a floor for fuel that is not what it is taken for.
func waxing(f knowledge.Facts) float64 {
	p := 0.0003
	grades := plugging[f.State["fuel_kind"]]
	for _, g := range grades {
		limit, _, err := g.PluggingPoint()
		chance := must(physics.WaxingChance(must(limit, err), physics.Celsius(f.Number["ambient_temperature"])))
		p += float64(chance.Value) / float64(len(grades))
	}
	return p
}

// thinAir: burners are set with some excess of air, which is used up at about seven eighths of the air at sea level.
func thinAir(f knowledge.Facts) float64 {
	altitude, ambient := physics.Metre(clamp(f.Number["altitude"], -500, 9000)),
		physics.Celsius(f.Number["ambient_temperature"])
	m := must(physics.MixtureAtAltitude(altitude, ambient, 1))
	return 0.003 + below(0.86, float64(m.AirShare), 0.04)
}

// usualBlower is the warm-air fan of a small heater.
var usualBlower = physics.Blower{Free: 90.0 / 3600, Shut: 300}

// tightDuct is the chance that what a duct leaves of the flow is too little to carry the heat away.
func tightDuct(f knowledge.Facts) float64 {
	d := physics.Duct{
		Length:    physics.Metre(f.Number["duct_length"]),
		Diameter:  physics.Metre(f.Number["duct_diameter"]) * physics.Millimetre,
		Roughness: physics.RoughnessFlexible, Bends: int(math.Round(clamp(f.Number["duct_bends"], 0, 20))),
		Bend: physics.BendRounded,
		End:  physics.IntoRoom + physics.FromRoom,
	}
	flow := must(physics.FlowThroughDuct(d, usualBlower, physics.WarmAir{Pressure: 101325, Inlet: 15, Outlet: 75}))
	return 0.01 + below(0.72, float64(flow.Share), 0.07)
}

var chemistries = map[string]physics.Chemistry{"flooded": physics.Flooded, "agm": physics.AGM,
	"lithium": physics.Lithium}

// charges are the states of charge that a source's state stands for.
var charges = map[string][]float64{"good": {1, 0.85, 0.7}, "lifted": {1, 0.85, 0.7}, "low": {0.4, 0.25, 0.12},
	"flat": {0}}

// restVolts: charging lifts the voltage and hides what the battery holds. A flat battery may lie below the end of every
// chart.
func restVolts(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	state := at["source_voltage"]
	switch state {
	case "high":
		return 15.9, 0.6
	case "none": // an open protection: what a meter shows then leaks through it
		return 0.7, 1
	}
	var all []float64
	for _, c := range charges[state] {
		all = append(all, float64(must(physics.RestVoltage(chemistries[f.State["battery_chemistry"]], 12, physics.Share(c),
			20))))
	}
	mean, spread = moments(all)
	spread = math.Hypot(spread, 0.10)
	if state == "flat" {
		mean, spread = mean-0.7, 0.6
	}
	switch charging := f.State["charging_now"]; {
	case state == "lifted" && charging != "none", charging != "" && charging != "none":
		mean, spread = mean+1.0, math.Hypot(spread, 0.5)
	}
	return mean, spread
}

func moments(all []float64) (mean, spread float64) {
	square := 0.0
	for _, x := range all {
		mean += x / float64(len(all))
		square += x * x / float64(len(all))
	}
	return mean, math.Sqrt(max(0, square-mean*mean))
}

// sagVolts: a healthy battery gives up some tenths of a volt at once, surface charge and polarisation, and what its
// internal resistance takes. What makes a battery sag more is no law but its ailment.
func sagVolts(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	switch at["source_sag"] {
	case "sags":
		return 1.3, 0.3
	case "collapses":
		return 2.6, 0.7
	}
	b := physics.Battery{
		Chemistry: chemistries[f.State["battery_chemistry"]], Nominal: 12, Capacity: 90 * physics.AmpereHour,
		Age:         physics.Second(clamp(f.Number["battery_age"], 0, 30)) * physics.Year,
		Temperature: physics.Celsius(clamp(f.Number["ambient_temperature"], -40, 60)),
	}
	r := must(physics.InternalResistance(b, 0.8))
	current := startCurrent(physics.MetalPlug)
	return 0.3 + current*float64(r.Value), 0.16
}

// cableVolts: where the cable is known it says what a sound feed loses, and how large a large drop is.
func cableVolts(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	const some, large = 0.6, 1.4 // V: where one state ends and the next begins
	drop := cableDrop(f.Number["cable_area"], f.Number["cable_length"])
	switch {
	case at["supply_path"] == "broken":
		return 12, 0.8
	case at["supply_path"] == "tripped": // nothing any more, or all of it up to the moment when it switches off
		return 6, 5
	case at["supply_path"] == "intermittent":
		return 3, 4
	case at["feed_drop"] == "small":
		return min(drop, 0.45) + 0.05, 0.12
	case at["feed_drop"] == "some":
		if drop > some && drop < large {
			return drop, 0.2
		}
		return 0.95, 0.25
	case drop > large:
		return min(drop, 5), 0.4
	}
	return 2.1, 0.7
}

var plugKinds = map[string]physics.PlugKind{"metal": physics.MetalPlug, "ceramic": physics.CeramicPlug}

func usualPlug(f knowledge.Facts) physics.Plug {
	nominal := physics.Volt(12)
	if f.State["nominal_voltage"] == "24" {
		nominal = 24
	}
	return must(physics.TypicalPlug(plugKinds[f.State["glow_plug_kind"]], nominal))
}

func startAmps(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	half := 1.0
	if f.State["nominal_voltage"] == "24" {
		half = 0.5
	}
	switch at["glow_circuit"] {
	case "open":
		return startRunning * half, 0.8 * half
	case "poor":
		return 6 * half, 2.5 * half
	}
	if at["glow_plug_weak"] == "yes" {
		return 7.5 * half, 2.5 * half // an aged element has more resistance, as a rule
	}
	return startCurrent(plugKinds[f.State["glow_plug_kind"]]) * half, 2.5 * half
}

// plugOhms is the natural logarithm of a cold plug's resistance. An aged element tells little.
func plugOhms(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	cold := math.Log(float64(usualPlug(f).Cold))
	switch {
	case at["glow_plug_open"] == "yes":
		return 12, 4
	case at["glow_plug_weak"] == "yes":
		return cold + 0.35, 0.8
	}
	return cold, 0.4
}

var sensors = map[string]physics.Sensor{"ntc_10k": physics.NTC10k, "ntc_50k": physics.NTC50k,
	"ntc_100k": physics.NTC100k, "pt1000": physics.Pt1000}

// sensorOhms is the natural logarithm of a sensor's resistance at the temperature about it, which is seldom that of the
// sensor to the degree.
func sensorOhms(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	if at["overheat_sensor_failed"] == "yes" {
		return 10, 5
	}
	s, t := sensors[f.State["sensor_kind"]], clamp(f.Number["ambient_temperature"], -45, 60)
	value := func(t float64) float64 {
		return math.Log(float64(must(physics.SensorResistance(s, physics.Celsius(t))).Value))
	}
	b := must(physics.SensorResistance(s, physics.Celsius(t)))
	return value(t), 0.03 + math.Abs(value(t+5)-value(t)) + math.Log(float64(b.High/b.Low))/4
}

// panelDegrees: a heater that has not run is about as warm as what is around it.
func panelDegrees(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	if at["overheat_sensor_failed"] == "yes" {
		return 70, 70
	}
	if at["cooldown_cut"] == "yes" { // many are still hot inside when the owner looks
		return f.Number["ambient_temperature"] + 45, 50
	}
	return f.Number["ambient_temperature"] + 3, 7
}

// jar is what a measuring jar holds after 100 strokes, in millilitres.
func jar(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	full := f.Number["pump_dose"] * 100 / 1000
	switch {
	case at["nozzle_coked"] == "yes" && at["pump_works"] == "well": // the hose is off at the burner
		return full, 0.12 * full
	case at["fuel_delivery"] == "none":
		return 0.1, 0.15
	case at["pump_works"] == "weakly":
		return 0.5 * full, 0.1 * full // a worn pump gives too little, but evenly
	case at["fuel_delivery"] == "broken":
		return 0.8 * full, 0.17 * full
	}
	return full, 0.1 * full
}

// coilOhms is the natural logarithm of a metering pump's resistance: of the order of ten ohms for 12 V and four times
// that for 24 V. A failed coil may be open, shorted or for the other voltage.
func coilOhms(at map[string]string, f knowledge.Facts) (mean, spread float64) {
	if at["pump_coil_failed"] == "yes" {
		return 9, 6
	}
	mean = math.Log(10)
	if f.State["nominal_voltage"] == "24" {
		mean += math.Log(4)
	}
	return mean, 0.35
}
