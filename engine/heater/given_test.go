package heater_test

import (
	"fmt"
	"slices"
	"testing"

	"lightoff/engine/bayes"
	"lightoff/engine/cases"
	"lightoff/engine/heater"

	"github.com/stretchr/testify/require"
)

// stories are what callers tell as states of the network, and what there is to find as well.
func stories(tb testing.TB, n *bayes.Network) (all []bayes.Case) {
	suite, err := cases.Read(heater.Cases())
	require.NoError(tb, err)
	for i, c := range suite.Cases {
		if c.Kept || i%12 > 0 {
			continue
		}
		states := slices.Repeat(bayes.Case{bayes.Unknown}, n.NumVariables())
		for k, facts := range []map[string]any{c.Told, c.Finds} {
			if k > 0 && i%24 > 0 {
				continue
			}
			for id, value := range facts {
				if v, ok := n.Lookup(id); ok {
					states[v] = slices.Index(n.Variable(v).States, fmt.Sprint(value)) // −1 is Unknown
				}
			}
		}
		all = append(all, states)
	}
	return all
}

// A tree for one case is never larger than the tree for all of them.
func TestTreesForOneCase(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	whole, err := bayes.Compile(m.Network())
	require.NoError(t, err)
	for _, states := range stories(t, m.Network()) {
		tree, err := bayes.Compile(m.Network().Given(states))
		require.NoError(t, err)
		require.LessOrEqual(t, tree.Stats().WholeEntries, whole.Stats().WholeEntries)
	}
}

// BenchmarkGiven compiles the network for one case and asks for all posteriors; BenchmarkWhole enters it into the
// tree for all.
func BenchmarkGiven(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	all := stories(b, m.Network())
	var dst [][]float64
	entries := int64(0)
	for i := 0; b.Loop(); i++ {
		tree, err := bayes.Compile(m.Network().Given(all[i%len(all)]))
		require.NoError(b, err)
		dst, err = tree.NewQuery().Marginals(dst)
		require.NoError(b, err)
		entries += tree.Stats().TotalEntries
	}
	b.ReportMetric(float64(entries)/float64(b.N), "entries")
}

func BenchmarkWhole(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	tree, err := bayes.Compile(m.Network())
	require.NoError(b, err)
	all := stories(b, m.Network())
	q := tree.NewQuery()
	var dst [][]float64
	for i := 0; b.Loop(); i++ {
		q.Reset()
		for v, s := range all[i%len(all)] {
			if s != bayes.Unknown {
				q.Observe(bayes.VarID(v), s)
			}
		}
		dst, err = q.Marginals(dst)
		require.NoError(b, err)
	}
	b.ReportMetric(float64(tree.Stats().TotalEntries), "entries")
}
