package bayes_test

import (
	"math"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// Answers on networks far beyond the oracle, checked against closed forms: one binary cause, and readings that are low
// or high with 0.9 and 0.1 if it is absent, 0.2 and 0.8 if it is present.

// binomial is ln of n over k.
func binomial(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// readingOdds is ln of the odds of the cause after so many low and high readings.
func readingOdds(low, high int) float64 {
	return float64(low)*math.Log(0.2/0.9) + float64(high)*math.Log(0.8/0.1)
}

func sigmoid(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

func TestConflictOfThousandsOfFindings(t *testing.T) {
	tree, _, readings := sensors(t, 1000)
	q := tree.NewQuery()
	for i, v := range readings {
		q.Observe(v, i%2)
	}
	no, yes := 500*math.Log(0.9*0.1), 500*math.Log(0.2*0.8)
	together := yes + math.Log1p(math.Exp(no-yes)) - math.Ln2
	apart := 500*math.Log((0.9+0.2)/2) + 500*math.Log((0.1+0.8)/2)
	got, err := q.Conflict()
	require.NoError(t, err)
	require.InDelta(t, apart-together, got, 1e-9)
}

func TestLeavingOutOneOfManyReadings(t *testing.T) {
	tree, cause, readings := sensors(t, 60)
	q := tree.NewQuery()
	for i, v := range readings {
		q.Observe(v, min(i%3, 1))
	}
	all, err := q.LeaveOneOut(cause)
	require.NoError(t, err)
	require.Len(t, all, 60)
	for i, left := range all {
		require.Equal(t, readings[i], left.Variable)
		low, high := 20, 40
		if i%3 == 0 {
			low--
		} else {
			high--
		}
		require.InDelta(t, sigmoid(readingOdds(low, high)), left.Posteriors[0][1], tolerance)
	}
}

// Eleven readings to come: the decision survives where the number of high ones leaves the odds on the same side.
func TestSameDecisionOfManyReadings(t *testing.T) {
	const coming, threshold = 11, 0.7
	tree, cause, readings := sensors(t, 30)
	q := tree.NewQuery()
	for i := range 7 {
		q.Observe(readings[i], i%2)
	}
	now := readingOdds(4, 3)
	want := 0.0
	for high := range coming + 1 {
		p := math.Exp(binomial(coming,
			high)+float64(coming-high)*math.Log(0.9)+float64(high)*math.Log(0.1))*(1-sigmoid(now)) +
			math.Exp(binomial(coming, high)+float64(coming-high)*math.Log(0.2)+float64(high)*math.Log(0.8))*sigmoid(now)
		if (sigmoid(readingOdds(4+coming-high, 3+high)) >= threshold) == (sigmoid(now) >= threshold) {
			want += p
		}
	}
	got, err := q.SameDecision(cause, 1, threshold, readings[10:10+coming])
	require.NoError(t, err)
	require.InDelta(t, want, got, 1e-11)
	require.Greater(t, got, 0.3)
	require.Less(t, got, 0.95)
}

// The two best explanations of nothing are all readings at their likelier state, for either state of the cause.
// After that, one reading at a time takes its other state, the first in the order of states being the last reading.
func TestMostProbableOfManyReadings(t *testing.T) {
	tree, cause, readings := sensors(t, 300)
	got, err := tree.NewQuery().MostProbable(4)
	require.NoError(t, err)
	require.Zero(t, got[0].States[cause])
	require.Zero(t, slices.Max(got[0].States))
	best := math.Log(0.5) + 300*math.Log(0.9)
	require.InDelta(t, best, got[0].LogP, 1e-9)
	for k, x := range got[1:] {
		require.InDelta(t, best+math.Log(0.1/0.9), x.LogP, 1e-9)
		for i, v := range readings {
			want := 0
			if i == len(readings)-1-k {
				want = 1
			}
			require.Equal(t, want, x.States[v])
		}
	}
}

// One reading says high; how often such a reading is high without a cause is a parameter with known coefficients.
func TestSensitivityOfManyReadings(t *testing.T) {
	tree, cause, readings := sensors(t, 400)
	q := tree.NewQuery()
	for i, v := range readings {
		q.Observe(v, i%2)
	}
	s, err := q.Sensitivity(bayes.Parameter{Variable: readings[1], Parents: []int{0}, State: 1}, cause, 0)
	require.NoError(t, err)
	absent := sigmoid(-readingOdds(200, 200)) // 1e-50, which must not drown in the rest
	require.InEpsilon(t, absent/0.1, s.Alpha, 1e-9)
	require.InDelta(t, 0, s.Beta, 1e-12)
	require.InEpsilon(t, absent/0.1, s.Gamma, 1e-9)
	require.InDelta(t, 1-absent, s.Delta, 1e-12)
}

// Cases without noise teach the generating table: counts of complete cases are plain frequencies.
func TestLearningFromCompleteCasesIsCounting(t *testing.T) {
	tree, cause, readings := sensors(t, 50)
	var all []bayes.Case
	for i := range 20 {
		states := make(bayes.Case, 1+len(readings))
		states[cause] = min(i%4, 1)
		for k, v := range readings {
			states[v] = (i + k) % 2
		}
		all = append(all, states)
	}
	counts, err := bayes.ExpectedCounts(tree, all)
	require.NoError(t, err)
	require.Equal(t, []float64{5, 15}, counts.Tables[cause])
	require.InDeltaSlice(t, []float64{5, 0, 5, 10}, counts.Tables[readings[0]], 1e-12)
	require.InDeltaSlice(t, []float64{0, 5, 10, 5}, counts.Tables[readings[1]], 1e-12)
}

// An appliance has noisy families of many parents, joint accumulators and large children; every answer is held against
// another one of the same query.
func TestAnswersOnAnApplianceAgreeWithEachOther(t *testing.T) {
	a := newAppliance(t)
	q := a.query(t)
	cause, candidates := a.causes[2], []bayes.VarID{a.observations[1], a.observations[2], a.observations[4]}
	joint, err := q.Joint(append(slices.Clone(candidates[:2]), cause))
	require.NoError(t, err)
	utility := [][]float64{{0, -100}, {-20, -30}}
	values, err := q.ValueOfInformation(cause, candidates, utility)
	require.NoError(t, err)
	// A joint summed over the second candidate is that of the first with the cause.
	card, total := a.net.Card(candidates[1]), 0.0
	for first := range a.net.Card(candidates[0]) {
		pair := make([]float64, 2)
		for second := range card {
			pair[0] += joint[(first*card+second)*2]
			pair[1] += joint[(first*card+second)*2+1]
		}
		total += bestUtility(utility, pair)
	}
	require.InDelta(t, total, values[0].ExpectedUtility, 100*tolerance)
	// A decision without candidates is sure, and with the cause as good as known it changes when the cause does.
	same, err := q.SameDecision(cause, 1, 0.5, nil)
	require.NoError(t, err)
	require.InDelta(t, 1, same, tolerance)
	// Counts of one case are its posteriors.
	counts := a.net.NewCounts()
	require.NoError(t, q.AddCounts(counts, 3))
	p, err := q.Marginal(cause)
	require.NoError(t, err)
	require.InDeltaSlice(t, scaled(p, 3), counts.Tables[cause], 10*tolerance)
	log, err := q.LogEvidence()
	require.NoError(t, err)
	require.InDelta(t, 3*log, counts.LogP, 1e-9)
}
