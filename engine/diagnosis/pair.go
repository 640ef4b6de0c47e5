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

// severalFrom is the chance from which on it is said that more than one thing is wrong: more likely than not.
const severalFrom = 0.5

// pair is the two causes that most probably go together, where more than one probably takes part in the failure.
func (s *subject) pair(p *planning) *Pair {
	if p == nil || len(p.twos) == 0 {
		return nil
	}
	several := 0.0
	for _, t := range p.twos {
		several += t.weight
	}
	if several < severalFrom {
		return nil
	}
	best := slices.MaxFunc(p.twos, func(a, b two) int { return cmp.Compare(a.weight, b.weight) })
	if s.part[best.first] < s.part[best.second] {
		best.first, best.second = best.second, best.first
	}
	first, second := s.model.Causes[best.first].ID, s.model.Causes[best.second].ID
	return &Pair{CauseIDs: [2]string{first, second}, Probability: best.both, Several: min(1, several),
		Text: s.texts.Phrases["pair"] + s.texts.Causes[first].Title + " · " + s.texts.Causes[second].Title + ". " + s.texts.Phrases["pair_advice"]}
}
