package simulation

import (
	"cmp"
	"maps"
	"slices"

	"lightoff/engine/physics"
)

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }

// Setup is what the owner knows of a setup fact of the catalogue.
func (h *Heater) Setup(id string) Answer {
	f, ok := facts[id]
	if !ok {
		return unknown
	}
	w := witness{h, h.stream("setup", id)}
	if w.r.Float64() < forgotten[id] {
		return unknown
	}
	return f(w)
}

// SetupFacts lists the ids that Setup knows.
func SetupFacts() []string { return sortedKeys(facts) }

// forgotten is how often an owner does not know a fact: judgement, no source.
var forgotten = map[string]float64{
	"cable_area": 0.4, "cable_length": 0.2, "line_bore": 0.4, "line_length": 0.15, "pump_dose": 0.5, "glow_plug_kind": 0.6,
	"sensor_kind": 0.7, "battery_age": 0.15, "altitude": 0.1, "fuel_kind": 0.1, "running_hours": 0.15,
	"mostly_low_setting": 0.1,
	"duct_diameter":      0.15, "battery_chemistry": 0.1, "pump_angle": 0.1,
}

func (w witness) flag(is bool) Answer { return w.card(is) }

func (w witness) about(v, part float64) Answer {
	a := w.reads(v, part, 0)
	a.Unknown = false
	a.IsNumber = true
	if a.Number == 0 {
		a.Number = v
	}
	return a
}

func exact(v float64) Answer { return Answer{Number: v, IsNumber: true} }

var facts = map[string]func(w witness) Answer{
	"nominal_voltage": func(w witness) Answer {
		return w.tells(map[bool]string{true: "24",
			false: "12"}[w.h.in.Nominal == 24])
	},
	"just_installed":     func(w witness) Answer { return w.flag(w.h.in.JustInstalled) },
	"ran_dry":            func(w witness) Answer { return w.flag(w.h.in.RanDry) },
	"controller_changed": func(w witness) Answer { return w.flag(w.h.in.ControllerChanged) },
	"recent_work":        func(w witness) Answer { return w.flag(w.h.in.RecentWork) },
	"stood_over_summer":  func(w witness) Answer { return w.flag(w.h.in.StoodStill) },
	"runs_while_driving": func(w witness) Answer { return w.flag(w.h.in.Driving) },
	"mostly_low_setting": func(w witness) Answer { return w.flag(w.h.in.MostlyLow) },
	"power_cut_when_hot": func(w witness) Answer { return w.flag(w.h.in.CutWhenHot) },
	"remote_fitted":      func(w witness) Answer { return w.flag(w.h.in.Remote) },
	"line_see_through":   func(w witness) Answer { return w.flag(w.h.in.SeeThrough) },
	"co_alarm_fitted":    func(w witness) Answer { return w.flag(w.h.in.Alarm) },
	"installation":       func(w witness) Answer { return w.tells(w.h.in.Place) },
	"feed_point":         func(w witness) Answer { return w.tells(w.h.in.Feed) },
	"charging_now":       func(w witness) Answer { return w.tells(w.h.in.Charging) },
	"tank_position":      func(w witness) Answer { return w.tells(w.h.in.Tank) },
	"intake_from":        func(w witness) Answer { return w.tells(w.h.in.Intake) },
	"room_air_from":      func(w witness) Answer { return w.tells(w.h.roomAir()) },
	"heater_space":       func(w witness) Answer { return w.tells("clear") },
	"pickup":             func(w witness) Answer { return w.tells(w.h.in.Pickup) },
	"fuel_kind":          func(w witness) Answer { return w.tells(w.h.in.Fuel) },
	"line_type": func(w witness) Answer {
		return w.tells(map[bool]string{true: "soft",
			false: "rigid"}[w.h.in.Soft])
	},
	// the panel follows the common table, which is what nothing said means
	"code_table": func(witness) Answer { return unknown },
	"battery_chemistry": func(w witness) Answer {
		return w.tells([]string{"flooded", "agm",
			"lithium"}[w.h.in.Chemistry])
	},
	"glow_plug_kind": func(w witness) Answer {
		return w.tells(map[bool]string{true: "ceramic", false: "metal"}[w.h.in.Plug == physics.CeramicPlug])
	},
	"sensor_kind": func(w witness) Answer {
		return w.tells([]string{"ntc_10k", "ntc_50k", "ntc_100k", "pt1000"}[w.h.in.Sensor])
	},
	"running_hours": func(w witness) Answer {
		switch x := w.h.in.Hours; {
		case x < 50:
			return w.tells("under_50")
		case x <= 500:
			return w.tells("50_to_500")
		}
		return w.tells("over_500")
	},
	"battery_age":  func(w witness) Answer { return w.about(w.h.in.BatteryAge, 0.1) },
	"cable_area":   func(w witness) Answer { return exact(w.h.in.CableArea) },
	"cable_length": func(w witness) Answer { return w.about(w.h.in.CableLength, 0.1) },
	"line_bore":    func(w witness) Answer { return exact(w.h.in.Bore) },
	"line_length":  func(w witness) Answer { return w.about(w.h.in.LineLength, 0.1) },
	"pump_dose":    func(w witness) Answer { return exact(w.h.in.Dose) },
	"heater_power": func(w witness) Answer { return exact(w.h.in.Power) },
	"pump_angle": func(w witness) Answer {
		return Answer{Number: max(-90, min(90, w.h.in.PumpAngle+6*w.r.NormFloat64())), IsNumber: true}
	},
	"ambient_temperature": func(w witness) Answer {
		return Answer{Number: w.h.in.Ambient + 1.5*w.r.NormFloat64(),
			IsNumber: true}
	},
	"altitude":      func(w witness) Answer { return w.about(w.h.in.Altitude, 0.05) },
	"duct_length":   func(w witness) Answer { return w.about(w.h.in.DuctLength, 0.1) },
	"duct_bends":    func(w witness) Answer { return exact(float64(w.h.in.DuctBends)) },
	"duct_diameter": func(w witness) Answer { return exact(w.h.in.DuctDiameter) },
}
