package bayes

import (
	"errors"
	"math"
	"slices"
)

// Shape is how a tree was laid out: what searching for a small one has found. A network of the same structure is
// compiled by it without searching, into the same tree.
type Shape struct {
	Chains [][]VarID // [variable] the parents of a noisy family in the order in which they join; nil for others
	Order  []int32   // in which variables and accumulators were eliminated
}

// ErrShape means that a shape is not one of the network that was to be compiled by it.
var ErrShape = errors.New("bayes: the shape is of another network")

// Shape tells how the tree was laid out.
func (t *JoinTree) Shape() Shape {
	s := Shape{Chains: make([][]VarID, len(t.net.variables)), Order: make([]int32, len(t.rank))}
	for v, parents := range t.x.chains {
		s.Chains[v] = slices.Clone(parents)
	}
	for v, i := range t.rank {
		s.Order[i] = int32(v)
	}
	return s
}

// CompileAs is Compile by the shape of a tree that was compiled from a network of the same structure, with the same
// together sets. It fails with ErrShape where that is not so.
func CompileAs(n *Network, s Shape, together ...[]VarID) (*JoinTree, error) {
	checkTogether(n, together)
	if !s.fits(n) {
		return nil, ErrShape
	}
	x := n.expand(func(v VarID) []int {
		order := make([]int, len(s.Chains[v]))
		for i, p := range s.Chains[v] {
			order[i] = slices.Index(n.dists[v].parents, p)
		}
		return order
	})
	if len(x.cards) != len(s.Order) {
		return nil, ErrShape
	}
	place := make([]float64, len(x.cards))
	for i, v := range s.Order {
		if v < 0 || int(v) >= len(place) {
			return nil, ErrShape
		}
		place[v] = float64(i)
	}
	c := x.graph(together).core()
	e := c.eliminate(func(_ *graph, v int, _ []int32) float64 { return place[c.vars[v]] }, 0, math.Inf(1))
	if !slices.Equal(e.order, s.Order) {
		return nil, ErrShape
	}
	return layOut(n, usual, x, e, together)
}

// fits reports whether the chains are those of the network's noisy families.
func (s Shape) fits(n *Network) bool {
	if len(s.Chains) != len(n.variables) {
		return false
	}
	for v, chain := range s.Chains {
		d := &n.dists[v]
		if !d.factored() {
			if len(chain) > 0 {
				return false
			}
			continue
		}
		if !slices.Equal(slices.Sorted(slices.Values(chain)), slices.Sorted(slices.Values(d.parents))) {
			return false
		}
	}
	return true
}
