package bayes_test

import (
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// A tree that is laid out by a known shape is the tree that the search had found.
func TestCompileAsGivesTheSameTree(t *testing.T) {
	for _, name := range carriedNetworks {
		n := readNetwork(t, name)
		var together [][]bayes.VarID
		if n.NumVariables() > 5 {
			together = [][]bayes.VarID{{1, 4}, {2, 3, 5}}
		}
		found, err := bayes.Compile(n, together...)
		require.NoError(t, err)
		again, err := bayes.CompileAs(n, found.Shape(), together...)
		require.NoError(t, err, name)
		require.Equal(t, found.Stats(), again.Stats(), name)
		require.Equal(t, found.Shape(), again.Shape(), name)
		a, b := found.NewQuery(), again.NewQuery()
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
			require.Equal(t, p, q, "%s, variable %d", name, v)
		}
	}
}

func likelihood(card int) []float64 {
	out := make([]float64, card)
	for i := range out {
		out[i] = 1 / float64(i+2)
	}
	return out
}

func TestShapeOfAnotherNetwork(t *testing.T) {
	asia, err := bayes.Compile(readNetwork(t, "asia"))
	require.NoError(t, err)
	_, err = bayes.CompileAs(readNetwork(t, "cancer"), asia.Shape())
	require.ErrorIs(t, err, bayes.ErrShape)
	turned := asia.Shape()
	turned.Order[0], turned.Order[len(turned.Order)-1] = turned.Order[len(turned.Order)-1], turned.Order[0]
	if tree, err := bayes.CompileAs(readNetwork(t, "asia"), turned); err == nil {
		require.Equal(t, turned, tree.Shape())
	} else {
		require.ErrorIs(t, err, bayes.ErrShape)
	}
	turned.Order[0] = 99
	_, err = bayes.CompileAs(readNetwork(t, "asia"), turned)
	require.ErrorIs(t, err, bayes.ErrShape)
}
