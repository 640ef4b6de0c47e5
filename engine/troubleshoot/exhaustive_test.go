package troubleshoot_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"lightoff/engine/troubleshoot"
)

// exhaustive tries every policy: any check at any time, any number of repairs before a test, any ending. It shares no
// code with the planner.
type exhaustive struct {
	p    troubleshoot.Problem
	memo map[string]float64
}

// situation is what was done and found. A repair leaves preparations in place; a test puts everything back.
type situation struct {
	done, tested uint64
	found        []int // by check: its outcome, or −1
	open         uint32
}

func (x *exhaustive) weights(s situation) (w []float64, total float64) {
	mended := uint64(0)
	for r, repair := range x.p.Repairs {
		if s.tested>>r&1 == 1 {
			mended |= repair.Mends
		}
	}
	w = make([]float64, len(x.p.Scenarios))
	for i, sc := range x.p.Scenarios {
		if sc.Causes&^mended == 0 {
			continue
		}
		w[i] = sc.P
		for c, o := range s.found {
			if o >= 0 {
				w[i] *= x.p.Checks[c].Likelihood[o][i]
			}
		}
		total += w[i]
	}
	return w, total
}

func (x *exhaustive) preparing(needs, open uint32) (cost float64) {
	for b, price := range x.p.Preparations {
		if needs>>b&1 == 1 && open>>b&1 == 0 {
			cost += price
		}
	}
	return cost
}

// cost is the least expected cost times the probability of getting there.
func (x *exhaustive) cost(s situation) float64 {
	w, total := x.weights(s)
	if total == 0 {
		return 0
	}
	key := fmt.Sprint(s.done, s.tested, s.found, s.open)
	if known, ok := x.memo[key]; ok {
		return known
	}
	mended, made := uint64(0), uint64(0)
	for r, repair := range x.p.Repairs {
		if s.done>>r&1 == 1 {
			mended |= repair.Mends
		}
	}
	for c, o := range s.found {
		if o >= 0 {
			made |= 1 << c
		}
	}
	last := math.Inf(1)
	for _, e := range x.p.Endings {
		if e.Mends == troubleshoot.Everything {
			last = min(last, e.Cost)
		}
	}
	least := math.Inf(1)
	for _, e := range x.p.Endings {
		cost := total * e.Cost
		for i, sc := range x.p.Scenarios {
			if sc.Causes&^(mended|e.Mends) != 0 {
				cost += w[i] * last
			}
		}
		least = min(least, cost)
	}
	if s.done != s.tested {
		least = min(least, total*x.p.Test+x.cost(situation{s.done, s.done, s.found, 0}))
	}
	for r, repair := range x.p.Repairs {
		if s.done>>r&1 == 1 || repair.First&^made != 0 || repair.Behind&^s.done != 0 {
			continue
		}
		then := situation{s.done | 1<<r, s.tested, s.found, s.open | repair.Prepares}
		least = min(least, total*(repair.Cost+x.preparing(repair.Prepares, s.open))+x.cost(then))
	}
	for c, check := range x.p.Checks {
		if s.found[c] >= 0 {
			continue
		}
		cost := total * (check.Cost + x.preparing(check.Prepares, s.open))
		for o := range check.Likelihood {
			then := situation{s.done, s.tested, slices.Clone(s.found), s.open | check.Prepares}
			then.found[c] = o
			cost += x.cost(then)
		}
		least = min(least, cost)
	}
	x.memo[key] = least
	return least
}

func optimum(p troubleshoot.Problem) float64 {
	x := &exhaustive{p, map[string]float64{}}
	found := make([]int, len(p.Checks))
	for i := range found {
		found[i] = -1
	}
	start := situation{found: found}
	_, total := x.weights(start)
	return x.cost(start) / total
}

// drawn makes a problem such as a heater poses: a few causes, alone or in twos, repairs that overlap, checks that tell
// some of them apart, and preparations that several need.
func drawn(r *rand.Rand, causes, repairs, checks int) troubleshoot.Problem {
	p := troubleshoot.Problem{Test: 5 + 10*r.Float64(), Preparations: []float64{5 + 25*r.Float64(), 5 + 15*r.Float64()},
		Endings: []troubleshoot.Ending{{Cost: 150 + 250*r.Float64(), Mends: troubleshoot.Everything},
			{Cost: 150 + 200*r.Float64(), Mends: r.Uint64()}}}
	for c := range causes {
		p.Scenarios = append(p.Scenarios, troubleshoot.Scenario{P: r.ExpFloat64(), Causes: 1 << c})
	}
	for range causes / 2 {
		a, b := r.IntN(causes), r.IntN(causes)
		p.Scenarios = append(p.Scenarios, troubleshoot.Scenario{P: 0.3 * r.ExpFloat64(), Causes: 1<<a | 1<<b})
	}
	// what no repair mends
	p.Scenarios = append(p.Scenarios, troubleshoot.Scenario{P: 0.3 * r.ExpFloat64(), Causes: 1 << 60})
	prepares := func() uint32 { return uint32(r.IntN(4) * r.IntN(2)) }
	for range checks {
		check := troubleshoot.Check{Cost: 1 + 25*r.Float64(), Prepares: prepares()}
		outcomes := 2 + r.IntN(2)
		check.Likelihood = make([][]float64, outcomes)
		for range p.Scenarios {
			row, total := make([]float64, outcomes), 0.0
			for o := range row {
				row[o] = math.Pow(r.Float64(), 3)
				total += row[o]
			}
			for o := range row {
				check.Likelihood[o] = append(check.Likelihood[o], row[o]/total)
			}
		}
		p.Checks = append(p.Checks, check)
	}
	for i := range repairs {
		repair := troubleshoot.Repair{Cost: 10 + 110*r.Float64(), Mends: 1 << (i % causes), Prepares: prepares()}
		if r.IntN(3) == 0 {
			repair.Mends |= 1 << r.IntN(causes)
		}
		if checks > 0 && r.IntN(3) == 0 {
			repair.First = 1 << r.IntN(checks)
		}
		if i > 0 && r.IntN(8) == 0 {
			repair.Behind = 1 << r.IntN(i)
		}
		p.Repairs = append(p.Repairs, repair)
	}
	return p
}
