package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lightoff/engine/knowledge"
)

// whatIfs is how many findings an explanation names that would change the answer.
const whatIfs = 8

// Explain says how much each finding speaks for or against a cause and what would change that. The error is an
// *InputError, unless the model itself fails.
func (e *Engine) Explain(r Request, cause string) (*Explanation, error) {
	i := slices.IndexFunc(e.model.Causes, func(c knowledge.Cause) bool { return c.ID == cause })
	if i < 0 {
		return nil, &InputError{[]Violation{{"cause_id", fmt.Sprintf("%q is no cause", cause)}}}
	}
	v, err := e.Evidence(r)
	if err != nil {
		return nil, err
	}
	s, err := v.subject()
	if err != nil {
		return nil, err
	}
	defer e.pool.Put(s.in)
	x := &Explanation{Cause: s.ranked(i, cause), Explanation: s.texts.Causes[cause].Explain}
	var ids []string
	for _, c := range s.unmade() {
		if !c.setup {
			ids = append(ids, c.id)
		}
	}
	outcomes, err := s.in.Outcomes(i, ids)
	if err != nil {
		return nil, err
	}
	x.WouldChange = s.whatIfs(i, outcomes)
	without, err := s.in.LeaveOneOut(i)
	if err != nil {
		return nil, err
	}
	x.Cause.Weights = s.weights(i, 0, without)
	return x, nil
}

// whatIfs picks, for each observation, the state that would move the cause most, weighed by how likely it is.
func (s *subject) whatIfs(cause int, outcomes []knowledge.Outcome) []WhatIf {
	best := map[string]WhatIf{}
	var order []string
	move := func(w WhatIf) float64 { return w.Probability * math.Abs(w.After-s.posterior[cause]) }
	for _, o := range outcomes {
		w := WhatIf{ObservationID: o.Observation, State: o.State, Text: s.outcomeText(o), Probability: o.Probability, After: o.After}
		old, seen := best[o.Observation]
		if !seen {
			order = append(order, o.Observation)
		}
		if !seen || move(w) > move(old) {
			best[o.Observation] = w
		}
	}
	out := make([]WhatIf, len(order))
	for i, id := range order {
		out[i] = best[id]
	}
	slices.SortStableFunc(out, func(a, b WhatIf) int { return cmp.Compare(move(b), move(a)) })
	return out[:min(whatIfs, len(out))]
}

func (s *subject) outcomeText(o knowledge.Outcome) string {
	x := s.texts.Observations[o.Observation]
	if label := x.States[o.State]; label != "" {
		return x.Title + ": " + label
	}
	return x.Title + ": " + s.model.BandText(o.Observation, o.State, s.findings)
}
