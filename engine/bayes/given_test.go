package bayes_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// A network cut for a case answers that case as the whole one does, with no larger clique.
func TestGivenAnswersItsCase(t *testing.T) {
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 25))
		m := randomModel(r, 3+r.IntN(6))
		n, err := m.b.Build()
		require.NoError(t, err)
		states := m.sample(r)
		given := n.Given(states)
		ask := func(n *bayes.Network) (float64, [][]float64, int64) {
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			q := tree.NewQuery()
			for v, s := range states {
				if s != bayes.Unknown {
					q.Observe(bayes.VarID(v), s)
				}
			}
			log, err := q.LogEvidence()
			require.NoError(t, err)
			post, err := q.Marginals(nil)
			require.NoError(t, err)
			return log, post, tree.Stats().LargestClique
		}
		wantLog, want, whole := ask(n)
		gotLog, got, cut := ask(given)
		require.InDelta(t, wantLog, gotLog, 1e-11, "seed %d", seed)
		for v := range want {
			require.InDeltaSlice(t, want[v], got[v], tolerance, "seed %d", seed)
		}
		require.LessOrEqual(t, cut, whole)
		require.Equal(t, m.cards[0], given.Card(0), "observed variables stay")
	}
}

// Cutting a computed family leaves it computed.
func TestGivenKeepsComputedDistributions(t *testing.T) {
	c := newContextual(rand.New(rand.NewPCG(3, 26)))
	states := bayes.Case{2, bayes.Unknown, 1}
	ask := func(n *bayes.Network) answers {
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		q, err := tree.NewQueryWith("cold")
		require.NoError(t, err)
		q.Observe(0, 2)
		q.Observe(2, 1)
		return ask(q)
	}
	n := c.build(t, "", true)
	whole, cut := ask(n), ask(n.Given(states))
	require.InDelta(t, whole.log, cut.log, tolerance)
	require.InDeltaSlice(t, whole.marginals[1], cut.marginals[1], tolerance)
}

func TestGivenPanicsOnMisuse(t *testing.T) {
	n := mustRead(t, sprinkler)
	require.PanicsWithValue(t, "bayes: case of 1 states, want 4", func() { n.Given(bayes.Case{0}) })
	require.PanicsWithValue(t, `bayes: state 2 of "Cloudy", which has 2`, func() { n.Given(slices.Repeat(bayes.Case{2}, 4)) })
}
