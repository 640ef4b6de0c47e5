package simulation

import (
	"math"
	"math/rand/v2"

	"lightoff/engine/physics"
)

// body is what a heater and its supply are made of: every figure that a fault can change. SI units, save where told.
type body struct {
	// Supply.
	emf, slope, internal, polar     float64 // V; V by unit of charge; Ω; Ω of slow polarisation
	capacity                        float64 // A s
	lift                            float64 // V that a charger adds at rest
	plus, minus, jointPlus, jointMi float64 // Ω of cables and joints
	limit                           float64 // A beyond which the source gives way; 0 for none
	cutVolt, cutAmpere              float64 // at which protection opens; 0 for none
	fuseBlown, broken, regulatorBad bool
	shutOff                         bool    // the battery's protection has opened for good: next to nothing at its posts
	setFor                          float64 // nominal volts that the panel is set for

	// Glow plug.
	plugCold, plugHot, plugRated, plugHeat float64 // Ω, Ω, W, J/K
	plugOpen, plugShort, plugBroken        bool
	plugCoat, plugLead                     float64 // part of its heat kept in by carbon; Ω of lead
	screen                                 float64 // 0 free to 1 clogged

	// Fuel.
	litres, pickupAt               float64 // in the tank; below which the pick-up draws air
	head, tee, filter, kink, waxed float64 // Pa; Pa; multiples of the free line's resistance
	strainer, inletShut            float64 // a multiple too; part of the burner's fuel inlet that is closed
	vacuum, tankAir                float64 // Pa in the tank, L of air over the fuel
	ventShut, valveShut, sloshing  bool
	density, heating, viscosity    float64 // kg/m³, J/kg, Pa s
	volatile                       float64 // evaporates so many times as readily as diesel
	water                          float64 // part of the fuel
	petrol                         bool
	// µL of air drawn a stroke; µL of gas that gathers before it moves; µL of gas by stroke from a soft hose
	inleak, gather, outgas               float64
	outleak                              float64 // part lost on the pressure side
	bore, lineLength, lineVolume         float64 // m, m, µL
	suctionResistance                    float64 // Pa s/m³ of the free suction side
	creep                                float64 // µL/s past the pump at rest
	unplugged, stuck, reversed, coilOpen bool
	coil, nominalCoil, dose, counted     float64 // Ω, Ω, µL, µL that the board counts on
	worn, clears                         float64 // part of the dose; part of gas in the pump that a stroke clears

	// Air.
	airDensity, pressure, intake, exhaust, wind, recirculated float64 // kg/m³, Pa, free parts of the way, gusts, part
	wet, waves                                                bool
	coke, askew                                               float64 // 0 none to 1
	outletOpen, ductShare, inletShare, ownAir                 float64 // parts of the flow; part of own warm air breathed
	drag, jam, pulses, pickup                                 float64 // of torque; of torque; a turn; part of pulses seen
	scrape, whine, object, magnetLost                         bool
	jamming                                                   float64 // part of the time
	motorDead                                                 bool

	// Control.
	link                                    linkFault
	linkAt                                  float64 // s into an attempt; below 0 from power-on
	panelDead, boardDead, mismatch, damp    bool
	boardPump, boardPlug, boardSpeed        bool
	sensorOpen, sensorShort                 bool
	sensorOffset, sensorCoupling, sensorLag float64
	remoteDead, settingsWrong, roomBad      bool
	settings                                string
	roomBias                                float64
	locked, cut, flameBlind                 bool

	// What endangers and never shows on the panel.
	exhaustInside, reenters, cracked, hotContact, dripping float64 // 0 none to 1
	missesGlow, seesPump                                   bool    // how this board is made
}

type linkFault int

const (
	linkGood linkFault = iota
	linkFlaky
	linkLost
)

func must[T any](v T, err error) T {
	if err != nil {
		panic("simulation: " + err.Error())
	}
	return v
}

// build makes a sound heater in an installation.
func build(in *Installation, r *rand.Rand) body {
	var b body
	b.supply(in, r)
	b.ignition(in, r)
	b.fuel(in, r)
	b.air(in, r)
	b.sensorCoupling, b.sensorLag = 1, 6
	b.setFor = in.Nominal
	b.missesGlow, b.seesPump = chance(r, 0.1), chance(r, 0.25)
	return b
}

func (b *body) supply(in *Installation, r *rand.Rand) {
	nominal, t := physics.Volt(in.Nominal), physics.Celsius(max(-25, in.Ambient))
	charge := physics.Share(in.Charge)
	b.emf = float64(must(physics.RestVoltage(in.Chemistry, nominal, charge, t)))
	lower := physics.Share(max(0, in.Charge-0.1))
	if charge > lower {
		b.slope = (b.emf - float64(must(physics.RestVoltage(in.Chemistry, nominal, lower, t)))) / float64(charge-lower)
	}
	battery := physics.Battery{Chemistry: in.Chemistry, Nominal: nominal,
		Capacity: physics.Coulomb(in.BatteryCapacity) * physics.AmpereHour,
		Age:      physics.Second(in.BatteryAge) * physics.Year, Temperature: t}
	band := must(physics.InternalResistance(battery, charge))
	b.internal = between(r, float64(band.Low), float64(band.High))
	b.polar = b.internal
	b.capacity = in.BatteryCapacity * 3600 * float64(must(physics.CapacityShare(in.Chemistry, max(-20, t))))
	b.cables(in)
	b.jointPlus, b.jointMi = between(r, 1e-3, 5e-3), between(r, 1e-3, 5e-3)
	switch in.Charging {
	case "solar", "mains_charger":
		b.lift = between(r, 0.3, 1.1) * in.Nominal / 12
	case "engine":
		b.lift = between(r, 1, 1.6) * in.Nominal / 12
	}
	if in.Chemistry == physics.Lithium {
		b.cutVolt, b.cutAmpere = 10.5*in.Nominal/12, 60
	}
}

func (b *body) cables(in *Installation) {
	wire := physics.Conductor{Construction: physics.Class5,
		Area: physics.SquareMetre(in.CableArea) * physics.SquareMillimetre}
	r := must(physics.ConductorResistance(wire, physics.Metre(in.CableLength), physics.Celsius(max(10, in.Ambient))))
	b.plus, b.minus = float64(r.Value), float64(r.Value)
}

func (b *body) ignition(in *Installation, r *rand.Rand) {
	p := must(physics.TypicalPlug(in.Plug, physics.Volt(in.Nominal)))
	spread := between(r, 0.93, 1.07)
	b.plugCold, b.plugHot = float64(p.Cold)*spread, float64(p.Hot)*spread
	b.plugRated = math.Pow(11.5*in.Nominal/12, 2) / b.plugHot
	b.plugHeat = float64(p.TimeConstant) * b.plugRated / (plugRated - 293)
	b.plugLead = between(r, 0.005, 0.02)
	b.screen = min(0.25, in.Hours/6000)
	b.coke = min(0.2, in.Hours/8000)
}

func (b *body) fuel(in *Installation, r *rand.Rand) {
	kind, grade := fuelGrade(in.Fuel)
	t := physics.Celsius(in.Ambient)
	b.density = float64(must(kind.Density(t)))
	b.heating = float64(must(kind.Properties()).HeatingValue)
	// EN 590 asks for 2 to 4.5 mm²/s at 40 °C; that it halves with each 24 K is from memory. Kerosene has about half.
	b.viscosity = 3e-6 * math.Exp(0.029*(40-in.Ambient)) * b.density
	b.volatile = 1
	if kind == physics.Kerosene {
		b.viscosity, b.volatile = b.viscosity/2, 1.5
	}
	if kind == physics.Biodiesel {
		b.viscosity, b.volatile = b.viscosity*1.5, 0.6
	}
	b.waxing(in, grade, between(r, 1, 3))
	b.litres, b.pickupAt = between(r, 4, 40), between(r, 0.3, 1)
	if in.Pickup != "own_tank" {
		b.litres, b.pickupAt = between(r, 15, 60), between(r, 4, 10)
	}
	b.litres = max(b.litres, b.pickupAt+2)
	b.tankAir = between(r, 3, 20)
	b.head = b.density * gravity * in.Lift
	b.filter, b.kink, b.strainer = between(r, 1, 1.5), 1, 1
	b.bore, b.lineLength = in.Bore*1e-3, in.LineLength
	b.lineVolume = math.Pi / 4 * b.bore * b.bore * in.LineLength * 1e9
	// Hagen and Poiseuille over half a metre of suction line of 2 mm, the strainer as much again; pumps with larger doses
	// have wider ways.
	b.suctionResistance = 2 * 128 * b.viscosity * 0.5 / (math.Pi * math.Pow(2e-3, 4)) / max(1, in.Dose/22)
	b.inleak, b.gather, b.outgas = between(r, 0, 0.2), 2, 0
	b.nominalCoil = map[bool]float64{false: 10, true: 36}[in.Nominal == 24]
	b.coil = b.nominalCoil * between(r, 0.92, 1.08)
	b.dose, b.counted = in.Dose*between(r, 0.95, 1.05), in.Dose
	b.worn = 1
	b.clears = clearing(in.PumpAngle)
}

// clearing is the part of the gas in a pump that each stroke clears, by its outlet's angle above horizontal: bubbles
// rise.
func clearing(angle float64) float64 {
	return max(0.04, min(1, 0.25+0.9*math.Sin(angle*math.Pi/180)))
}

// waxing sets how much wax adds to a fuel's resistance: nothing until margin kelvins below the grade's plugging point.
func (b *body) waxing(in *Installation, grade physics.Grade, margin float64) {
	limit, _, err := grade.PluggingPoint()
	must(limit, err)
	b.waxed = 1
	if below := float64(limit) - margin - in.Ambient; below > 0 {
		b.waxed = 1 + 3*below
	}
}

func (b *body) air(in *Installation, r *rand.Rand) {
	a := must(physics.StandardAtmosphere(physics.Metre(in.Altitude)))
	b.pressure = float64(a.Pressure)
	b.airDensity = float64(must(physics.AirDensity(a.Pressure, physics.Celsius(in.Ambient))))
	b.intake, b.exhaust = between(r, 0.93, 1), between(r, 0.93, 1)
	b.outletOpen = 1
	b.duct(in)
	b.drag = between(r, 0.03, 0.06)
	b.pulses, b.pickup = 2, 1
}

// duct sets the part of the free flow that duct and inlet leave.
func (b *body) duct(in *Installation) {
	d := physics.Duct{Length: physics.Metre(in.DuctLength), Diameter: physics.Metre(in.DuctDiameter) * physics.Millimetre,
		Roughness: physics.RoughnessFlexible,
		Bends:     in.DuctBends, Bend: physics.BendRounded, End: 1.6}
	free := warmAirPerWatt * in.Power / 1.2 * 1.25
	f, err := physics.FlowThroughDuct(d, physics.Blower{Free: physics.CubicMetrePerSecond(free),
		Shut: physics.Pascal(150 + 60*in.Power)},
		physics.WarmAir{Pressure: physics.Pascal(b.pressure), Inlet: 15, Outlet: 90})
	b.ductShare = 0.15
	if err == nil {
		b.ductShare = min(1, float64(f.Share)*1.25)
	}
	b.inletShare = 1
	if in.Clearance < 3 {
		b.inletShare = max(0.2, in.Clearance/3)
	}
}

// renew makes a sound body anew, after a fault changed the installation.
func (b *body) renew(in *Installation, r *rand.Rand) { *b = build(in, r) }
