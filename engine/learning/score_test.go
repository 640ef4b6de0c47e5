package learning_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lightoff/engine/learning"
)

// Brier 1950, Verification of forecasts expressed in terms of probability, in its one-sided form as an encyclopaedia
// gives it; his own sums over both classes and is twice as large.
func TestBrierScore(t *testing.T) {
	for _, tt := range []struct {
		p        float64
		happened bool
		want     float64
	}{{1, true, 0}, {1, false, 1}, {0.7, true, 0.09}, {0.3, true, 0.49}, {0.5, true, 0.25}} {
		assert.InDelta(t, tt.want, learning.BrierScore(tt.p, tt.happened), 1e-12)
	}
}

// Good 1952, Rational decisions: the definition, with values computed from it.
func TestLogScore(t *testing.T) {
	for p, want := range map[float64]float64{0.9: 0.105361, 0.5: 0.693147, 0.1: 2.302585} {
		assert.InDelta(t, want, learning.LogScore(p, true), 5e-7)
		assert.InDelta(t, want, learning.LogScore(1-p, false), 5e-7)
	}
}

// Murphy 1973: Brier = reliability − resolution + uncertainty. The set is our own: ten forecasts of 0.1 with one
// event, ten of 0.8 with seven.
func TestDecomposition(t *testing.T) {
	var set []learning.Forecast
	for i := range 10 {
		set = append(set, learning.Forecast{P: 0.1, Happened: i < 1}, learning.Forecast{P: 0.8, Happened: i < 7})
	}
	rel, res, unc := learning.DecomposeBrierScore(set)
	assert.InDelta(t, 0.0050, rel, 1e-12)
	assert.InDelta(t, 0.0900, res, 1e-12)
	assert.InDelta(t, 0.2400, unc, 1e-12)
	brier := 0.0
	for _, f := range set {
		brier += learning.BrierScore(f.P, f.Happened) / float64(len(set))
	}
	assert.InDelta(t, 0.1550, brier, 1e-12)
	assert.InDelta(t, brier, rel-res+unc, 1e-12)
	// Spiegelhalter's z from its definition: Σ(o−p)(1−2p) = 0·0.8 + (−1)(−0.6), variance 10·0.64·0.09 +
	// 10·0.36·0.16.
	assert.InDelta(t, 0.6/math.Sqrt(0.576+0.576), learning.SpiegelhalterZ(set), 1e-12)
	bins := learning.Calibrate(set, 1.959964)
	assert.Len(t, bins, 2)
	assert.InDelta(t, 0.1, bins[0].Share, 1e-12)
	assert.Equal(t, 10, bins[1].Count)
	assert.InDelta(t, 0.7, bins[1].Share, 1e-12)
}

// The interval solves (share − p)² = z² p (1 − p) / n, which is how Wilson 1927 defines it.
func TestWilsonInterval(t *testing.T) {
	for _, x := range [][2]float64{{0.1, 10}, {0.7, 10}, {0.5, 1000}, {0, 20}, {1, 20}} {
		low, high := learning.WilsonInterval(x[0], x[1], 1.96)
		for _, p := range []float64{low, high} {
			assert.InDelta(t, (x[0]-p)*(x[0]-p), 1.96*1.96*p*(1-p)/x[1], 1e-12)
		}
		assert.LessOrEqual(t, low, x[0])
		assert.GreaterOrEqual(t, high, x[0])
	}
}
