package bayes

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// A joint posterior is read from the clique that holds most of it. The variables elsewhere are clamped, one within the
// other, by the chain rule: P(a, b, rest) = P(a) P(b | a) P(rest | a, b). That needs no table larger than the answer,
// and a clamp costs only the messages between it and the next one, so the outermost is the furthest away.

// maxAnswer is the largest table that a query hands out or that a noisy family is written out to.
const maxAnswer = 1 << 20

// Joint is the posterior of several variables together, given all findings: a row-major table in the order of vars, the
// last one fastest, of at most 2^20 entries, else an error. No variables give the table 1. Variables of one clique cost
// no more than a posterior; each other one multiplies that by its states of positive probability. The findings stay as
// they were. It panics on a variable out of range or given twice, and fails with *ImpossibleError.
func (q *Query) Joint(vars []VarID) ([]float64, error) {
	entries := 1
	for i, v := range vars {
		q.t.net.check(v)
		if slices.Contains(vars[:i], v) {
			panic(fmt.Sprintf("bayes: joint posterior with %q twice", q.t.net.variables[v].Name))
		}
		entries *= q.t.net.cards[v]
		if entries > maxAnswer {
			return nil, fmt.Errorf("joint posterior of %d variables: more than %d entries", len(vars), maxAnswer)
		}
	}
	if err := q.possible(); err != nil {
		return nil, err
	}
	if len(vars) == 0 {
		return []float64{1}, nil
	}
	kept := q.evidence // clamps forget it, but it will be true again
	r := q.newJointReader(vars, entries)
	r.fill(0, 0, 1)
	q.evidence = kept
	return r.table, nil
}

// JointMarginal is the posterior of the variables of a together set, given all findings: a table in the order of the
// set, as SetJointLikelihood wants it.
func (q *Query) JointMarginal(set int) ([]float64, error) {
	j := q.t.joint(set)
	if err := q.possible(); err != nil {
		return nil, err
	}
	table := make([]float64, len(j.positions))
	for i, x := range q.readAt(j.clique, j.plan) {
		table[j.positions[i]] = x
	}
	return table, nil
}

// jointReader fills the table of a joint posterior.
type jointReader struct {
	q       *Query
	clamped []VarID
	strides []int   // [clamped] in the table
	clique  int32   // where the other variables are read
	plan    *plan   // how these lie in it
	offsets []int32 // and where they go in the table
	table   []float64
}

// newJointReader decides what is read, what is clamped and where each goes in the table.
func (q *Query) newJointReader(vars []VarID, entries int) *jointReader {
	t := q.t
	r := &jointReader{q: q, clique: t.richest(vars), table: make([]float64, entries)}
	c := &t.cliques[r.clique]
	var here []int32
	for _, v := range vars {
		if slices.Contains(c.scope, int32(v)) {
			here = append(here, int32(v))
		} else {
			r.clamped = append(r.clamped, v)
		}
	}
	far := t.distances(r.clique)
	slices.SortStableFunc(r.clamped, func(a, b VarID) int { return cmp.Compare(far[t.home[b]], far[t.home[a]]) })
	for _, v := range r.clamped {
		stride := 1
		for _, w := range vars[slices.Index(vars, v)+1:] {
			stride *= t.net.cards[w]
		}
		r.strides = append(r.strides, stride)
	}
	// The clique's table, in the order of the tree, is dealt out to the entries of the answer for each clamp: its place is
	// the sum of what the clamped states and the states read give.
	r.plan = t.plan(c, here)
	r.offsets = positions(internal(vars), sortedBy(here, t.rank), t.x.cards)
	return r
}

// richest is the clique with the most combinations of states of the variables, the smaller one of equals.
func (t *JoinTree) richest(vars []VarID) int32 {
	best, most := int32(0), 0
	for i := range t.cliques {
		held := 1
		for _, v := range vars {
			if slices.Contains(t.cliques[i].scope, int32(v)) {
				held *= t.net.cards[v]
			}
		}
		if held > most || held == most && t.cliques[i].entries < t.cliques[best].entries {
			best, most = int32(i), held
		}
	}
	return best
}

// distances counts the links from one clique to each; those of other components are infinitely far.
func (t *JoinTree) distances(from int32) []int {
	far := make([]int, len(t.cliques))
	for i := range far {
		far[i] = math.MaxInt
	}
	var walk func(i, back int32, distance int)
	walk = func(i, back int32, distance int) {
		far[i] = distance
		for _, l := range t.cliques[i].links {
			if l.to != back {
				walk(l.to, i, distance+1)
			}
		}
	}
	walk(from, -1, 0)
	return far
}

// fill clamps the variables from the given one on and writes the part of the table from base, whose total is p.
func (r *jointReader) fill(depth, base int, p float64) {
	if depth == len(r.clamped) {
		for i, x := range r.q.readAt(r.clique, r.plan) {
			r.table[base+int(r.offsets[i])] = p * x
		}
		return
	}
	v := r.clamped[depth]
	r.q.refresh(r.q.t.home[v])
	post := slices.Clone(r.q.post[v])
	aside := r.q.setAside(v)
	for s, x := range post {
		if x > 0 {
			r.q.Observe(v, s)
			r.fill(depth+1, base+s*r.strides[depth], p*x)
		}
	}
	r.q.putBack(v, aside)
}

// setAside takes the finding on v away, so that another can be entered for a while without touching its numbers.
func (q *Query) setAside(v VarID) finding {
	aside := q.findings[v]
	q.Withdraw(v)
	q.findings[v].likelihood = nil
	return aside
}

// putBack ends what setAside began.
func (q *Query) putBack(v VarID, aside finding) {
	q.Withdraw(v)
	q.findings[v] = aside
	if aside.set {
		q.restore(&q.findings[v], q.t.home[v])
	}
}
