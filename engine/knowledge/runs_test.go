package knowledge

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What was done changes the odds of the causes: enumeration with every world weighed by the factors of its active
// causes.
func TestWhatWasDoneEqualsTheOracle(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	rapid.Check(t, func(t *rapid.T) {
		findings := findingsOf(t)
		odds := rapid.SliceOfN(rapid.Float64Range(0.01, 20), 3, 3).Draw(t, "odds")
		sum, total := make([]float64, 4), 0.0
		for _, w := range worlds() {
			p := w.prior(m.rate[0], m.rate[1], m.rate[2])
			if w.full {
				p *= m.anywayRate
			}
			for i, active := range []bool{w.dry, w.split, w.worn} {
				if active {
					p *= odds[i]
				}
			}
			for _, f := range findings {
				p *= w.likelihood(f)
			}
			total += p
			for i, active := range []bool{w.dry, w.split, w.worn, w.full} {
				sum[i] += is(active) * p
			}
		}
		for i := range sum {
			sum[i] /= total
		}
		in.ScaleOdds(append(odds, 1))
		requireEqual(t, sum, posteriors(t, in, findings...), tolerance, findings, odds)
		given, err := in.CausesGiven(0)
		require.NoError(t, err)
		require.InDelta(t, 1, given[0], tolerance, "it is taken to be active")
		in.ScaleOdds(nil)
		requireEqual(t, oracle(m.rate[0], m.rate[1], m.rate[2], m.anywayRate, findings...), posteriors(t, in, findings...),
			tolerance, "nothing is left of it")
	})
}

// A start that goes well, by enumeration: nobody complains, so the flow is full and nobody complains anyway.
func TestRunsEqualTheOracle(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	sets := [][]int{{}, {0}, {1}, {2}, {1, 2}, {3}}
	rapid.Check(t, func(t *rapid.T) {
		findings := findingsOf(t)
		got, err := in.StartLikelihoods(findings, sets)
		require.NoError(t, err)
		var want []float64
		for _, set := range sets {
			active := map[int]bool{}
			for _, i := range set {
				active[i] = true
			}
			with, all := 0.0, 0.0
			for _, w := range worlds() {
				if w.dry != active[0] || w.split != active[1] || w.worn != active[2] {
					continue
				}
				p := w.prior(m.rate[0], m.rate[1], m.rate[2])
				all += p
				p *= is(w.full) * (1 - m.anywayRate)
				for _, f := range findings {
					p *= w.likelihood(f)
				}
				with += p
			}
			want = append(want, with/all)
		}
		requireEqual(t, want, got, tolerance, findings)
	})
}
