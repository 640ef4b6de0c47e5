package knowledge

import (
	"errors"
	"math"
	"slices"

	"lightoff/engine/bayes"
)

// StartLikelihoods tells how probable it is that a start goes well and shows what was found of it, once for each set of
// causes, by index, that are active and alone; the empty set is a heater that is well. Readings enter with their
// densities, so only ratios count.
func (in *Inquiry) StartLikelihoods(findings []Finding, active [][]int) ([]float64, error) {
	in.Enter(findings)
	with, without := in.at.ground.now.NewQuery(), in.at.ground.now.NewQuery()
	with.Observe(in.m.complained, 0)
	for _, e := range in.entered {
		e.set(with)
	}
	out := make([]float64, len(active))
	for k, set := range active {
		for i, v := range in.m.causeVar {
			if in.m.Causes[i].Computed {
				continue
			}
			state := 0
			if slices.Contains(set, i) {
				state = 1
			}
			with.Observe(v, state)
			without.Observe(v, state)
		}
		prior, err := without.LogEvidence()
		if err != nil {
			return nil, err
		}
		log, err := with.LogEvidence()
		if impossible := (*bayes.ImpossibleError)(nil); errors.As(err, &impossible) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out[k] = math.Exp(log - prior)
	}
	return out, nil
}
