package judge

import (
	"cmp"
	"math"
	"slices"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/simulation"
)

// adviser ranks causes from what was told; a simpler one than the engine.
type adviser interface {
	rank(told []diagnosis.Observation) []string
}

// popular always names the most common cause first.
type popular []string

func newPopular(m *knowledge.Model) popular {
	causes := slices.Clone(m.Causes)
	slices.SortStableFunc(causes, func(a, b knowledge.Cause) int { return cmp.Compare(b.PerThousand, a.PerThousand) })
	out := make(popular, len(causes))
	for i, c := range causes {
		out[i] = c.ID
	}
	return out
}

func (p popular) rank([]diagnosis.Observation) []string { return p }

// chart names what a plain table of codes names, as the catalogue gives the effects of causes, the commonest first;
// where there is no code, it is as popular.
type chart struct{ common popular }

var codeChart = map[string][]string{
	"E-01": {"battery_low", "battery_worn", "feed_undersized", "joint_resistance", "feed_via_light_circuit",
		"source_limited", "voltage_setting_wrong"},
	"E-02": {"supply_overvoltage", "voltage_setting_wrong"},
	"E-03": {"glow_plug_open", "glow_plug_weak", "glow_wiring_fault", "battery_worn"},
	"E-04": {"pump_unplugged", "pump_coil_failed", "pump_stuck", "board_failed"},
	"E-05": {"outlet_blocked", "duct_restrictive", "inlet_clearance_low", "overheat_sensor_failed",
		"compartment_hot", "cooldown_cut"},
	"E-06": {"fan_motor_failed", "fan_obstructed", "casing_rubs_fan", "fan_magnet_fault", "fan_position_wrong",
		"board_failed"},
	"E-07": {"data_wire_fault", "controller_mismatch", "board_failed", "controller_failed", "water_ingress"},
	"E-08": {"soft_line_air", "tank_low", "line_not_primed", "joint_air_leak", "pump_angle_air",
		"fuel_filter_blocked", "line_kinked"},
	"E-09": {"overheat_sensor_failed", "controller_failed", "board_failed"},
	"E-10": {"soft_line_air", "burner_flooded", "line_not_primed", "tank_low", "glow_screen_clogged",
		"burner_coked", "glow_plug_weak"},
	"blank_display": {"supply_open", "bms_cutoff", "controller_failed", "board_failed", "battery_low"},
	"other":         {"locked_out"},
}

func (c chart) rank(told []diagnosis.Observation) []string {
	var listed []string
	for _, o := range told {
		if o.ID == "fault_code" {
			listed = codeChart[o.State]
		}
	}
	out := slices.Clone(listed)
	for _, id := range c.common {
		if !slices.Contains(listed, id) {
			out = append(out, id)
		}
	}
	return out
}

// naive is naive Bayes for each cause by itself: every finding taken as independent given the cause, shares counted
// over simulated heaters of their own seeds. It has seen the very simulation that it is judged on, which the engine has
// not.
type naive struct {
	causes []string
	edges  map[string][]float64 // of numbers
	with   []map[string]map[string]float64
	all    map[string]map[string]float64
	had    []float64
	n      float64
}

func (v *naive) value(o diagnosis.Observation) string {
	if o.Kind != diagnosis.NumberValue {
		return o.State
	}
	edges := v.edges[o.ID]
	i, _ := slices.BinarySearch(edges, o.Number)
	return string(rune('0' + i))
}

// learn counts over cases, which may be asked at once.
func learn(m *knowledge.Model, cases []*Case, each func(n int, do func(i int))) *naive {
	v := &naive{edges: map[string][]float64{}, all: map[string]map[string]float64{}}
	for _, c := range m.Causes {
		v.causes = append(v.causes, c.ID)
		v.with = append(v.with, map[string]map[string]float64{})
	}
	v.had = make([]float64, len(v.causes))
	ids := slices.Concat(simulation.Observations(), simulation.SetupFacts())
	answers := make([][]diagnosis.Observation, len(cases))
	each(len(cases), func(i int) {
		t := teller{m: m, h: cases[i].Heater}
		for _, id := range ids {
			if o := t.answer(id); o.Kind != diagnosis.UnknownValue {
				answers[i] = append(answers[i], o)
			}
		}
	})
	numbers := map[string][]float64{}
	for _, told := range answers {
		for _, o := range told {
			if o.Kind == diagnosis.NumberValue {
				numbers[o.ID] = append(numbers[o.ID], o.Number)
			}
		}
	}
	for id, xs := range numbers {
		slices.Sort(xs)
		for _, q := range []float64{0.1, 0.25, 0.5, 0.75, 0.9} {
			v.edges[id] = append(v.edges[id], xs[int(q*float64(len(xs)-1))])
		}
	}
	for i, c := range cases {
		v.n++
		for _, o := range answers[i] {
			count(v.all, o.ID, v.value(o))
		}
		for _, id := range c.Truth {
			k := slices.Index(v.causes, id)
			v.had[k]++
			for _, o := range answers[i] {
				count(v.with[k], o.ID, v.value(o))
			}
		}
	}
	return v
}

func count(m map[string]map[string]float64, id, value string) {
	if m[id] == nil {
		m[id] = map[string]float64{}
	}
	m[id][value]++
	m[id][""]++
}

func (v *naive) rank(told []diagnosis.Observation) []string {
	type scored struct {
		id   string
		odds float64
	}
	list := make([]scored, len(v.causes))
	for k, id := range v.causes {
		odds := math.Log((v.had[k] + 0.5) / (v.n - v.had[k] + 0.5))
		for _, o := range told {
			if o.Kind == diagnosis.UnknownValue || v.all[o.ID] == nil {
				continue
			}
			x, states := v.value(o), float64(len(v.all[o.ID]))
			with, has := v.with[k][o.ID][x], v.with[k][o.ID][""]
			all, n := v.all[o.ID][x], v.all[o.ID][""]
			odds += math.Log((with+0.5)/(has+0.5*states)) - math.Log((all-with+0.5)/(n-has+0.5*states))
		}
		list[k] = scored{id, odds}
	}
	slices.SortStableFunc(list, func(a, b scored) int { return cmp.Compare(b.odds, a.odds) })
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = s.id
	}
	return out
}
