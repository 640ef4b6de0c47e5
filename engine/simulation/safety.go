package simulation

// seenSafety are the questions that keep people safe: what tells a danger from what looks like it, and what has been
// done or has changed since, which here is nothing yet.
var seenSafety = map[string]sight{
	"smell_gas": func(w witness) Answer { return w.card(false) },
	"start_signs": func(w witness) Answer {
		for _, sign := range [][2]string{{"failed_starts", "three_or_more"}, {"primed", "well_beyond"},
			{"bang_on_lighting", "yes"},
			{"smoke", "white_thick"}, {"exhaust_fire", "yes"}, {"stops_when_off", "no"}, {"petrol_suspected", "yes"}} {
			if w.h.Observe(sign[0]).State == sign[1] {
				return w.tells("some")
			}
		}
		return w.tells("none")
	},
	"exhaust_fire": func(w witness) Answer { return w.plainly(w.h.record.Bang && w.h.film > 8e-3 && chance(w.r, 0.3)) },
	"white_smoke": func(w witness) Answer {
		switch w.h.smoking() {
		case "white_thick":
			return w.sees("thick_fuel_smell", "thin_soon_gone")
		case "white_thin":
			return w.sees("thin_soon_gone", "thick_fuel_smell")
		}
		return unknown
	},
	"runs_on": func(w witness) Answer {
		switch {
		case w.h.record.Late >= 1.5e-3 && w.h.record.Lit > 0:
			return w.sees("flame", "fan_longer")
		case w.h.Complaint() == "wont_stop" || w.h.Complaint() == "fan_unasked":
			return w.sees("fan_longer", "fan_few_minutes")
		}
		return w.sees("fan_few_minutes", "fan_longer")
	},
	"exhaust_smell_from": func(w witness) Answer {
		b := &w.h.b
		switch x := w.h.inside(); {
		case x == 0:
			return unknown
		case x == b.cracked:
			return w.sees("warm_air_outlet", "around_heater")
		case x == b.reenters:
			return w.sees("outside", "around_heater", "warm_air_outlet")
		}
		return w.sees("around_heater", "warm_air_outlet")
	},
	"drips_at_rest": func(w witness) Answer { return w.hardly(w.h.b.creep > 0, 0.9, "yes", "no") },
	"line_at_rest": func(w witness) Answer {
		if !w.h.in.SeeThrough {
			return unknown
		}
		fuel, gas := w.h.line.content()
		switch part := gas / max(1, gas+fuel); {
		case part > 0.5:
			return w.sees("empty", "gaps")
		case part > 0.06:
			return w.hardly(true, 0.8, "gaps", "full")
		}
		return w.sees("full", "gaps")
	},
	"fumes_now":      func(w witness) Answer { return w.tells("still") },
	"fuel_smell_now": func(w witness) Answer { return w.tells("still") },
	"exhaust_proved": notYet,
	"gas_seen_to":    notYet,
	"fire_out":       notYet,
	"burner_seen_to": notYet,
	"burning_found":  notYet,
	"petrol_drained": notYet,
	"siphon_ended":   notYet,
	"burner_dried":   notYet,
}

func notYet(w witness) Answer { return w.tells("no") }

// roomAir is where the fan draws the air that it warms. One that breathes its own warm air sits in a closed locker.
func (h *Heater) roomAir() string {
	if h.b.ownAir > 0 {
		return "closed_locker"
	}
	return "room"
}
