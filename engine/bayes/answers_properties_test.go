package bayes_test

import (
	"math"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// entered is a drawn network with random findings that are possible.
func entered(t *rapid.T) (*model, *bayes.Query) {
	m, tree, r := drawn(t)
	q := tree.NewQuery()
	for _, a := range acts(r, m) {
		a(q)
	}
	if _, err := q.LogEvidence(); err != nil {
		t.Skip("impossible")
	}
	return m, q
}

// Likelihoods on any scale conflict alike.
func TestConflictForgetsTheScaleOfLikelihoods(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		scale := math.Exp(rapid.Float64Range(-300, 300).Draw(t, "log scale"))
		q := tree.NewQuery()
		first, second := randomRow(r, m.cards[0]), randomRow(r, m.cards[1])
		q.SetLikelihood(0, first)
		q.SetLikelihood(1, second)
		want, err := q.Conflict()
		require.NoError(t, err)
		q.SetLikelihood(0, scaled(first, scale))
		got, err := q.Conflict()
		require.NoError(t, err)
		require.InDelta(t, want, got, 1e-11*(1+math.Abs(math.Log(scale))))
	})
}

// The conflict of an observation with the rest is what it adds to the conflict of the rest: the logarithm of how much
// less probable it is for them.
func TestConflictAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		q := tree.NewQuery()
		for v := range m.cards[:len(m.cards)-1] {
			q.SetLikelihood(bayes.VarID(v), randomRow(r, m.cards[v]))
		}
		last := bayes.VarID(len(m.cards) - 1)
		l := randomRow(r, m.cards[last])
		prior, err := tree.NewQuery().Marginal(last)
		require.NoError(t, err)
		before, err := q.Conflict()
		require.NoError(t, err)
		now, err := q.Marginal(last)
		require.NoError(t, err)
		q.SetLikelihood(last, l)
		after, err := q.Conflict()
		require.NoError(t, err)
		apart, together := 0.0, 0.0
		for s, x := range l {
			apart += prior[s] * x
			together += now[s] * x
		}
		require.InDelta(t, before+math.Log(apart/together), after, 1e-10)
	})
}

// The order of the variables only permutes a joint posterior.
func TestJointOfPermutedVariables(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, q := entered(t)
		order := rapid.Permutation([]bayes.VarID{0, 1, bayes.VarID(len(m.cards) - 1)}[:2+min(1, len(m.cards)-2)]).Draw(t,
			"order")
		reversed := slices.Clone(order)
		slices.Reverse(reversed)
		one, err := q.Joint(order)
		require.NoError(t, err)
		two, err := q.Joint(reversed)
		require.NoError(t, err)
		states := make([]int, len(m.cards))
		total := 0.0
		for i, p := range one {
			for k, rest := len(order)-1, i; k >= 0; k-- {
				states[order[k]] = rest % m.cards[order[k]]
				rest /= m.cards[order[k]]
			}
			require.InDelta(t, p, two[index(m.cards, reversed, states)], tolerance)
			total += p
		}
		require.InDelta(t, 1, total, tolerance)
	})
}

// The first k explanations are the first of the first k+1, and the best beats every sample of the posterior.
func TestFewerExplanationsArePartOfMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, q := entered(t)
		k := rapid.IntRange(1, 6).Draw(t, "k")
		few, err := q.MostProbable(k)
		require.NoError(t, err)
		more, err := q.MostProbable(k + 1)
		require.NoError(t, err)
		require.Equal(t, few, more[:len(few)])
		for _, x := range few {
			require.Len(t, x.States, len(m.cards))
			require.GreaterOrEqual(t, few[0].LogP, x.LogP-1e-11*(1+math.Abs(x.LogP)))
		}
		log, err := q.LogEvidence()
		require.NoError(t, err)
		require.LessOrEqual(t, few[0].LogP, log+1e-11*(1+math.Abs(log)), "a part of P(findings)")
	})
}

// Scaling and shifting utilities does to gains what it does to money.
func TestGainsAreMoney(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, q := entered(t)
		shift, factor := rapid.Float64Range(-100, 100).Draw(t, "shift"), rapid.Float64Range(0.1, 10).Draw(t, "factor")
		utility, other := make([][]float64, 3), make([][]float64, 3)
		for a := range utility {
			utility[a] = rapid.SliceOfN(rapid.Float64Range(-100, 100), m.cards[0], m.cards[0]).Draw(t, "utility")
			for _, u := range utility[a] {
				other[a] = append(other[a], factor*u+shift)
			}
		}
		one, err := q.ValueOfInformation(0, []bayes.VarID{1}, utility)
		require.NoError(t, err)
		two, err := q.ValueOfInformation(0, []bayes.VarID{1}, other)
		require.NoError(t, err)
		require.InDelta(t, factor*one[0].Gain, two[0].Gain, 1e-8)
		require.InDelta(t, factor*one[0].ExpectedUtility+shift, two[0].ExpectedUtility, 1e-8)
		require.Equal(t, one[0].ExpectedEntropy, two[0].ExpectedEntropy)
	})
}

// A threshold of nothing is always reached, one above certainty never, and one decision is its opposite's opposite.
func TestSameDecisionAtTheEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, q := entered(t)
		for _, threshold := range []float64{0, 1.1} {
			p, err := q.SameDecision(0, 0, threshold, []bayes.VarID{1})
			require.NoError(t, err)
			require.Equal(t, 1.0, p)
		}
		p, err := q.SameDecision(0, 0, rapid.Float64Range(0, 1).Draw(t, "threshold"), []bayes.VarID{1})
		require.NoError(t, err)
		require.GreaterOrEqual(t, p, 0.0)
		require.LessOrEqual(t, p, 1.0)
	})
}

// Cases in any order and any split give one total.
func TestCountsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		all := m.samples(r, 9)
		whole, err := bayes.ExpectedCounts(tree, all)
		require.NoError(t, err)
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		first, err := bayes.ExpectedCounts(tree, all[:cut])
		require.NoError(t, err)
		slices.Reverse(all[cut:])
		second, err := bayes.ExpectedCounts(tree, all[cut:])
		require.NoError(t, err)
		require.InDelta(t, whole.LogP, first.LogP+second.LogP, 1e-10*(1+math.Abs(whole.LogP)))
		for v, table := range whole.Tables {
			total := 0.0
			for i, x := range table {
				require.InDelta(t, x, first.Tables[v][i]+second.Tables[v][i], 1e-11)
				total += x
			}
			if table != nil {
				require.InDelta(t, whole.Cases, total, 1e-10, "each case counts once for each family")
			}
		}
	})
}
