package judge

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"lightoff/engine/knowledge"
	"lightoff/engine/simulation"
)

// Disagreement is an observation of which simulated heaters with a cause, alone and true, and the model expect
// different things; Code is the code that was shown, or empty for all of them.
type Disagreement struct {
	Cause, Code, Observation string
	Of                       int     // simulated heaters that answered
	Heaters                  int     // simulated heaters with this cause and code
	Bits                     float64 // Kullback–Leibler divergence of the model from the simulation
	Weight                   float64 // bits by 1,000 heaters brought in: how much there is to lose
	States                   []Expectation
}

// Expectation is how often a state is met.
type Expectation struct {
	State            string
	Simulated, Model float64
}

// fewest is the number of heaters below which nothing is compared.
const fewest = 8

// String writes it in a line.
func (d Disagreement) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%6.2f  %.2f bit  %s", d.Weight, d.Bits, d.Cause)
	if d.Code != "" {
		fmt.Fprintf(&b, " at %s", d.Code)
	}
	fmt.Fprintf(&b, ", %s (%d of %d tell):", d.Observation, d.Of, d.Heaters)
	for _, e := range d.States {
		if e.Simulated >= 0.03 || e.Model >= 0.03 {
			fmt.Fprintf(&b, " %s %.2f/%.2f", e.State, e.Simulated, e.Model)
		}
	}
	return b.String()
}

// Compare draws so many heaters for each cause, with this cause alone, and lists where what they show differs from what
// the model expects of the cause, the weightiest first. Each is weighed by how common the cause is, how often it shows
// the code and how often an owner can tell. It is a list of questions, not of errors: trade and physics decide which of
// the two is wrong.
func Compare(m *knowledge.Model, seed uint64, each int) ([]Disagreement, error) {
	var out []Disagreement
	in := m.NewInquiry()
	for k, cause := range m.Causes {
		if cause.Computed || !simulation.Knows(cause.ID) {
			continue
		}
		byCode := map[string][]*simulation.Heater{}
		all := 0
		for i := range each {
			r := rand.New(rand.NewPCG(seed<<20|uint64(k*each+i), compared))
			if c := live(r.Uint64(), []string{cause.ID}); c != nil && len(c.Truth) == 1 {
				code := c.Heater.Observe("fault_code").State
				byCode[code] = append(byCode[code], c.Heater)
				all++
			}
		}
		if all < fewest {
			continue
		}
		found, err := compare(m, in, k, "", slices.Concat(slices.Collect(maps.Values(byCode))...), cause.PerThousand)
		if err != nil {
			return nil, err
		}
		out = append(out, slices.DeleteFunc(found, func(d Disagreement) bool {
			return d.Observation != "fault_code" &&
				d.Observation != "complaint"
		})...)
		for _, code := range slices.Sorted(maps.Keys(byCode)) {
			heaters := byCode[code]
			if len(heaters) < fewest {
				continue
			}
			found, err := compare(m, in, k, code, heaters, cause.PerThousand*float64(len(heaters))/float64(all))
			if err != nil {
				return nil, err
			}
			out = append(out, found...)
		}
	}
	slices.SortStableFunc(out, func(a, b Disagreement) int { return cmp.Compare(b.Weight, a.Weight) })
	return out, nil
}

// compare compares all observations of heaters that have one cause and show one code, or any if it is empty.
func compare(m *knowledge.Model, in *knowledge.Inquiry, cause int, code string, heaters []*simulation.Heater,
	common float64) ([]Disagreement, error) {
	var told []knowledge.Finding
	if code != "" {
		told = append(told, knowledge.Finding{ID: "fault_code", State: code})
	}
	in.Enter(told)
	var ids []string
	for _, o := range m.Observations {
		if !in.IsTold(o.ID) {
			ids = append(ids, o.ID)
		}
	}
	p, err := in.Cause(cause)
	if err != nil {
		return nil, err
	}
	outcomes, err := in.Outcomes(cause, ids)
	if err != nil {
		return nil, err
	}
	expected := map[string]map[string]float64{}
	for _, o := range outcomes {
		if expected[o.Observation] == nil {
			expected[o.Observation] = map[string]float64{}
		}
		expected[o.Observation][o.State] = o.After * o.Probability / p
	}
	for _, states := range expected { // what nobody can name is told as "other"
		rest := 1.0
		for _, s := range slices.Sorted(maps.Keys(states)) {
			rest -= states[s]
		}
		if rest > 1e-9 {
			states["other"] += rest
		}
	}
	var out []Disagreement
	for _, id := range ids {
		seen, n := map[string]float64{}, 0
		for _, h := range heaters {
			if s := shownAs(m, h, id); s != "" {
				seen[s]++
				n++
			}
		}
		if n < fewest || expected[id] == nil {
			continue
		}
		d := Disagreement{Cause: m.Causes[cause].ID, Code: code, Observation: id, Of: n, Heaters: len(heaters)}
		for _, s := range slices.Sorted(maps.Keys(expected[id])) {
			model := expected[id][s]
			share := (seen[s] + model) / (float64(n) + 1)
			if share > 0 && model > 0 {
				d.Bits += share * math.Log2(share/model)
			}
			d.States = append(d.States, Expectation{s, seen[s] / float64(n), model})
		}
		d.Weight = d.Bits * common * float64(n) / float64(len(heaters))
		out = append(out, d)
	}
	return out, nil
}

// shownAs is what the heater's owner tells, numbers as their bands; empty if they can't.
func shownAs(m *knowledge.Model, h *simulation.Heater, id string) string {
	a := h.Observe(id)
	switch {
	case a.Unknown:
		return ""
	case a.IsNumber:
		return m.Band(id, a.Number, []knowledge.Finding{{ID: "nominal_voltage", State: h.Setup("nominal_voltage").State}})
	}
	return a.State
}
