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
	without, err := s.in.LeaveOneOut(i)
	if err != nil {
		return nil, err
	}
	x.Cause.Weights = s.weights(i, 0, without)
	x.WouldChange, err = s.comeTrue(i, s.whatIfs(i, outcomes))
	return x, err
}

// comeTrue works out what would be shown after each finding. A band is no number that could be entered; there the cause
// is taken to take part as often, where it is active, as it does now.
func (s *subject) comeTrue(cause int, ifs []WhatIf) ([]WhatIf, error) {
	defer s.in.Enter(s.findings)
	for k, w := range ifs {
		if o, _ := s.model.Observation(w.ObservationID); o == nil || o.Unit != "" {
			continue
		}
		told := append(slices.Clone(s.findings), knowledge.Finding{ID: w.ObservationID, State: w.State})
		slices.SortFunc(told, func(a, b knowledge.Finding) int { return cmp.Compare(a.ID, b.ID) })
		s.in.Enter(told)
		active, err := s.in.Causes(nil)
		if err != nil {
			return nil, err
		}
		parts, err := s.in.Parts()
		if err != nil {
			return nil, err
		}
		ifs[k].After = takesPart(cause, active, parts, s.base)
	}
	return ifs, nil
}

// whatIfs picks, for each observation, the state that would move the cause most, weighed by how likely it is.
func (s *subject) whatIfs(cause int, outcomes []knowledge.Outcome) []WhatIf {
	best := map[string]WhatIf{}
	var order []string
	move := func(w WhatIf) float64 { return w.Probability * math.Abs(w.After-s.part[cause]) }
	takes := 0.0 // of the times that it is active, those in which it takes part
	if s.posterior[cause] > 0 {
		takes = min(1, s.part[cause]/s.posterior[cause])
	}
	for _, o := range outcomes {
		w := WhatIf{ObservationID: o.Observation, State: o.State, Text: s.outcomeText(o), Probability: o.Probability,
			After: takes * o.After}
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
