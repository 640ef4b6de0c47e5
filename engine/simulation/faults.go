package simulation

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"lightoff/engine/physics"
)

// fault is a cause as a physical change: fit shapes the installation in which it comes about, break changes the body.
type fault struct {
	id       string
	fit      func(in *Installation, r *rand.Rand)
	breaking func(h *Heater, r *rand.Rand)
}

// Faults lists the ids of all faults, in the order in which they are put in.
func Faults() []string {
	out := make([]string, len(faults))
	for i, f := range faults {
		out[i] = f.id
	}
	return out
}

// Knows reports whether a fault can be put in.
func Knows(id string) bool {
	_, err := faultOf(id)
	return err == nil
}

func faultOf(id string) (fault, error) {
	i := slices.IndexFunc(faults, func(f fault) bool { return f.id == id })
	if i < 0 {
		return fault{}, fmt.Errorf("simulation: unknown fault %q", id)
	}
	return faults[i], nil
}

type fitting = func(in *Installation, r *rand.Rand)

// aged, cold and new are what many faults go with.
func aged(in *Installation, r *rand.Rand)   { in.JustInstalled, in.Hours = false, between(r, 400, 2500) }
func frosty(in *Installation, r *rand.Rand) { in.Ambient = between(r, -15, 2) }
func fresh(in *Installation, r *rand.Rand)  { in.JustInstalled, in.Hours = true, between(r, 0, 3) }
func often(p float64, f fitting) fitting {
	return func(in *Installation, r *rand.Rand) {
		if chance(r, p) {
			f(in, r)
		}
	}
}
func both(fs ...fitting) fitting {
	return func(in *Installation, r *rand.Rand) {
		for _, f := range fs {
			f(in, r)
		}
	}
}
func worked(in *Installation, _ *rand.Rand) { in.RecentWork = true }
func soft(in *Installation, r *rand.Rand)   { in.Soft, in.Bore = true, pick(r, 3, 4, 4, 5) }
func lowRun(in *Installation, _ *rand.Rand) { in.MostlyLow = true }
func stood(in *Installation, _ *rand.Rand)  { in.StoodStill = true }

var faults = slices.Concat(supplyFaults, ignitionFaults, fuelFaults, pumpFaults, airFaults, blowerFaults, controlFaults)

var supplyFaults = []fault{
	{"battery_low", func(in *Installation, r *rand.Rand) { in.Charge = between(r, 0, 0.2); in.Charging = "none" },
		func(h *Heater, r *rand.Rand) {
			if chance(r, 0.7) { // discharged beyond what the charts call empty
				h.b.emf -= between(r, 0, 1.8) * h.in.Nominal / 12
			}
		}},
	{"battery_worn", both(func(in *Installation, r *rand.Rand) {
		in.BatteryAge = between(r, 4, 10)
		in.Charging = draw(r, share{"none", 80}, share{"solar", 20})
		if in.Chemistry == physics.Lithium {
			in.Chemistry = physics.AGM
		}
	}, often(0.5, frosty)), func(h *Heater, r *rand.Rand) {
		h.b.internal = between(r, 0.06, 0.25) * h.in.Nominal / 12
		h.b.polar = h.b.internal
		h.b.capacity *= between(r, 0.2, 0.5)
	}},
	{"feed_undersized", func(in *Installation, r *rand.Rand) {
		in.CableArea, in.CableLength = pick(r, 0.75, 1, 1.5, 1.5), between(r, 4, 12)
	}, func(h *Heater, _ *rand.Rand) { h.b.cables(&h.in) }},
	{"feed_via_light_circuit", func(in *Installation, r *rand.Rand) {
		// a socket that gives way is a source that is limited
		in.Feed = draw(r, share{"fuse_box", 85}, share{"accessory_socket", 15})
	}, func(h *Heater, r *rand.Rand) {
		h.b.plus += between(r, 0.07, 0.25) * h.in.Nominal / 12
	}},
	{"source_limited", func(in *Installation, r *rand.Rand) {
		in.Feed = draw(r, share{"accessory_socket", 20}, share{"solar_load_output", 30}, share{"power_station", 30},
			share{"mains_supply", 20})
	}, func(h *Heater, r *rand.Rand) {
		switch n := h.in.Nominal / 12; h.in.Feed {
		case "accessory_socket": // no limit but its own thin wire
			h.b.plus += between(r, 0.1, 0.3) * n
		case "solar_load_output", "power_station": // switches off by itself, most of them; others give way
			if h.b.limit = between(r, 5, 10.5) / n; chance(r, 0.6) {
				h.b.limit, h.b.cutAmpere = 0, between(r, 5, 9)/n
			}
		default:
			h.b.limit = between(r, 4, 10.5) / n
		}
	}},
	{"cooldown_cut", func(in *Installation, _ *rand.Rand) { in.CutWhenHot = true },
		func(h *Heater, r *rand.Rand) { h.b.cut = true }},
	{"joint_resistance", often(0.4, aged), func(h *Heater, r *rand.Rand) {
		if x := between(r, 0.06, 0.35) * h.in.Nominal / 12; chance(r, 0.5) {
			h.b.jointPlus += x
		} else {
			h.b.jointMi += x
		}
	}},
	{"supply_open", often(0.4, worked), func(h *Heater, r *rand.Rand) {
		h.b.broken, h.b.fuseBlown = true,
			chance(r, 0.6)
	}},
	{"voltage_setting_wrong", func(in *Installation, r *rand.Rand) { in.ControllerChanged = chance(r, 0.8) },
		func(h *Heater, _ *rand.Rand) { h.b.setFor = 36 - h.in.Nominal }},
	{"supply_overvoltage", func(in *Installation, r *rand.Rand) {
		in.Charging = draw(r, share{"mains_charger", 50}, share{"engine", 30}, share{"solar", 20})
	}, func(h *Heater, r *rand.Rand) {
		h.b.lift, h.b.regulatorBad = between(r, 3.8, 6)*h.in.Nominal/12, true
	}},
	{"bms_cutoff", func(in *Installation, r *rand.Rand) {
		in.Chemistry, in.Charging, in.Charge = physics.Lithium, "none", between(r, 0.05, 0.7)
		in.Ambient = between(r, -15, 8)
	}, func(h *Heater, r *rand.Rand) {
		if chance(r, 0.4) {
			h.b.broken, h.b.shutOff = true, true
		} else {
			h.b.cutAmpere = between(r, 5, 9) * 12 / h.in.Nominal
		}
	}},
}

var ignitionFaults = []fault{
	{"glow_plug_open", often(0.7, aged), func(h *Heater, r *rand.Rand) {
		h.b.plugShort = chance(r, 0.1)
		h.b.plugOpen = !h.b.plugShort
		h.b.plugBroken = chance(r, 0.5)
	}},
	{"glow_plug_weak", often(0.8, aged), func(h *Heater, r *rand.Rand) {
		f := between(r, 1.2, 2)
		h.b.plugCold, h.b.plugHot = h.b.plugCold*f, h.b.plugHot*f
		h.b.plugCoat = between(r, 0.2, 0.5)
	}},
	{"glow_screen_clogged", both(often(0.8, aged), often(0.6, lowRun)),
		func(h *Heater, r *rand.Rand) { h.b.screen = between(r, 0.72, 0.98) }},
	{"glow_wiring_fault", often(0.6, worked), func(h *Heater, r *rand.Rand) { h.b.plugLead = between(r, 1, 50) }},
}

var fuelFaults = []fault{
	{"tank_low", func(in *Installation, r *rand.Rand) {
		in.Pickup = draw(r, share{"own_tank", 50}, share{"vehicle_tank", 50})
	}, func(h *Heater, r *rand.Rand) {
		h.b.litres = h.b.pickupAt - between(r, 0, 0.3)
		if chance(r, 0.5) {
			h.b.litres = h.b.pickupAt + between(r, 0, 0.1)
		}
	}},
	{"line_not_primed", func(in *Installation, r *rand.Rand) {
		if chance(r, 0.6) {
			fresh(in, r)
		} else {
			in.RanDry = true
		}
	}, func(h *Heater, r *rand.Rand) { h.line.drain(h.b.lineVolume * between(r, 0.6, 1)) }},
	{"soft_line_air", soft, func(h *Heater, r *rand.Rand) {
		h.b.outgas = h.b.dose * between(r, 0.06, 0.3)
		// µL in a piece of hose: in a narrow bore the fuel carries bubbles along, in a wide one they rise and gather at each
		// high point until they fill it.
		length := between(r, 20, 100)
		if h.in.Bore > stuckBore {
			length = between(r, 40, 350)
		}
		h.b.gather = math.Pi / 4 * h.in.Bore * h.in.Bore * length
	}},
	{"joint_air_leak", often(0.3, fresh), func(h *Heater, r *rand.Rand) {
		h.b.inleak, h.b.gather = h.b.dose*between(r, 0.2, 0.8), between(r, 5, 120)
	}},
	{"pump_angle_air", func(in *Installation, r *rand.Rand) { in.PumpAngle = between(r, -20, 12) },
		func(h *Heater, r *rand.Rand) {
			h.b.clears = clearing(h.in.PumpAngle)
			h.b.inleak = max(h.b.inleak, h.b.dose*between(r, 0.03, 0.12))
		}},
	{"slosh_air", func(in *Installation, _ *rand.Rand) { in.Driving = true }, func(h *Heater, r *rand.Rand) {
		h.b.sloshing, h.b.litres = true, h.b.pickupAt+between(r, 0.2, 1.2)
	}},
	{"line_kinked", often(0.6, func(in *Installation, _ *rand.Rand) { in.Soft = true }),
		func(h *Heater, r *rand.Rand) { h.b.kink = degree(r, 3, 40) }},
	{"fuel_filter_blocked", often(0.6, aged), func(h *Heater, r *rand.Rand) { h.b.filter = degree(r, 3, 40) }},
	{"pump_strainer_blocked", often(0.5, stood), func(h *Heater, r *rand.Rand) { h.b.strainer = degree(r, 3, 40) }},
	{"fuel_waxed", func(in *Installation, r *rand.Rand) {
		in.Fuel, in.Ambient = draw(r, share{"summer_diesel", 70}, share{"heating_oil", 20}, share{"biodiesel", 10}),
			between(r, -20, -8)
		if in.Fuel == "biodiesel" {
			in.Ambient -= 6
		}
	}, func(h *Heater, r *rand.Rand) {
		_, grade := fuelGrade(h.in.Fuel)
		h.b.waxing(&h.in, grade, 0)
		h.b.waxed = max(h.b.waxed, degree(r, 3, 40))
	}},
	{"fuel_contaminated", often(0.5, stood), func(h *Heater, r *rand.Rand) {
		switch {
		case chance(r, 0.15):
			h.b.petrol, h.b.volatile = true, between(r, 3, 6)
			h.b.viscosity *= 0.4
		case chance(r, 0.6):
			h.b.water = between(r, 0.25, 0.8)
		default:
			h.b.volatile, h.b.water = between(r, 0.15, 0.4), 0.05
		}
		h.b.heating *= 1 - h.b.water
	}},
	{"tank_vent_blocked", func(in *Installation, _ *rand.Rand) { in.Pickup = "own_tank" }, func(h *Heater, r *rand.Rand) {
		// what the last run left, most of it gone by leaks
		h.b.ventShut, h.b.vacuum, h.b.tankAir = true, between(r, 0, 15e3), between(r, 0.4, 2)
	}},
	{"fuel_valve_closed", often(0.5, stood), func(h *Heater, _ *rand.Rand) { h.b.valveShut = true }},
	{"line_teed", func(in *Installation, _ *rand.Rand) { in.Pickup = "teed_engine_line" }, func(h *Heater, r *rand.Rand) {
		h.b.tee, h.b.inleak = between(r, 10e3, 38e3), h.b.dose*between(r, 0.1, 0.6)
	}},
	{"siphon_flooding", func(in *Installation, r *rand.Rand) { in.Tank, in.Lift = "above_heater", between(r, -1.2, -0.3) },
		func(h *Heater, r *rand.Rand) { h.b.creep = between(r, 0.5, 6) }},
	{"suction_lift_high", func(in *Installation, r *rand.Rand) { in.Tank, in.Lift = "below", between(r, 2.2, 4.4) },
		func(h *Heater, r *rand.Rand) {
			h.b.inleak = max(h.b.inleak, h.b.dose*between(r, 0.05, 0.3))
		}},
	{"fuel_leak", often(0.3, worked), func(h *Heater, r *rand.Rand) { h.b.outleak = between(r, 0.15, 0.8) }},
}

var pumpFaults = []fault{
	{"pump_unplugged", often(0.4, fresh), func(h *Heater, _ *rand.Rand) { h.b.unplugged = true }},
	{"pump_stuck", both(often(0.5, stood), often(0.3, func(in *Installation, _ *rand.Rand) { in.Fuel = "kerosene" })),
		func(h *Heater, _ *rand.Rand) { h.b.stuck = true }},
	{"pump_coil_failed", often(0.6, aged), func(h *Heater, r *rand.Rand) {
		h.b.coilOpen = chance(r, 0.7)
		h.b.coil = map[bool]float64{true: 1e7, false: 0.3}[h.b.coilOpen]
	}},
	{"pump_reversed", fresh, func(h *Heater, _ *rand.Rand) { h.b.reversed = true }},
	{"pump_worn", aged, func(h *Heater, r *rand.Rand) { h.b.worn = between(r, 0.3, 0.65) }},
	{"pump_setting_wrong", func(in *Installation, r *rand.Rand) { in.ControllerChanged = chance(r, 0.5) },
		func(h *Heater, r *rand.Rand) {
			h.b.dose *= pick(r, 0.45, 0.55, 1.7, 2)
		}},
}

var airFaults = []fault{
	{"burner_flooded", nil, func(h *Heater, r *rand.Rand) {
		h.film += between(r, 6, 20) * 1e-6 * h.b.density
		h.primed = draw(r, share{"no", 35}, share{"until_full", 15}, share{"well_beyond", 50})
	}},
	{"intake_blocked", often(0.4, stood), func(h *Heater, r *rand.Rand) { h.b.intake = between(r, 0.05, 0.5) }},
	{"exhaust_blocked", often(0.4, func(in *Installation,
		r *rand.Rand) {
		in.StoodStill = true
		in.Ambient = between(r, -10, 10)
	}), func(h *Heater, r *rand.Rand) { h.b.exhaust = between(r, 0.03, 0.45) }},
	{"water_in_exhaust", often(0.6, func(in *Installation, _ *rand.Rand) { in.Place = "boat" }),
		func(h *Heater, r *rand.Rand) { h.b.wet, h.b.exhaust = true, between(r, 0.05, 0.45) }},
	{"ends_in_wind", often(0.7, func(in *Installation, _ *rand.Rand) { in.Driving = true }),
		func(h *Heater, r *rand.Rand) { h.b.wind = between(r, 0.5, 1) }},
	{"assembly_fault", worked, func(h *Heater, r *rand.Rand) { h.b.askew = between(r, 0.5, 1) }},
	{"burner_coked", both(often(0.8, aged), often(0.6, lowRun)),
		func(h *Heater, r *rand.Rand) { h.b.coke = between(r, 0.65, 0.98) }},
	{"nozzle_coked", both(often(0.7, aged), often(0.5, lowRun)),
		func(h *Heater, r *rand.Rand) { h.b.inletShut = between(r, 0.6, 1) }},
	{"wave_in_exhaust", func(in *Installation, _ *rand.Rand) { in.Place, in.Driving = "boat", true },
		func(h *Heater, _ *rand.Rand) { h.b.waves = true }},
	{"altitude_rich", func(in *Installation, r *rand.Rand) { in.Altitude = between(r, 1700, 3600) },
		func(*Heater, *rand.Rand) {}},
	{"exhaust_recirculation", nil, func(h *Heater, r *rand.Rand) { h.b.recirculated = between(r, 0.2, 0.6) }},
	{"exhaust_leak_inside", often(0.4, aged), func(h *Heater, r *rand.Rand) { h.b.exhaustInside = between(r, 0.1, 1) }},
	{"exchanger_leak", aged, func(h *Heater, r *rand.Rand) { h.b.cracked = between(r, 0.05, 1) }},
	{"exhaust_reenters", often(0.3, func(in *Installation, _ *rand.Rand) { in.Place = "portable_box" }),
		func(h *Heater, r *rand.Rand) { h.b.reenters = between(r, 0.1, 1) }},
	{"hot_contact", often(0.6, fresh), func(h *Heater, r *rand.Rand) { h.b.hotContact = between(r, 0.3, 1) }},
	{"outlet_blocked", nil, func(h *Heater, r *rand.Rand) { h.b.outletOpen = between(r, 0.02, 0.4) }},
	{"duct_restrictive", func(in *Installation, r *rand.Rand) {
		in.DuctLength, in.DuctBends, in.DuctDiameter = between(r, 4, 9), 3+r.IntN(5), pick(r, 50, 55, 60)
	}, func(h *Heater, _ *rand.Rand) { h.b.duct(&h.in) }},
	{"inlet_clearance_low", func(in *Installation, r *rand.Rand) { in.Clearance = between(r, 0.3, 1.6) },
		func(h *Heater, _ *rand.Rand) { h.b.duct(&h.in) }},
	{"compartment_hot", nil, func(h *Heater, r *rand.Rand) { h.b.ownAir = between(r, 0.45, 0.75) }},
}

var blowerFaults = []fault{
	{"fan_obstructed", often(0.4, stood), func(h *Heater, r *rand.Rand) {
		h.b.object, h.b.jam, h.b.jamming = true, between(r, 0.4, 1.2), between(r, 0.4, 1)
	}},
	{"casing_rubs_fan", often(0.4, fresh), func(h *Heater, r *rand.Rand) {
		h.b.scrape, h.b.drag = true,
			h.b.drag+between(r, 0.15, 0.9)
	}},
	{"fan_magnet_fault", often(0.6, worked), func(h *Heater, _ *rand.Rand) { h.b.pulses, h.b.magnetLost = 1, true }},
	{"fan_position_wrong", often(0.4, fresh), func(h *Heater, r *rand.Rand) {
		if h.b.pickup = between(r, 0, 0.7); chance(r, 0.5) { // too deep rather than too far out
			h.b.pickup, h.b.scrape, h.b.drag = 1, true, h.b.drag+between(r, 0.15, 0.9)
		}
	}},
	{"fan_motor_failed", aged, func(h *Heater, r *rand.Rand) {
		if h.b.motorDead = chance(r, 0.5); !h.b.motorDead {
			h.b.whine, h.b.drag = true, h.b.drag+between(r, 0.2, 0.8)
		}
	}},
}

var controlFaults = []fault{
	{"controller_mismatch", func(in *Installation, _ *rand.Rand) { in.ControllerChanged = true },
		func(h *Heater, _ *rand.Rand) { h.b.mismatch, h.b.link, h.b.linkAt = true, linkLost, -1 }},
	{"controller_failed", often(0.4, aged), func(h *Heater, r *rand.Rand) {
		switch {
		case chance(r, 0.3):
			h.b.panelDead = true
		default:
			h.b.breakLink(r, 0.5)
			h.b.link = linkLost
			h.b.panelDead = false
		}
		h.panelFault = true
	}},
	{"board_failed", often(0.4, aged), func(h *Heater, r *rand.Rand) {
		switch draw(r, share{"dead", 30}, share{"link", 20}, share{"pump", 15}, share{"plug", 15}, share{"speed", 20}) {
		case "dead":
			h.b.boardDead = true
		case "link":
			h.b.breakLink(r, 0.6)
		case "pump":
			h.b.boardPump = true
		case "plug":
			h.b.boardPlug = true
		case "speed":
			h.b.boardSpeed = true
		}
		h.boardFault = true
	}},
	{"data_wire_fault", often(0.5, worked), func(h *Heater, r *rand.Rand) { h.b.breakLink(r, 0.6); h.loomFault = true }},
	{"overheat_sensor_failed", often(0.5, aged), func(h *Heater, r *rand.Rand) {
		switch draw(r, share{"open", 25}, share{"short", 10}, share{"high", 45}, share{"low", 20}) {
		case "open":
			h.b.sensorOpen = true
		case "short":
			h.b.sensorShort = true
		case "high":
			h.b.sensorOffset = between(r, 60, 180)
		case "low":
			h.b.sensorOffset, h.b.sensorCoupling = between(r, -25, -5), between(r, 0.05, 0.3)
		}
	}},
	{"overheat_sensor_displaced", worked, func(h *Heater, r *rand.Rand) {
		h.b.sensorCoupling, h.b.sensorLag = between(r, 0.05, 0.6), 40
		h.displaced = true
	}},
	{"flame_sensor_failed", often(0.5, aged), func(h *Heater, _ *rand.Rand) { h.b.flameBlind = true }},
	{"water_ingress", often(0.4, func(in *Installation, _ *rand.Rand) { in.Place = "boat" }),
		func(h *Heater, r *rand.Rand) {
			h.b.damp = true
			switch draw(r, share{"link", 60}, share{"panel", 20}, share{"joint", 20}) {
			case "link":
				h.b.breakLink(r, 0.4)
			case "panel":
				h.b.panelDead = true
			case "joint":
				h.b.jointPlus += between(r, 0.1, 0.4) * h.in.Nominal / 12
			}
		}},
	{"remote_not_paired", func(in *Installation, _ *rand.Rand) { in.Remote = true },
		func(h *Heater, _ *rand.Rand) { h.b.remoteDead = true }},
	{"room_sensor_misplaced", often(0.3, fresh), func(h *Heater, r *rand.Rand) {
		h.b.roomBad, h.b.roomBias = true,
			pick(r, -8, 8, 10, 12)
	}},
	{"settings_wrong", often(0.4, fresh), func(h *Heater, r *rand.Rand) {
		h.b.settingsWrong = true
		h.b.settings = draw(r, share{"target_low", 40}, share{"timer", 30}, share{"rate", 30})
	}},
	{"locked_out", nil, func(h *Heater, _ *rand.Rand) { h.b.locked, h.failed, h.unlit = true, lockAfter, lockAfter }},
	{"no_fault", nil, func(h *Heater, r *rand.Rand) {
		h.imagined = draw(r, share{"steam", 20}, share{"satisfied", 40}, share{"cooling", 25}, share{"first_smell", 15})
		switch h.imagined {
		case "steam":
			h.in.Ambient, h.in.Fuel = between(r, -12, 0), "winter_diesel"
		case "first_smell":
			fresh(&h.in, r)
		}
		h.b.renew(&h.in, r)
	}},
}

// degree is how far something that comes on by degrees has come: the slighter the commoner, even by its logarithm.
func degree(r *rand.Rand, a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }

// breakLink interrupts the wire between panel and board, for good with probability p, else now and then.
func (b *body) breakLink(r *rand.Rand, p float64) {
	if chance(r, p) {
		b.link, b.linkAt = linkLost, -1
		return
	}
	b.link, b.linkAt = linkFlaky, between(r, 1, 400)
}
