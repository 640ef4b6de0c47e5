package judge

import (
	"fmt"
	"slices"
	"strings"

	"lightoff/engine/diagnosis"
)

// Taking is what the engine gave a cause for taking part in the failure, by each of its answers, and whether it did.
type Taking struct {
	diagnosis.Taking
	True bool
}

// takings are the answers, by the names of the report.
var takings = []struct {
	name string
	of   func(Taking) float64
}{
	{"active", func(t Taking) float64 { return t.Active }},
	{"stands out", func(t Taking) float64 { return t.StandsUp }},
	{"followed back", func(t Taking) float64 { return t.Followed }},
	{"between", func(t Taking) float64 { return t.Between }},
}

func (j *Judge) taking(r diagnosis.Request, out *Result) []Taking {
	all, err := j.engine.TakesPart(r)
	if err != nil {
		out.Wrong = append(out.Wrong, err.Error())
		return nil
	}
	list := make([]Taking, len(all))
	for i, t := range all {
		list[i] = Taking{t, slices.Contains(out.Truth, t.ID)}
	}
	return list
}

// taken compares the answers to whether a cause takes part, at the end of each case.
func (r *Report) taken(b *strings.Builder) {
	fmt.Fprintf(b, "Whether a cause takes part, after the checks: expected calibration errors of the leading cause and "+
		"of all, leads that were right, "+
		"causes a case (truly %.2f)\n", mean(r.truths))
	for k, a := range takings {
		_, lead := Reliability(r.takenLead[k])
		_, all := Reliability(r.takenAll[k])
		right, said := Share{}, 0.0
		for _, p := range r.takenLead[k] {
			right.add(p.True)
		}
		for _, p := range r.takenAll[k] {
			said += p.P
		}
		fmt.Fprintf(b, "  %s: %.3f, %.4f, %v, %.2f\n", a.name, lead, all, right, said/float64(max(1, len(r.takenLead[k]))))
	}
	fmt.Fprintln(b)
}

func (r *Report) countTaken(out *Result) {
	if len(out.Taking) == 0 {
		return
	}
	r.truths = append(r.truths, float64(len(out.Truth)))
	for k, a := range takings {
		var lead Probability
		for i, t := range out.Taking {
			p := Probability{a.of(t), t.True}
			r.takenAll[k] = append(r.takenAll[k], p)
			if i == 0 || p.P > lead.P {
				lead = p
			}
		}
		r.takenLead[k] = append(r.takenLead[k], lead)
	}
}
