package diagnosis

import (
	"slices"

	"lightoff/engine/knowledge"
)

// Of several repairs of a cause the one is made that the findings point to: a lost magnet is renewed, not the fan
// seated anew, however much less that takes.

// pointsTo lists, by cause, the repairs that a finding points to and that can still be made by this owner.
func (s *subject) pointsTo() map[string][]string {
	out := map[string][]string{}
	for _, r := range s.model.Repairs {
		if !s.still.any(r.Points) || s.done(r.ID) || s.unwilling(r) || s.ruledOut(r) {
			continue
		}
		for _, cause := range r.Mends {
			out[cause] = append(out[cause], r.ID)
		}
	}
	return out
}

// ruledOut reports whether a finding rules a repair out: nobody fills a full tank.
func (s *subject) ruledOut(r knowledge.Repair) bool { return s.still.any(r.Against) }

// any reports whether one of some conditions holds.
func (f facts) any(of []knowledge.Trigger) bool {
	return slices.ContainsFunc(of, func(t knowledge.Trigger) bool { return f.all(t.All) })
}

// serves reports whether a repair mends a cause, and no finding points to another one for it.
func (s *subject) serves(r knowledge.Repair, cause string) bool {
	return slices.Contains(r.Mends, cause) && (len(s.pointed[cause]) == 0 || slices.Contains(s.pointed[cause], r.ID))
}
