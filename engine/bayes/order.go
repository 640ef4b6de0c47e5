package bayes

import (
	"cmp"
	"math"
	"slices"
)

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
