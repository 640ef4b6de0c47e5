package bayes

import (
	"cmp"
	"math"
	"slices"
	"sync"
)

// Two choices decide how large the cliques become: in which order a noisy family's parents join its chain, and in
// which order the variables are eliminated. Both are hard to make well, so several rules are tried and the smallest
// result is kept. Every trial is deterministic.

// effort bounds the variables eliminated over all trials, so that large networks get fewer trials. Small networks
// compile in a few milliseconds, the largest in about a second.
const effort = 40000

// trial is an expansion with an elimination of it.
type trial struct {
	x *expansion
	e *elimination
}

// memo keeps the search of a network, which every network of its shape shares: what is learnt changes numbers alone.
type memo struct {
	once sync.Once
	best trial
}

// triangulate chooses the order of the noisy chains and of the elimination.
func (n *Network) triangulate(together [][]VarID) (*expansion, *elimination) {
	best := n.best(together)
	return best.x, best.e
}

func (n *Network) best(together [][]VarID) trial {
	switch {
	case n.given != nil:
		return n.quickly(together)
	case len(together) > 0:
		return n.thoroughly(together)
	}
	n.memo.once.Do(func() { n.memo.best = n.thoroughly(nil) })
	return n.memo.best
}

// thoroughly is the search for a tree that will be asked often.
func (n *Network) thoroughly(together [][]VarID) trial {
	s := &search{n: n, together: together}
	s.try(n.expand(n.inOrder), 1)
	if s.best.x.plain(n) {
		s.refine()
		return s.best
	}
	s.try(n.expand(n.reversed), 1)
	star := n.starGraph(together).core().eliminate(minFill, 0, math.Inf(1))
	s.follow(star)
	// A good elimination suggests a better chain order, which may allow a better elimination.
	for range 3 {
		s.follow(s.best.e)
	}
	s.refine()
	return s.best
}

// quickly is the search for a tree that answers one case: each rule once, and the order of the whole network, so that
// the tree is never larger than that one's.
func (n *Network) quickly(together [][]VarID) trial {
	whole := n.whole.best(nil)
	s := &search{n: n, together: together}
	x := n.expand(n.alike(whole.x))
	c := x.graph(together).core()
	s.improve(x, c.eliminate(n.places(x, whole, c), 0, math.Inf(1)))
	s.rules(x, c, 0)
	return s.best
}

// alike joins the parents of each family that are left in the order of another expansion.
func (n *Network) alike(x *expansion) func(v VarID) []int {
	return func(v VarID) []int {
		var order []int
		for _, p := range x.chains[v] {
			if i := slices.Index(n.dists[v].parents, p); i >= 0 {
				order = append(order, i)
			}
		}
		return order
	}
}

// places scores the variables of a core by their places in the order of the whole network.
func (n *Network) places(x *expansion, whole trial, c *core) heuristic {
	place := map[accumulator]float64{}
	position := make([]float64, len(whole.x.cards))
	for i, v := range whole.e.order {
		position[v] = float64(i)
	}
	for i, a := range whole.x.accumulators {
		place[a] = position[len(n.variables)+i]
	}
	own := make([]float64, len(c.vars))
	for i, v := range c.vars {
		if int(v) < len(n.variables) {
			own[i] = position[v]
		} else {
			own[i] = place[x.accumulators[int(v)-len(n.variables)]]
		}
	}
	return func(_ *graph, v int, _ []int32) float64 { return own[v] }
}

// plain says that no family was cut into a chain.
func (x *expansion) plain(n *Network) bool { return len(x.cards) == len(n.variables) }

// search keeps the best trial so far.
type search struct {
	n        *Network
	together [][]VarID
	best     trial
}

// try eliminates an expansion by every rule, with the given number of ways to break ties.
func (s *search) try(x *expansion, seeds int) {
	c := x.graph(s.together).core()
	for seed := range uint32(seeds) {
		if !s.rules(x, c, seed) {
			return
		}
	}
}

// rules eliminates an expansion by every rule. It says false if no order can be better.
func (s *search) rules(x *expansion, c *core, seed uint32) bool {
	for _, rule := range heuristics {
		limit := math.Inf(1)
		if s.best.e != nil {
			limit = 2 * s.best.e.total
		}
		e := c.eliminate(rule, seed, limit)
		if e == nil {
			continue
		}
		s.improve(x, e)
		if !e.filled {
			return false
		}
	}
	return true
}

func (s *search) improve(x *expansion, e *elimination) {
	if e.better(s.best.e) {
		s.best = trial{x, e}
	}
}

// refine spends the remaining effort on breaking ties differently in the best expansion.
func (s *search) refine() {
	trials := effort / (len(heuristics) * (1 + len(s.best.x.cards)))
	s.try(s.best.x, min(max(trials, 1), 16))
}

// rising joins the parents of each family in the order in which an elimination takes them.
func (n *Network) rising(e *elimination) func(v VarID) []int {
	position := make([]int, len(n.variables))
	for i, v := range e.order {
		if int(v) < len(position) {
			position[v] = i
		}
	}
	return func(v VarID) []int {
		order := n.inOrder(v)
		slices.SortStableFunc(order, func(a, b int) int {
			parents := n.dists[v].parents
			return cmp.Compare(position[parents[a]], position[parents[b]])
		})
		return order
	}
}

// follow tries chains in the order of an elimination.
func (s *search) follow(e *elimination) {
	s.try(s.n.expand(s.n.rising(e)), 1)
}

// inOrder joins the parents of v in their own order.
func (n *Network) inOrder(v VarID) []int {
	order := make([]int, len(n.dists[v].parents))
	for i := range order {
		order[i] = i
	}
	return order
}

// reversed is the other end to start from, which is sometimes the better one.
func (n *Network) reversed(v VarID) []int {
	order := n.inOrder(v)
	slices.Reverse(order)
	return order
}

// graph joins the variables of each table and of each together set.
func (x *expansion) graph(together [][]VarID) *graph {
	g := newGraph(x.cards)
	for _, f := range x.families {
		g.connect(f.scope)
	}
	for _, set := range together {
		g.connect(internal(set))
	}
	return g
}

// starGraph stands in for the network before any chain order is chosen: a noisy child is linked to each of its parents
// alone, as if its chain cost nothing.
func (n *Network) starGraph(together [][]VarID) *graph {
	g := newGraph(n.cards)
	for v := range n.dists {
		d := &n.dists[v]
		scope := append(internal(d.parents), int32(v))
		seen := n.seen(VarID(v))
		switch {
		case !d.factored() && seen != Unknown:
			g.connect(scope[:len(d.parents)])
			continue
		case !d.factored():
			g.connect(scope)
			continue
		case seen == 0:
			continue
		}
		for _, p := range scope[:len(d.parents)] {
			g.connect([]int32{p, int32(v)})
		}
	}
	for _, set := range together {
		g.connect(internal(set))
	}
	return g
}
