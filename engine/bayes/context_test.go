package bayes_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// contextual is a chain of a root, a child of it and a noisy child of both, where root and first child are computed.
type contextual struct {
	contexts map[string][2][]float64 // tables of root and child
}

func newContextual(r *rand.Rand) contextual {
	c := contextual{map[string][2][]float64{}}
	for _, name := range []string{"", "warm", "cold"} {
		c.contexts[name] = [2][]float64{randomRow(r, 3), randomTable(r, 3, 2)}
	}
	return c
}

// build gives the network with computed distributions or, for a fixed context, with tables.
func (c contextual) build(t *testing.T, fixed string, computed bool) *bayes.Network {
	var b bayes.Builder
	root, child := b.Add("root", "a", "b", "c"), b.Add("child", "no", "yes")
	seen := b.Add("seen", "no", "yes")
	if computed {
		table := func(which int) bayes.Compute {
			return func(context bayes.Context, states []int) []float64 {
				name, _ := context.(string)
				table := c.contexts[name][which]
				if which == 0 {
					return table
				}
				return table[2*states[0]:][:2]
			}
		}
		b.Computed(root, nil, table(0))
		b.Computed(child, []bayes.VarID{root}, table(1))
	} else {
		b.Table(root, nil, c.contexts[fixed][0])
		b.Table(child, []bayes.VarID{root}, c.contexts[fixed][1])
	}
	b.NoisyMax(seen, []bayes.Link{
		{Parent: root, P: [][]float64{{1, 0}, {0.4, 0.6}, {0.2, 0.8}}},
		{Parent: child, P: [][]float64{{1, 0}, {0.3, 0.7}}},
	}, []float64{0.99, 0.01})
	n, err := b.Build()
	require.NoError(t, err)
	return n
}

// A query made with a context answers as if its tables had been given to the builder, to the last bit.
func TestComputedDistributionsEqualTables(t *testing.T) {
	for seed := range uint64(20) {
		c := newContextual(rand.New(rand.NewPCG(seed, 23)))
		tree, err := bayes.Compile(c.build(t, "", true))
		require.NoError(t, err)
		for name := range c.contexts {
			n := c.build(t, name, false)
			fixed, err := bayes.Compile(n)
			require.NoError(t, err)
			var context bayes.Context
			if name != "" {
				context = name
			}
			got, err := tree.NewQueryWith(context)
			require.NoError(t, err)
			want := fixed.NewQuery()
			for _, q := range []*bayes.Query{got, want} {
				q.Observe(2, 1)
				q.SetLikelihood(1, []float64{0.2, 0.9})
			}
			order := []int{0, 1, 2, 3, 4, 6}
			require.Equal(t, askEverything(t, n, want, order), askEverything(t, n, got, order), name)
		}
		plain := tree.NewQuery()
		none, err := tree.NewQueryWith(nil)
		require.NoError(t, err)
		require.Equal(t, ask(none), ask(plain))
	}
}

// A query that was moved between contexts answers as a new one in the last of them, to the last bit, and keeps its
// findings.
func TestMovedQueriesLeaveNoTrace(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 25))
		c := newContextual(r)
		n := c.build(t, "", true)
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		moved := tree.NewQuery()
		moved.Observe(2, 1)
		for range 6 {
			name := []string{"", "warm", "cold"}[r.IntN(3)]
			there, err := tree.InContext(name)
			require.NoError(t, err)
			moved.MoveTo(there)
			l := randomRow(r, 2)
			moved.SetLikelihood(1, l)
			fresh := there.NewQuery()
			fresh.Observe(2, 1)
			fresh.SetLikelihood(1, l)
			require.Equal(t, askEverything(t, n, fresh, r.Perm(5)), askEverything(t, n, moved, r.Perm(5)), name)
		}
		moved.MoveTo(tree)
		other, err := bayes.Compile(n)
		require.NoError(t, err)
		require.PanicsWithValue(t, "bayes: moved to a tree of another shape", func() { moved.MoveTo(other) })
	}
}

// Computed numbers are nobody's to learn.
func TestComputedDistributionsAreNotCounted(t *testing.T) {
	n := newContextual(rand.New(rand.NewPCG(1, 24))).build(t, "", true)
	counts := n.NewCounts()
	require.Nil(t, counts.Tables[0])
	require.Nil(t, counts.Tables[1])
	require.NotNil(t, counts.Noisy[2])
}

func TestBadComputedRowsAreNamed(t *testing.T) {
	build := func(f bayes.Compute) (*bayes.Network, error) {
		var b bayes.Builder
		cable, drop := b.Add("cable", "thick", "thin"), b.Add("drop", "small", "large")
		b.Table(cable, nil, []float64{0.5, 0.5})
		b.Computed(drop, []bayes.VarID{cable}, f)
		return b.Build()
	}
	_, err := build(func(bayes.Context, []int) []float64 { return []float64{1} })
	require.EqualError(t, err, `the computed row of variable "drop" for cable=thick has 1 entries, not 2`)
	n, err := build(func(c bayes.Context, states []int) []float64 {
		if c != nil && states[0] == 1 {
			return []float64{0.5, c.(float64)}
		}
		return []float64{0.9, 0.1}
	})
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	_, err = tree.NewQueryWith(0.7)
	require.EqualError(t, err, `context: the computed row of variable "drop" for cable=thin sums to 1.2, not to one`)
	_, err = tree.NewQueryWith(0.5)
	require.NoError(t, err)
}

func ExampleJoinTree_NewQueryWith() {
	var b bayes.Builder
	waxed, starved := b.Add("fuel waxed", "no", "yes"), b.Add("starved", "no", "yes")
	b.Computed(waxed, nil, func(context bayes.Context, _ []int) []float64 {
		if celsius, ok := context.(float64); ok && celsius < -15 {
			return []float64{0.5, 0.5}
		}
		return []float64{0.99, 0.01}
	})
	b.NoisyOr(starved, []bayes.VarID{waxed}, []float64{0.9}, 0.05)
	n, _ := b.Build()
	tree, _ := bayes.Compile(n)
	for _, outside := range []float64{5, -20} {
		q, _ := tree.NewQueryWith(outside)
		q.Observe(starved, 1)
		p, _ := q.Marginal(waxed)
		fmt.Printf("%3.0f °C: %.2f\n", outside, p[1])
	}
	// Output:
	//   5 °C: 0.15
	// -20 °C: 0.95
}
