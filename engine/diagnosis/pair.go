package diagnosis

import (
	"cmp"
	"slices"
)

// two are causes with the weight of the scenario in which both take part, and the chance that both are active.
type two struct {
	first, second int
	weight, both  float64
}

// From which chance on it is said that more than one thing is probably wrong: more likely than not; and that perhaps it
// is. Of 50 callers' cases with two causes that were tuned on, both were named in 7 by the first bound and in 14 by the
// second; of the cases with one cause 3 in 100 were said to have two.
const (
	severalFrom = 0.5
	perhapsFrom = 0.3
)

// pair is the two causes that most probably go together, where more than one may well take part in the failure.
func (s *subject) pair(p *planning) *Pair {
	if p == nil || len(p.twos) == 0 {
		return nil
	}
	several := 0.0
	for _, t := range p.twos {
		several += t.weight
	}
	if several < perhapsFrom {
		return nil
	}
	best := slices.MaxFunc(p.twos, func(a, b two) int { return cmp.Compare(a.weight, b.weight) })
	if s.part[best.first] < s.part[best.second] {
		best.first, best.second = best.second, best.first
	}
	first, second := s.model.Causes[best.first].ID, s.model.Causes[best.second].ID
	says, advises := s.texts.Phrases["pair_perhaps"], s.texts.Phrases["pair_perhaps_advice"]
	if several >= severalFrom {
		says, advises = s.texts.Phrases["pair"], s.texts.Phrases["pair_advice"]
	}
	return &Pair{CauseIDs: [2]string{first, second}, Probability: best.both, Several: min(1, several),
		Text: says + s.texts.Causes[first].Title + " · " + s.texts.Causes[second].Title + ". " + advises}
}
