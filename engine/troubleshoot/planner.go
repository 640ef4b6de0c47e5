package troubleshoot

import (
	"math"
	"math/bits"
)

// Planner plans for one Problem. It owns scratch memory, so it is for one goroutine.
type Planner struct {
	p      *Problem
	last   int        // the cheapest ending that mends everything
	mended []uint64   // [set of repairs] causes
	first  []uint64   // [set of repairs] checks that go before them
	left   [][]uint16 // [set of repairs] scenarios with something left
	ends   [][]uint16 // [ending]·sets: what is left after it
	live   []float64  // [set of repairs] probability that something is left
	value  []float64  // [set of repairs] least expected cost from there on, times live
	best   []bundle
}

// bundle is what is done before the next test; ending −1 for repairs.
type bundle struct {
	a, b   int8 // b −1 for a single one
	ending int8
}

// NewPlanner readies a problem. It panics if the problem exceeds the limits or has no ending that mends everything.
func NewPlanner(p *Problem) *Planner {
	p.check()
	n := 1 << len(p.Repairs)
	pl := &Planner{p: p, last: -1, mended: make([]uint64, n), first: make([]uint64, n), left: make([][]uint16, n),
		live: make([]float64, n), value: make([]float64, n), best: make([]bundle, n)}
	for e, x := range p.Endings {
		if x.Mends == Everything && (pl.last < 0 || x.Cost < p.Endings[pl.last].Cost) {
			pl.last = e
		}
	}
	remaining := func(mended uint64) (out []uint16) {
		for i, s := range p.Scenarios {
			if s.Causes&^mended != 0 {
				out = append(out, uint16(i))
			}
		}
		return out
	}
	for set := range n {
		if set > 0 {
			r := p.Repairs[bits.TrailingZeros(uint(set))]
			rest := set & (set - 1)
			pl.mended[set], pl.first[set] = pl.mended[rest]|r.Mends, pl.first[rest]|r.First
		}
		pl.left[set] = remaining(pl.mended[set])
	}
	for _, e := range p.Endings {
		for set := range n {
			pl.ends = append(pl.ends, remaining(pl.mended[set]|e.Mends))
		}
	}
	return pl
}

// Start is the state before anything was done.
func (pl *Planner) Start() State {
	p := pl.p
	s := State{P: make([]float64, len(p.Scenarios))}
	total := 0.0
	for i, x := range p.Scenarios {
		s.P[i] = x.P
		total += x.P
	}
	for i := range s.P {
		s.P[i] /= total
	}
	return s
}

func sumOf(p []float64, at []uint16) (total float64) {
	for _, i := range at {
		total += p[i]
	}
	return total
}

// preparing is what preparations cost where some are in place.
func (pl *Planner) preparing(needs, open uint32) (cost float64) {
	for need := needs &^ open; need != 0; need &= need - 1 {
		cost += pl.p.Preparations[bits.TrailingZeros32(need)]
	}
	return cost
}

// costOfRepairing is what repairs cost together with the checks that must go before them, and with one test.
func (pl *Planner) costOfRepairing(s State, set uint64, a, b int8) float64 {
	r := pl.p.Repairs[a]
	cost, needs, first := r.Cost, r.Prepares, r.First
	if b >= 0 {
		q := pl.p.Repairs[b]
		cost, needs, first = cost+q.Cost, needs|q.Prepares, first|q.First
	}
	for open := first &^ (s.Made | pl.first[set&^s.Done]); open != 0; open &= open - 1 {
		c := pl.p.Checks[bits.TrailingZeros64(open)]
		cost, needs = cost+c.Cost, needs|c.Prepares
	}
	open := uint32(0)
	if set == s.Done {
		open = s.Open
	}
	return cost + pl.preparing(needs, open) + pl.p.Test
}

// allowed says whether a repair may follow a set of others.
func (pl *Planner) allowed(set uint64, r int) bool {
	return set&(1<<r) == 0 && pl.p.Repairs[r].Behind&^set == 0
}

// ExpectedCost is the least expected cost from a state on if no check is made but those that must go before a repair.
func (pl *Planner) ExpectedCost(s State) float64 {
	// Beyond a set that mends nothing more there is nothing to save, so only supersets of what was done matter.
	n := len(pl.p.Repairs)
	all := uint64(1)<<n - 1
	for set := all; ; set-- {
		if set&s.Done == s.Done {
			pl.evaluate(s, set)
		}
		if set == s.Done {
			break
		}
	}
	if pl.live[s.Done] == 0 {
		return 0
	}
	return pl.value[s.Done] / pl.live[s.Done]
}

func (pl *Planner) evaluate(s State, set uint64) {
	live := sumOf(s.P, pl.left[set])
	pl.live[set] = live
	best, least := bundle{-1, -1, int8(pl.last)}, math.Inf(1)
	price := pl.p.Endings[pl.last].Cost
	for e, x := range pl.p.Endings {
		cost := live * x.Cost
		if x.Mends != Everything {
			cost += price * sumOf(s.P, pl.ends[e<<len(pl.p.Repairs)+int(set)])
		}
		if cost < least {
			best, least = bundle{-1, -1, int8(e)}, cost
		}
	}
	if live > 0 {
		for a := range int8(len(pl.p.Repairs)) {
			if !pl.allowed(set, int(a)) {
				continue
			}
			after := set | 1<<a
			if cost := live*pl.costOfRepairing(s, set, a, -1) + pl.value[after]; cost < least {
				best, least = bundle{a, -1, -1}, cost
			}
			for b := range int8(len(pl.p.Repairs)) {
				// Two repairs in either order are the same, unless one must come before the other.
				if b == a || !pl.allowed(after, int(b)) || b < a && pl.allowed(set, int(b)) && pl.allowed(set|1<<b, int(a)) {
					continue
				}
				if cost := live*pl.costOfRepairing(s, set, a, b) + pl.value[after|1<<b]; cost < least {
					best, least = bundle{a, b, -1}, cost
				}
			}
		}
	}
	pl.best[set], pl.value[set] = best, least
}

// Step is one part of a sequence: repairs with one test after them, or an ending.
type Step struct {
	Repairs  []int
	Ending   int     // −1 for repairs
	Cost     float64 // expected, of all up to and with this step
	Mended   float64 // probability that all is well after it
	Reaching float64 // probability that the step is needed
}

// Sequence is the cheapest order of repairs without further checks, with the ending that closes it.
func (pl *Planner) Sequence(s State) []Step {
	pl.ExpectedCost(s)
	var out []Step
	cost, set := 0.0, s.Done
	for {
		b, live := pl.best[set], pl.live[set]
		step := Step{Ending: int(b.ending), Reaching: live, Mended: 1}
		if b.ending >= 0 {
			cost = cost + pl.value[set]
			step.Cost = cost
			return append(out, step)
		}
		cost += live * pl.costOfRepairing(s, set, b.a, b.b)
		for _, r := range []int8{b.a, b.b} {
			if r >= 0 {
				step.Repairs = append(step.Repairs, int(r))
				set |= 1 << r
			}
		}
		step.Cost, step.Mended = cost, 1-sumOf(s.P, pl.left[set])
		out = append(out, step)
	}
}

// ProbabilityUnrepaired is the probability that something is still to be mended after the repairs of a state.
func (pl *Planner) ProbabilityUnrepaired(s State) float64 { return sumOf(s.P, pl.left[s.Done]) }

// Savings are the expected drops in cost that each check would bring if it cost nothing; zero for those already made.
func (pl *Planner) Savings(s State) []float64 {
	now := pl.ExpectedCost(s)
	out := make([]float64, len(pl.p.Checks))
	for c := range pl.p.Checks {
		if s.Made>>c&1 == 1 {
			continue
		}
		after := 0.0
		pl.Outcomes(s, c, func(p float64, then State) { after += p * pl.ExpectedCost(then) })
		if drop := now - after; drop > rounding*now {
			out[c] = drop
		}
	}
	return out
}

// Outcomes visits what a check may show, each with its probability and the state after it.
func (pl *Planner) Outcomes(s State, c int, visit func(p float64, then State)) {
	check := pl.p.Checks[c]
	then := State{Done: s.Done, Made: s.Made | 1<<c, Open: s.Open | check.Prepares}
	for _, l := range check.Likelihood {
		then.P = make([]float64, len(s.P))
		total := 0.0
		for i, p := range s.P {
			then.P[i] = p * l[i]
			total += then.P[i]
		}
		if total <= 0 {
			continue
		}
		for i := range then.P {
			then.P[i] /= total
		}
		visit(total, then)
	}
}

// rounding is the saving, as a share of the cost that is left, below which there is none.
const rounding = 1e-9

// BestCheck is the check that saves most beyond its own price, of those that may be made now; −1 if none saves more
// than it costs. savings are what Savings gave for the state.
func (pl *Planner) BestCheck(s State, savings []float64, may func(check int) bool) int {
	best, gain := -1, rounding*pl.ExpectedCost(s)
	for c, drop := range savings {
		check := pl.p.Checks[c]
		if net := drop - check.Cost - pl.preparing(check.Prepares, s.Open); net > gain && may(c) {
			best, gain = c, net
		}
	}
	return best
}
