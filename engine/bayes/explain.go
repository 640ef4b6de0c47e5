package bayes

import (
	"fmt"
	"math"
	"slices"
)

// The most probable explanation maximises where a posterior sums. The accumulators of noisy families must not be
// maximised: they are no part of an explanation, and the largest single way to reach a state is not the sum of all
// ways. Summing them out first and maximising the rest would need an elimination order of its own; instead, a network
// with accumulators is compiled once more with every noisy family as one full table.
//
// States are chosen one variable after the other. With the first ones fixed, a collection of maxima tells for each
// state of the next variable how probable the best completion is. So the choice is never wrong, and each state not
// taken is a branch whose best explanation is already known in value: the next best explanation begins at the best
// branch (in the manner of Lawler 1972 and Nilsson 1998).

// tie is the relative difference of two logarithms that counts as none: room for the rounding of a few thousand
// factors.
const tie = 1e-12

// Explanation is one state for every variable of the network.
type Explanation struct {
	States []int   // [variable]
	LogP   float64 // ln P(states and findings), nats; less LogEvidence it is ln P(states | findings)
}

// MostProbable gives the k most probable explanations of the findings, or all that are possible if these are fewer,
// the most probable first. Logarithms that differ by a part in 1e12 count as equal, and equals come in the order of
// their states, where the variable of the lowest number counts first and the lowest state comes first. Each
// explanation costs a few messages per variable. The findings stay as they were. It panics if k is not positive, and
// fails with *ImpossibleError, or with another error if a noisy family would need a full table of more than 2^20
// entries or the network with these tables is too dense for Compile.
func (q *Query) MostProbable(k int) ([]Explanation, error) {
	if k < 1 {
		panic(fmt.Sprintf("bayes: %d explanations", k))
	}
	if err := q.possible(); err != nil {
		return nil, err
	}
	most, err := q.maximiser()
	if err != nil {
		return nil, fmt.Errorf("most probable explanation: %w", err)
	}
	s := newBranching(most)
	for len(s.found) < k && s.next() {
	}
	q.cached.valid = false // the scratch may have been lent
	return s.found, nil
}

// maximiser is a query with the same findings whose messages are maxima. Its tree has no accumulators.
func (q *Query) maximiser() (*Query, error) {
	if q.most == nil {
		t := q.t
		if !t.x.plain(t.net) {
			var err error
			if t, err = t.withoutAccumulators(); err != nil {
				return nil, err
			}
		}
		q.most = t.NewQuery()
		q.most.maximise = true
		if t == q.t {
			q.most.scratch = q.scratch
		}
	}
	q.most.Reset()
	q.most.cached.valid = false
	q.most.copyFindings(q)
	return q.most, nil
}

// withoutAccumulators compiles the network anew with noisy families as full tables, for the same together sets.
func (t *JoinTree) withoutAccumulators() (*JoinTree, error) {
	whole := *t.net
	whole.memo = &memo{}
	whole.dists = slices.Clone(t.net.dists)
	for v := range whole.dists {
		table, err := t.net.wholeTable(VarID(v))
		if err != nil {
			return nil, err
		}
		whole.dists[v] = distribution{parents: whole.dists[v].parents, table: table}
	}
	return Compile(&whole, t.sets()...)
}

// branching is the search for explanations.
type branching struct {
	q         *Query
	findings  []finding // as they were given, [variable]
	fixed     []int     // the state that a variable is fixed to, or -1
	component []int     // [clique]
	peaks     []float64 // ln of the best completion within each component
	open      []branch
	found     []Explanation
}

// branch is a choice not yet followed: like the explanation from, up to a variable that takes another state.
type branch struct {
	from  int // or -1 for no choice at all
	at    VarID
	state int
	log   float64 // of its best explanation
}

// newBranching starts with the one branch that has chosen nothing. Components are told apart because a choice in one
// leaves the messages, and so the best completion, of the others as they are.
func newBranching(q *Query) *branching {
	s := &branching{q: q, findings: slices.Clone(q.findings), component: make([]int, len(q.t.cliques)),
		peaks: make([]float64, len(q.t.roots)), fixed: make([]int, len(q.findings))}
	for v := range s.fixed {
		s.fixed[v] = -1
		q.findings[v].likelihood = nil // what was given is kept apart from what is written over it
		if s.findings[v].set {
			q.findings[v].likelihood = slices.Clone(s.findings[v].likelihood)
		}
	}
	var walk func(i, from int32, number int)
	walk = func(i, from int32, number int) {
		s.component[i] = number
		for _, l := range q.t.cliques[i].links {
			if l.to != from {
				walk(l.to, i, number)
			}
		}
	}
	for number, r := range q.t.roots {
		walk(r, -1, number)
	}
	s.open = []branch{{from: -1}}
	return s
}

// next follows the best branch to its end. It says false if there is none left.
func (s *branching) next() bool {
	if len(s.open) == 0 {
		return false
	}
	best := s.pop()
	states := s.prefix(best)
	for v := range s.fixed {
		if v < len(states) {
			s.fix(VarID(v), states[v])
		} else {
			s.free(VarID(v))
		}
	}
	s.measure()
	for v := len(states); v < len(s.fixed); v++ {
		states = append(states, s.choose(VarID(v)))
	}
	s.found = append(s.found, Explanation{states, s.logP(states)})
	return true
}

// pop removes the best branch. Of equals, the first in the order of states is the first in the order of explanations,
// because no branch begins like another.
func (s *branching) pop() branch {
	// A walk over all branches is cheap beside the messages, and a heap could not order what is only nearly equal.
	top := math.Inf(-1)
	for _, b := range s.open {
		top = max(top, b.log)
	}
	best, first := -1, []int(nil)
	for i, b := range s.open {
		if !tied(b.log, top) {
			continue
		}
		if states := s.prefix(b); best < 0 || slices.Compare(states, first) < 0 {
			best, first = i, states
		}
	}
	b := s.open[best]
	s.open = slices.Delete(s.open, best, best+1)
	return b
}

// tied compares with the best of all and not pairwise, so that small differences cannot add up along a row of ties.
func tied(log, top float64) bool { return log >= top-tie*(1+math.Abs(top)) }

// prefix is the states that a branch has chosen.
func (s *branching) prefix(b branch) []int {
	if b.from < 0 {
		return nil
	}
	return append(slices.Clone(s.found[b.from].States[:b.at]), b.state)
}

// fix leaves only one state of v possible, as probable as the finding on v makes it.
func (s *branching) fix(v VarID, state int) {
	if s.fixed[v] == state {
		return
	}
	s.fixed[v] = state
	given := &s.findings[v]
	if !given.set {
		s.q.Observe(v, state)
		return
	}
	f := &s.q.findings[v]
	clear(f.likelihood)
	f.likelihood[state] = given.likelihood[state]
	s.q.invalidate(s.q.t.home[v])
}

// free undoes fix.
func (s *branching) free(v VarID) {
	if s.fixed[v] < 0 {
		return
	}
	s.fixed[v] = -1
	given := &s.findings[v]
	if !given.set {
		s.q.Withdraw(v)
		return
	}
	copy(s.q.findings[v].likelihood, given.likelihood)
	s.q.invalidate(s.q.t.home[v])
}

// measure finds the best completion of each component.
func (s *branching) measure() {
	for number, r := range s.q.t.roots {
		s.q.receive(r, -1)
		product, _ := s.q.product(r, -1, -1)
		s.peaks[number] = scaledLog(slices.Max(product), s.q.cached.exponent)
	}
}

// choose takes the first best state of v and leaves the other possible ones as branches of the explanation to come.
func (s *branching) choose(v VarID) int {
	q, home := s.q, s.q.t.home[v]
	q.receive(home, -1)
	product, _ := q.product(home, -1, -1)
	logs := make([]float64, q.t.net.cards[v])
	q.t.homePlan[v].maxOut(logs, product)
	for state, x := range logs {
		logs[state] = scaledLog(x, q.cached.exponent)
	}
	top := slices.Max(logs)
	// The first of the nearly best, not the best: which of two equals rounding favours depends on the tree.
	best := slices.IndexFunc(logs, func(log float64) bool { return tied(log, top) })
	others := 0.0
	for number, peak := range s.peaks {
		if number != s.component[home] {
			others += peak
		}
	}
	for state, log := range logs {
		if state != best && !math.IsInf(log, -1) {
			s.open = append(s.open, branch{len(s.found), v, state, others + log})
		}
	}
	// Fixing v changes the peak of its own component only, and the maximum just read is the new one.
	s.peaks[s.component[home]] = logs[best]
	s.fix(v, best)
	return best
}

// logP multiplies the tables and likelihoods out, so that the figure does not depend on how the search went.
func (s *branching) logP(states []int) float64 {
	log := 0.0
	for v := range states {
		log += scaledLog(s.q.t.net.probability(VarID(v), states), 0)
		if f := &s.findings[v]; f.set {
			log += scaledLog(f.likelihood[states[v]], f.exponent)
		}
	}
	for set := range s.q.joints {
		if f := &s.q.joints[set]; f.set {
			log += scaledLog(f.likelihood[s.q.t.together[set].entry(s.q.t, states)], f.exponent)
		}
	}
	return log
}

// entry is where the states are in a likelihood kept in the order of the tree.
func (j *joint) entry(t *JoinTree, states []int) int {
	i := 0
	for _, v := range sortedBy(internal(j.variables), t.rank) {
		i = i*t.x.cards[v] + states[v]
	}
	return i
}
