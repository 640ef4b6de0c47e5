package learning

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Dempster, Laird & Rubin 1977, Maximum likelihood from incomplete data via the EM algorithm (JRSS B 39), Table 1: the
// genetic linkage of 197 animals in four classes of probabilities 1/2 + p/4, (1 − p)/4, (1 − p)/4, p/4, from 0.5.
// The expected counts are worked out here, the new probability by the package; without a prior the two are EM.
func TestGeneticLinkage(t *testing.T) {
	p := 0.5
	for k, want := range []float64{0.608247423, 0.62432105, 0.626488879, 0.626777322, 0.626815632, 0.626820719} {
		hidden := 125 * (p / 4) / (0.5 + p/4)
		p = updated([]float64{p, 1 - p}, []float64{hidden + 34, 18 + 20}, 0)[0]
		assert.InDelta(t, want, p, 1.1e-9, "iteration %d", k+1)
	}
	for range 60 {
		p = updated([]float64{p, 1 - p}, []float64{125*(p/4)/(0.5+p/4) + 34, 38}, 0)[0]
	}
	assert.InDelta(t, 0.6268214980, p, 5e-10)
}

// The bound that the package promises, at its tightest: one source against the prior alone.
func TestMostIsTheBound(t *testing.T) {
	for _, share := range []float64{0.01, 0.1, 0.5} {
		n := most(share, 50)
		assert.InDelta(t, share, updated([]float64{1, 0}, []float64{0, n}, 50)[1], 1e-12)
		assert.Less(t, updated([]float64{0.7, 0.3}, []float64{0, n}, 50)[1]-0.3, share)
		assert.Equal(t, []float64{0.25, 0.75}, updated([]float64{0.25, 0.75}, []float64{0, 0}, 0))
	}
}

func TestTowardsStopsAtTheLimit(t *testing.T) {
	assert.InDeltaSlice(t, []float64{0.4, 0.35, 0.25}, towards([]float64{0.5, 0.3, 0.2}, []float64{0.2, 0.45, 0.35}, 0.1),
		1e-12)
	assert.Equal(t, []float64{0.45, 0.55}, towards([]float64{0.5, 0.5}, []float64{0.45, 0.55}, 0.1))
}
