package bayes

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever the graph, an elimination takes every variable once, every edge lies in a clique, no clique lies in another,
// and what is left of an order in the graph that the cliques make connects nothing more.
func TestEliminations(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 31))
		n := 1 + r.IntN(90)
		cards := make([]int, n)
		for v := range cards {
			cards[v] = 1 + r.IntN(5)
		}
		g := newGraph(cards)
		var edges [][]int32
		for range r.IntN(2 * n) {
			if a, b := int32(r.IntN(n)), int32(r.IntN(n)); a != b {
				edges = append(edges, []int32{a, b})
				g.connect(edges[len(edges)-1])
			}
		}
		for k, rule := range heuristics {
			e := g.core().eliminate(rule, uint32(seed%3), math.Inf(1))
			require.Len(t, e.order, n)
			require.Len(t, slices.Compact(slices.Sorted(slices.Values(e.order))), n)
			for _, edge := range edges {
				require.True(t, slices.ContainsFunc(e.cliques, func(c []int32) bool { return contains(c, edge) }), "rule %d", k)
			}
			total, largest := 0.0, 0.0
			filled := newGraph(cards)
			for i, c := range e.cliques {
				total += entries(cards, c)
				largest = max(largest, entries(cards, c))
				filled.connect(c)
				for j, other := range e.cliques {
					require.False(t, i != j && contains(other, c), "a clique within another")
				}
			}
			require.Equal(t, total, e.total)
			require.Equal(t, largest, e.largest)
			require.Empty(t, filled.core().vars, "cliques of an elimination leave nothing to connect")
			require.Equal(t, e.filled, !slices.Equal(g.bits, filled.bits))
		}
	}
}

// The next variable is always one of the lowest score, scores being always what they would be if all were made anew.
func TestScoresStayCurrent(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 32))
		n := 5 + r.IntN(40)
		cards := make([]int, n)
		for v := range cards {
			cards[v] = 2 + r.IntN(3)
		}
		g := newGraph(cards)
		for range 3 * n {
			g.connect([]int32{int32(r.IntN(n)), int32(r.IntN(n))})
		}
		for _, rule := range heuristics {
			s := newEliminator(g.core(), rule, 1)
			for len(s.heap) > 0 {
				least := math.Inf(1)
				for _, v := range s.heap {
					score := rule(s.graph, int(v), appendBits(nil, s.row(int(v))))
					require.Equal(t, score, s.scores[v])
					least = min(least, score)
				}
				require.Equal(t, least, s.scores[s.heap[0]])
				s.step()
			}
		}
	}
}
