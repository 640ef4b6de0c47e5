package bayes_test

import (
	"math/rand/v2"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// dags calls f with the parents of every labelled directed acyclic graph of n variables.
func dags(n int, f func(parents [][]bayes.VarID)) int {
	count := 0
	for code := range 1 << (n * (n - 1)) {
		parents := make([][]bayes.VarID, n)
		bit := 0
		for child := range n {
			for parent := range n {
				if parent != child {
					if code>>bit&1 == 1 {
						parents[child] = append(parents[child], bayes.VarID(parent))
					}
					bit++
				}
			}
		}
		if acyclic(parents) {
			count++
			f(parents)
		}
	}
	return count
}

func acyclic(parents [][]bayes.VarID) bool {
	done := make([]bool, len(parents))
	for range parents {
		for v, ps := range parents {
			ready := true
			for _, p := range ps {
				ready = ready && done[p]
			}
			done[v] = done[v] || ready
		}
	}
	for _, d := range done {
		if !d {
			return false
		}
	}
	return true
}

// Every network of up to four binary variables, under every set of observations.
func TestEverySmallNetwork(t *testing.T) {
	// Labelled directed acyclic graphs, OEIS A003024.
	for n, want := range map[int]int{1: 1, 2: 3, 3: 25, 4: 543} {
		r := rand.New(rand.NewPCG(uint64(n), 3))
		got := dags(n, func(parents [][]bayes.VarID) {
			m := &model{}
			for range n {
				m.add(2)
			}
			for v, ps := range parents {
				m.table(bayes.VarID(v), ps, randomTable(r, 1<<len(ps), 2))
			}
			m.everyObservation(t)
		})
		require.Equal(t, want, got)
	}
}

// everyObservation observes each variable as either state or not at all, in all combinations.
func (m *model) everyObservation(t *testing.T) {
	net, err := m.b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(net)
	require.NoError(t, err)
	q := tree.NewQuery()
	n, sets := len(m.cards), 1
	for range n {
		sets *= 3
	}
	for code := range sets {
		e := evidence{single: map[bayes.VarID][]float64{}}
		for v, rest := 0, code; v < n; v, rest = v+1, rest/3 {
			if rest%3 == 2 {
				q.Withdraw(bayes.VarID(v))
				continue
			}
			q.Observe(bayes.VarID(v), rest%3)
			e.single[bayes.VarID(v)] = []float64{float64(1 - rest%3), float64(rest % 3)}
		}
		m.agreeQuickly(t, q, e)
	}
}

// agreeQuickly is agree without an assertion call per number, for many thousands of queries.
func (m *model) agreeQuickly(t *testing.T, q *bayes.Query, e evidence) {
	_, want := m.posteriors(e)
	got, err := q.Marginals(nil)
	require.NoError(t, err)
	for v := range want {
		for s := range want[v] {
			if d := want[v][s] - got[v][s]; !(d < tolerance && d > -tolerance) {
				t.Fatalf("variable %d state %d: got %v, want %v", v, s, got[v][s], want[v][s])
			}
		}
	}
}
