package bayes_test

import (
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// A sequence that was searched for never makes a tree that reads more, and whatever it names, the answers stay.
func TestCompileAlong(t *testing.T) {
	better := 0
	for _, name := range carriedNetworks {
		n := readNetwork(t, name)
		var together [][]bayes.VarID
		if n.NumVariables() > 5 {
			together = [][]bayes.VarID{{1, 4}, {2, 3, 5}}
		}
		greedy, err := bayes.Compile(n, together...)
		require.NoError(t, err)
		found := bayes.Improve(n, nil, 300, together...)
		require.Equal(t, found, bayes.Improve(n, nil, 300, together...), "%s: the same search finds the same", name)
		turned := slices.Clone(found)
		slices.Reverse(turned)
		for _, sequence := range [][]string{found, turned, append([]string{"gone"}, found[len(found)/2:]...), nil} {
			along, err := bayes.CompileAlong(n, sequence, together...)
			require.NoError(t, err)
			require.LessOrEqual(t, along.Stats().Touched, greedy.Stats().Touched, name)
			if along.Stats().Touched < greedy.Stats().Touched {
				better++
			}
			a, b := greedy.NewQuery(), along.NewQuery()
			for v := range bayes.VarID(n.NumVariables()) {
				if int(v)%3 == 0 {
					a.SetLikelihood(v, likelihood(n.Card(v)))
					b.SetLikelihood(v, likelihood(n.Card(v)))
				}
			}
			for v := range bayes.VarID(n.NumVariables()) {
				p, err := a.Marginal(v)
				require.NoError(t, err)
				q, err := b.Marginal(v)
				require.NoError(t, err)
				require.InDeltaSlice(t, p, q, 1e-12, "%s, variable %d: only rounding may differ", name, v)
			}
		}
	}
	require.Positive(t, better, "on some network the search finds what the rules don't")
}
