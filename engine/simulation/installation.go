package simulation

import (
	"math"
	"math/rand/v2"

	"lightoff/engine/physics"
)

// Installation is where and how a heater is fitted, in the catalogue's terms and units: volts, mm², metres, mm, µL,
// kW, degrees, °C, years, hours.
type Installation struct {
	Nominal                                                          float64
	JustInstalled, RanDry, ControllerChanged, RecentWork, StoodStill bool
	Driving, MostlyLow, CutWhenHot, Remote, SeeThrough, Soft, Alarm  bool
	AlarmTested                                                      bool
	Hours                                                            float64
	Chemistry                                                        physics.Chemistry
	BatteryAge, BatteryCapacity, Charge                              float64
	Place, Feed, Charging, Tank, Intake, Pickup, Fuel                string
	CableArea, CableLength                                           float64
	Bore, LineLength, Dose, Power                                    float64
	Lift                                                             float64 // m, of the pump above the fuel
	Plug                                                             physics.PlugKind
	Sensor                                                           physics.Sensor
	PumpAngle, Ambient, Altitude                                     float64
	DuctLength, DuctDiameter                                         float64
	DuctBends                                                        int
	Clearance                                                        float64 // cm at the fan's end
}

// chance is true with probability p.
func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

// between is evenly spread from a to b.
func between(r *rand.Rand, a, b float64) float64 { return a + (b-a)*r.Float64() }

// share is one of several with the weight it has.
type share struct {
	name   string
	weight float64
}

func draw(r *rand.Rand, of ...share) string {
	sum := 0.0
	for _, s := range of {
		sum += s.weight
	}
	x := r.Float64() * sum
	for _, s := range of {
		if x -= s.weight; x < 0 {
			return s.name
		}
	}
	return of[len(of)-1].name
}

func pick(r *rand.Rand, of ...float64) float64 { return of[r.IntN(len(of))] }

// Draw draws an installation from the spread of heaters in use. Every share and range here is judgement, no source.
func Draw(r *rand.Rand) Installation {
	in := Installation{
		Nominal:           pick(r, 12, 12, 12, 12, 12, 12, 24),
		JustInstalled:     chance(r, 0.12),
		ControllerChanged: chance(r, 0.07),
		RecentWork:        chance(r, 0.15),
		StoodStill:        chance(r, 0.35),
		Driving:           chance(r, 0.25),
		MostlyLow:         chance(r, 0.4),
		CutWhenHot:        chance(r, 0.08),
		Remote:            chance(r, 0.45),
		SeeThrough:        chance(r, 0.6),
		Soft:              chance(r, 0.5),
		Alarm:             chance(r, 0.6),
		Hours:             math.Exp(between(r, math.Log(5), math.Log(2000))),
		BatteryAge:        between(r, 0, 9),
		BatteryCapacity:   pick(r, 70, 80, 95, 100, 110, 150, 200),
		Charge:            between(r, 0.55, 1),
		Place: draw(r, share{"van", 45}, share{"truck_cab", 15}, share{"boat", 15}, share{"building", 15},
			share{"portable_box", 10}),
		Feed: draw(r, share{"battery", 62}, share{"fuse_box", 20}, share{"accessory_socket", 4},
			share{"solar_load_output", 4}, share{"power_station", 4}, share{"mains_supply", 4}, share{"other", 2}),
		Charging: draw(r, share{"none", 65}, share{"solar", 20}, share{"mains_charger", 7}, share{"engine", 8}),
		Tank:     draw(r, share{"above_heater", 20}, share{"level", 35}, share{"below", 45}),
		Intake:   draw(r, share{"outside", 88}, share{"locker", 8}, share{"living_space", 4}),
		Pickup:   draw(r, share{"own_tank", 62}, share{"vehicle_tank", 33}, share{"teed_engine_line", 5}),
		Fuel: draw(r, share{"winter_diesel", 50}, share{"summer_diesel", 25}, share{"hvo", 5},
			share{"biodiesel", 3}, share{"heating_oil", 7}, share{"kerosene", 8}),
		CableArea:    pick(r, 2.5, 2.5, 4, 4, 4, 6),
		CableLength:  between(r, 0.8, 4),
		Bore:         2,
		LineLength:   between(r, 1.5, 5),
		PumpAngle:    between(r, 25, 90),
		Plug:         physics.MetalPlug,
		Ambient:      between(r, -12, 16),
		Altitude:     between(r, 0, 900),
		DuctLength:   between(r, 0.3, 4),
		DuctBends:    r.IntN(4),
		DuctDiameter: pick(r, 60, 75, 75, 90),
		Clearance:    between(r, 5, 40),
	}
	if chance(r, 0.12) {
		in.Altitude = between(r, 900, 2200)
	}
	if chance(r, 0.35) {
		in.Plug = physics.CeramicPlug
	}
	in.Sensor = []physics.Sensor{physics.NTC10k, physics.NTC50k, physics.NTC100k, physics.Pt1000}[r.IntN(4)]
	in.Chemistry = []physics.Chemistry{physics.Flooded, physics.Flooded, physics.AGM, physics.AGM,
		physics.Lithium}[r.IntN(5)]
	if in.Soft {
		in.Bore = pick(r, 2, 3, 4)
	}
	if in.JustInstalled {
		in.Hours = between(r, 0, 5)
	}
	in.RanDry = chance(r, 0.07)
	in.AlarmTested = in.Alarm && chance(r, 0.6)
	in.size(pick(r, 2, 2, 3, 5, 5, 8))
	in.Lift = map[string]float64{"above_heater": between(r, -0.4, 0), "level": between(r, 0, 0.3),
		"below": between(r, 0.2, 0.8)}[in.Tank]
	if in.Ambient < 0 && in.Fuel != "kerosene" { // a sound heater has fuel that flows; the fault of waxing takes it away
		in.Fuel = draw(r, share{"winter_diesel", 9}, share{"hvo", 1})
	}
	if in.DuctDiameter < 70 {
		in.DuctLength = min(in.DuctLength, 2)
		in.DuctBends = min(in.DuctBends, 2)
	}
	if in.Nominal == 24 {
		in.BatteryCapacity = pick(r, 100, 140, 180, 225)
	}
	return in
}

// size sets what goes with a heater's power in kW: the dose of its pump, and never a duct too small for it.
func (in *Installation) size(power float64) {
	in.Power = power
	in.Dose = map[float64]float64{2: 16, 3: 22, 5: 28, 8: 50}[power]
	if power > 4 {
		in.DuctDiameter = max(in.DuctDiameter, 90)
		in.DuctLength = min(in.DuctLength, 3)
	}
}

// fuelGrade is the physics of a fuel's kind and its grade in the cold.
func fuelGrade(kind string) (physics.Fuel, physics.Grade) {
	switch kind {
	case "summer_diesel":
		return physics.SummerDiesel, physics.GradeB
	case "red_diesel":
		return physics.HeatingOil, physics.GradeGasOilWinter
	case "hvo":
		return physics.ParaffinicDiesel, physics.GradeParaffinicWinter
	case "biodiesel":
		return physics.Biodiesel, physics.GradeBiodiesel
	case "heating_oil":
		return physics.HeatingOil, physics.GradeHeatingOil
	case "kerosene":
		return physics.Kerosene, physics.GradeKerosene
	}
	return physics.WinterDiesel, physics.GradeF
}
