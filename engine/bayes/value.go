package bayes

import (
	"fmt"
	"math"
	"slices"
)

// What a candidate is worth depends only on its joint distribution with the target. The clamps of mutual information
// pass through all of it, so that one walk over the tree serves every candidate.

// Value is what observing one candidate would do.
type Value struct {
	ExpectedEntropy float64 // of the target afterwards, bits
	ExpectedUtility float64 // of the best action afterwards, in the unit of the utilities; the observation itself is free
	Gain            float64 // by which that exceeds the best action now; never below zero
}

// Decision is the best action for the posterior as it is, the first of equals, and its expected utility.
type Decision struct {
	Action          int
	ExpectedUtility float64
}

// Decide finds the action of the greatest expected utility, where utility[action][state of target] is a table of
// finite numbers with at least one row. It panics on a table of another shape, and fails with *ImpossibleError.
func (q *Query) Decide(target VarID, utility [][]float64) (Decision, error) {
	q.checkUtility(target, utility)
	p, err := q.Marginal(target)
	if err != nil {
		return Decision{}, err
	}
	return decide(utility, p), nil
}

// checkUtility refuses infinite utilities, since an infinity times a probability of zero is no expectation.
func (q *Query) checkUtility(target VarID, utility [][]float64) {
	q.t.net.check(target)
	card := q.t.net.cards[target]
	if len(utility) == 0 {
		panic("bayes: no actions")
	}
	for a, row := range utility {
		if len(row) != card {
			panic(fmt.Sprintf("bayes: %d utilities of action %d, want %d", len(row), a, card))
		}
		for _, u := range row {
			if math.IsNaN(u) || math.IsInf(u, 0) {
				panic(fmt.Sprintf("bayes: utility %v", u))
			}
		}
	}
}

// decide takes weights that need not sum to one, so that it also serves one outcome of many.
func decide(utility [][]float64, p []float64) Decision {
	best := Decision{ExpectedUtility: math.Inf(-1)}
	for a, row := range utility {
		if u := expectation(row, p); u > best.ExpectedUtility {
			best = Decision{a, u}
		}
	}
	return best
}

// expectation is the sum of values weighted with p.
func expectation(values, p []float64) float64 {
	total := 0.0
	for i, x := range p {
		total += x * values[i]
	}
	return total
}

// ValueOfInformation tells for each candidate how uncertain the target would on average be after observing it, and how
// much better the best action would be: the expected value of sample information of Raiffa & Schlaifer, Applied
// Statistical Decision Theory (1961). The target as its own candidate gives the value of perfect information. Gain is
// exactly zero for a candidate that cannot change the action, or that the findings separate from the target. A nil
// utility leaves the last two fields zero. The findings stay as they were. It panics as Decide does, and on a candidate
// out of range, and fails with *ImpossibleError.
func (q *Query) ValueOfInformation(target VarID, candidates []VarID, utility [][]float64) ([]Value, error) {
	q.t.net.check(target)
	if utility != nil {
		q.checkUtility(target, utility)
	}
	for _, v := range candidates {
		q.t.net.check(v)
	}
	if err := q.possible(); err != nil {
		return nil, err
	}
	c := q.newClamp(candidates)
	aim := c.aim(target, true, false)
	c.run()
	c.finish(aim)
	prior := q.post[target]
	var now Decision
	if utility != nil {
		now = decide(utility, prior)
	}
	// A candidate that the graph separates from the target keeps what is true now, because the product of two marginals
	// would show a gain of rounding.
	values := make([]Value, len(candidates))
	for i, v := range candidates {
		values[i] = Value{ExpectedEntropy: entropyBits(prior), ExpectedUtility: now.ExpectedUtility}
		if aim.reached[v] {
			values[i] = worth(aim.joint(i, len(c.base[i])), len(c.base[i]), utility, now)
		}
	}
	return values, nil
}

// worth looks at each outcome of a candidate, given its joint distribution with the target, [target][candidate]. The
// gain adds up how far another action beats the present one in each outcome, and not the difference of two
// expectations, so that rounding makes no gain where the action stays the same.
func worth(joint []float64, outcomes int, utility [][]float64, now Decision) (v Value) {
	column := make([]float64, len(joint)/outcomes)
	for o := range outcomes {
		for s := range column {
			column[s] = joint[s*outcomes+o]
		}
		total := sum(column)
		for _, x := range column {
			if x > 0 {
				v.ExpectedEntropy -= x * math.Log2(x/total)
			}
		}
		if utility == nil {
			continue
		}
		then := decide(utility, column)
		if then.Action != now.Action {
			v.Gain += max(0, then.ExpectedUtility-expectation(utility[now.Action], column))
		}
	}
	v.ExpectedEntropy = max(0, v.ExpectedEntropy)
	v.ExpectedUtility = now.ExpectedUtility + v.Gain
	return v
}

// entropyBits is the entropy of a distribution. Rounding must not make it negative.
func entropyBits(p []float64) (bits float64) {
	for _, x := range p {
		if x > 0 {
			bits -= x * math.Log2(x)
		}
	}
	return max(0, bits)
}

// joint is the joint distribution of the target with a candidate, [target][candidate].
func (a *aim) joint(candidate, outcomes int) []float64 {
	table := make([]float64, len(a.prior)*outcomes)
	for s, p := range a.prior {
		if p > 0 {
			for o, x := range a.given[s][candidate] {
				table[s*outcomes+o] = p * x
			}
		}
	}
	return table
}

// SameDecision is the probability that a decision by threshold survives: that after observing all the candidates
// P(target in state) lies on the same side of the threshold as it does now (Chen, Choi & Darwiche 2014, Algorithms and
// applications for the same-decision probability). Reaching the threshold within 1e-12 counts as being above. It is
// exact by enumeration of the candidates' outcomes, and fails if these and the target have more than 2^20 combinations,
// or with *ImpossibleError. It panics if the state is out of range or a variable is given twice. The findings stay as
// they were.
func (q *Query) SameDecision(target VarID, state int, threshold float64, candidates []VarID) (float64, error) {
	q.t.net.checkState(target, state)
	card := q.t.net.cards[target]
	joint, err := q.Joint(append(slices.Clone(candidates), target))
	if err != nil {
		return 0, err
	}
	now, err := q.Marginal(target)
	if err != nil {
		return 0, err
	}
	const slack = 1e-12 // where the posterior is the threshold, rounding must not decide
	above := now[state] >= threshold-slack
	same, all := 0.0, 0.0
	for row := range slices.Chunk(joint, card) {
		total := sum(row)
		all += total
		if total > 0 && (row[state]/total >= threshold-slack) == above {
			same += total
		}
	}
	return same / all, nil // all is one but for rounding, which a certain answer should not show
}
