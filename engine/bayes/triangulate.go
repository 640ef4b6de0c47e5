package bayes

import (
	"cmp"
	"errors"
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

// Greedy rules judge an elimination by whole tables, for which entries can be positive is only known once a tree is
// laid out. Where a network is asked often, it is worth a search of minutes for an order that makes the tree cheap to
// read. What it finds is kept as a list of names, which outlives changes of the network: names that are gone are passed
// over, and variables that are new take the place that a greedy rule gives them.

// CompileAlong is Compile, which also eliminates along a sequence that Improve has found, and takes what reads fewer
// entries.
func CompileAlong(n *Network, sequence []string, together ...[]VarID) (*JoinTree, error) {
	found, err := Compile(n, together...)
	s := newSequence(n, sequence, together)
	e := s.eliminate()
	if e == nil {
		return found, err
	}
	along, worse := layOut(n, usual, s.x, e, together)
	if worse != nil || err == nil && found.Stats().Touched <= along.Stats().Touched {
		return found, err
	}
	return along, nil
}

// Improve looks for a sequence, beginning with one that may be empty: it moves variables about in a given number of
// steps, and keeps what reads fewer entries, at first also what reads hardly more (simulated annealing, which Kjærulff
// has used for this in 1992). A name is a variable's or, for an accumulator of a noisy family, child<parent after the
// parent that has joined last. Variables are left out that any order may begin with.
func Improve(n *Network, sequence []string, steps int, together ...[]VarID) []string {
	checkTogether(n, together)
	s, greedy := newSequence(n, sequence, together), newSequence(n, nil, together)
	now := s.touched()
	if other := greedy.touched(); other < now { // the network has changed too much since
		s, now = greedy, other
	}
	best, least := slices.Clone(s.place), now
	vars := s.core.vars
	if len(vars) == 0 {
		return nil // any order is as good
	}
	for step := range steps {
		before := slices.Clone(s.place)
		for range 1 + s.draw(2) {
			s.place[vars[s.draw(len(vars))]] = before[vars[s.draw(len(vars))]] + float64(s.draw(1000))/1000 - 0.5
		}
		next := s.touched()
		slack := mostSlack * float64(steps-step) / float64(steps) * float64(s.draw(1000)) / 1000
		if next > now*(1+slack) {
			s.place = before
			continue
		}
		if now = next; now < least {
			least = now
			copy(best, s.place)
		}
	}
	order := slices.Clone(vars)
	slices.SortFunc(order, func(a, b int32) int { return cmp.Or(cmp.Compare(best[a], best[b]), cmp.Compare(a, b)) })
	names := make([]string, len(order))
	for i, v := range order {
		names[i] = s.name(v)
	}
	return names
}

// mostSlack is by what share a step may make things worse at the beginning.
const mostSlack = 0.03

// sequence is an elimination on trial.
type sequence struct {
	n        *Network
	x        *expansion
	core     *core
	together [][]VarID
	place    []float64 // [variable] those of lower places go first
	state    uint32    // of the numbers drawn
}

func newSequence(n *Network, names []string, together [][]VarID) *sequence {
	best := n.best(together) // its chains and its order, which a sequence changes
	s := &sequence{n: n, x: best.x, core: best.x.graph(together).core(), together: together,
		place: make([]float64, len(best.x.cards))}
	listed := make(map[string]int, len(names))
	for i, name := range names {
		listed[name] = i
	}
	greedy := best.e.order
	for i, v := range greedy {
		s.place[v] = float64(i)
		if len(names) > 0 {
			s.place[v] *= float64(len(names)) / float64(len(greedy))
		}
		if at, ok := listed[s.name(v)]; ok {
			s.place[v] = float64(at)
		}
	}
	return s
}

func (s *sequence) name(v int32) string {
	if int(v) < len(s.n.variables) {
		return s.n.variables[v].Name
	}
	a := s.x.accumulators[int(v)-len(s.n.variables)]
	return s.n.variables[a.child].Name + "<" + s.n.variables[a.parent].Name
}

// draw gives a number below n, the same ones in every run.
func (s *sequence) draw(n int) int {
	s.state = mix(s.state + 0x9e3779b9)
	return int(s.state>>1) % n
}

// eliminate gives nil where the whole tables would be far too large.
func (s *sequence) eliminate() *elimination {
	return s.core.eliminate(func(_ *graph, v int, _ []int32) float64 { return s.place[s.core.vars[v]] }, 0, mostWhole/16)
}

// touched is how many entries are read for all posteriors.
func (s *sequence) touched() float64 {
	e := s.eliminate()
	if e == nil {
		return math.Inf(1)
	}
	t := cliquesOf(s.n, usual, s.x, e)
	if t.compress(t.familyTables(&places{})) != nil {
		return math.Inf(1)
	}
	return float64(t.Stats().Touched)
}

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
