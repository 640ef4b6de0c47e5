package simulation

// seenCloser are the looks and measurements by which a cause is told for certain.
var seenCloser = map[string]sight{
	"heater_rest_voltage": func(w witness) Answer {
		if w.h.b.broken || w.h.opened {
			return w.reads(0, 0, 0.05).positive()
		}
		return w.reads(w.h.b.emf+w.h.b.lift, 0.004, 0.03)
	},
	"plug_lead_volts": func(w witness) Answer {
		switch b := &w.h.b; {
		case w.h.record.Tries == 0:
			return unknown
		case b.boardPlug || b.plugLead > 5:
			return w.sees("missing", "present")
		}
		return w.sees("present")
	},
	"signal_continuity": func(w witness) Answer { return w.hardly(w.h.loomFault, 0.75, "broken", "whole") },
	"panel_plug_volts": func(w witness) Answer {
		return w.hardly(w.h.b.broken || w.h.b.boardDead, 0.8, "missing",
			"present")
	},
	"motor_direct": func(w witness) Answer {
		switch b := &w.h.b; {
		case b.motorDead:
			return w.sees("still", "runs_badly")
		case b.whine || b.scrape || b.object:
			return w.hardly(true, 0.85, "runs_badly", "runs_free")
		}
		return w.sees("runs_free")
	},
	"room_sensor_place": func(w witness) Answer { return w.hardly(w.h.b.roomBad, 0.85, "poor", "fair") },
	"lock_sign": func(w witness) Answer {
		return w.hardly(w.h.b.locked && w.h.record.Code == "other", 0.6, "yes",
			"no")
	},
	"flame_sensor_look": func(w witness) Answer {
		switch {
		case w.h.b.flameBlind:
			return w.hardly(true, 0.6, "sooty_or_loose", "clean")
		case chance(w.r, 0.35):
			return w.sees("clean")
		}
		return w.sees("none_fitted")
	},
	"pump_strainer_look": func(w witness) Answer { return w.hardly(w.h.b.strainer > 3, 0.9, "dirty", "clean") },
	"pump_lift":          func(w witness) Answer { return w.reads(w.h.in.Lift, 0.05, 0.05) },
	"bubbles_begin": func(w witness) Answer {
		b := &w.h.b
		switch s := w.h.Observe("bubbles").State; {
		case s != "few" && s != "many":
			return unknown
		case b.litres <= b.pickupAt || b.sloshing:
			return w.sees("at_tank", "behind_pump")
		case b.clears < 0.3:
			return w.sees("behind_pump", "at_a_joint")
		case b.outgas > 0:
			return w.sees("along_hose", "behind_pump")
		case b.inleak > 0.15*b.dose:
			return w.hardly(true, 0.85, "at_a_joint", "behind_pump")
		}
		return w.sees("behind_pump", "along_hose", "at_a_joint")
	},
	"gasket_look":     func(w witness) Answer { return w.hardly(w.h.b.askew > 0.5, 0.7, "torn_or_missing", "sound") },
	"fuel_inlet_look": func(w witness) Answer { return w.hardly(w.h.b.inletShut > 0.5, 0.92, "closed", "free") },
	"wind_matters":    func(w witness) Answer { return w.hardly(w.h.b.wind > 0 || w.h.b.waves, 0.8, "yes", "no") },
	"cold_matters": func(w witness) Answer { // made warm: the fuel flows, and a battery has about half the resistance
		mild := func(c *Heater) {
			c.b.waxed = 1
			c.b.internal, c.b.polar = c.b.internal/2, c.b.polar/2
		}
		return w.hardly(w.h.in.Ambient < 5 && (w.h.b.waxed > 1 || w.h.record.Code == "E-01") && w.h.cures(mild), 0.75,
			"in_cold", "no")
	},
	"rest_matters": func(w witness) Answer {
		switch b := &w.h.b; {
		case b.ventShut && w.h.record.Lit > 0, b.ownAir > 0 && w.h.record.Code == "E-05":
			return w.hardly(true, 0.6, "better_after_rest", "no_difference")
		case b.cut && !w.h.record.Blank:
			return w.hardly(true, 0.6, "while_warm", "no_difference")
		case b.tee > 0, b.creep > 0, b.inleak > 0.15*b.dose: // what drains back, or creeps on, does so at rest
			return w.hardly(true, 0.45, "after_long_rest", "no_difference")
		}
		return w.sees("no_difference")
	},
	"hot_parts_look": func(w witness) Answer { return w.hardly(w.h.b.hotContact > 0.3, 0.85, "scorched", "clear") },
	"locker_opened": func(w witness) Answer {
		if w.h.record.Code != "E-05" {
			return unknown
		}
		if w.h.cures(func(c *Heater) { c.b.ownAir = 0 }) {
			return w.sees("better")
		}
		return w.sees("no_better")
	},
}
