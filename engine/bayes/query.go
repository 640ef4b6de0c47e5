package bayes

import (
	"fmt"
	"math"
	"slices"
)

// Query holds the findings of one case on a join tree, and answers from messages that stay valid until a finding on
// their source side changes. It belongs to one goroutine. After the first answers it allocates only what it returns.
type Query struct {
	t        *JoinTree
	findings []finding // [variable]
	joints   []finding // [together set], in the order of the clique's scope
	local    []local   // [clique]
	messages []message // [edge]
	read     []bool    // [clique] whether the posteriors of its variables are current
	post     [][]float64
	scratch  []float64
	cached   cacheKey
	evidence evidence
	version  int64 // counts the changes of findings

	clamping *clamp // the memory of mutual information, once somebody needs it
	prior    *Query // without findings, once somebody needs it
	most     *Query // with messages of maxima, once somebody needs it

	maximise bool // messages are maxima instead of sums; no posteriors can then be read

	families []gatherer // where expected counts are read, once somebody needs them
	ways     *ways      // the families that lead to an outcome, once somebody needs them
}

// finding is a likelihood scaled into [0.5, 1) by a power of two. A zero finding means none.
type finding struct {
	likelihood []float64
	set        bool
	exponent   int
}

// local is a clique's own table with its findings multiplied in.
type local struct {
	table    []float64
	low      float64
	exponent int
	findings int
	valid    bool
}

// message is a directed message, scaled: the true one is table × 2^exponent. It is informed if a finding lies behind
// it, and unit if it is known to be all ones.
type message struct {
	table                 []float64
	low                   float64
	exponent              int
	valid, informed, unit bool
}

// cacheKey says which product scratch holds: clique times all messages but those from two neighbours, or -1. The true
// product is the table × 2^exponent.
type cacheKey struct {
	clique, skip, also int32
	exponent           int
	low                float64 // no positive entry is smaller
	valid              bool
}

// evidence caches ln P(e), or the contradiction that makes it minus infinity.
type evidence struct {
	valid bool
	log   float64
	err   *ImpossibleError
}

// NewQuery starts a case without findings.
func (t *JoinTree) NewQuery() *Query {
	q := &Query{
		t:        t,
		findings: make([]finding, len(t.net.variables)),
		joints:   make([]finding, len(t.together)),
		local:    make([]local, len(t.cliques)),
		messages: make([]message, t.edges),
		read:     make([]bool, len(t.cliques)),
		post:     make([][]float64, len(t.net.variables)),
		scratch:  make([]float64, t.scratch),
	}
	for v, card := range t.net.cards {
		q.post[v] = make([]float64, card)
	}
	q.version = 1
	return q
}

// Reset withdraws all findings.
func (q *Query) Reset() {
	for v := range q.findings {
		q.Withdraw(VarID(v))
	}
	for set := range q.joints {
		q.WithdrawJoint(set)
	}
}

// MoveTo goes on with another tree: the one that this one was made from by [JoinTree.In], or another made from the
// same. The findings stay, and so do all messages that no changed table had a part in. It panics on any other tree.
func (q *Query) MoveTo(t *JoinTree) {
	if t.origin != q.t.origin {
		panic("bayes: moved to a tree of another shape")
	}
	before := q.t
	q.t = t
	for i := range t.cliques {
		if &t.cliques[i].table[0] != &before.cliques[i].table[0] {
			q.invalidate(int32(i))
			q.most = nil
		}
	}
	if q.prior != nil {
		q.prior.MoveTo(t)
	}
}

// Observe enters that v is in the state, in place of an earlier finding on v. It panics on a state out of range.
func (q *Query) Observe(v VarID, state int) {
	q.t.net.checkState(v, state)
	card := q.t.net.cards[v]
	f := &q.findings[v]
	f.likelihood = slices.Grow(f.likelihood[:0], card)[:card]
	clear(f.likelihood)
	f.likelihood[state] = 1
	q.entered(f, q.t.home[v])
}

// SetLikelihood enters a likelihood l[state] = P(what was seen | v in state) on any scale, in place of an earlier
// finding on v. It panics if the length is not the number of states or an entry is negative, infinite or NaN.
func (q *Query) SetLikelihood(v VarID, l []float64) {
	q.t.net.check(v)
	checkLikelihood(l, q.t.net.cards[v])
	f := &q.findings[v]
	f.likelihood = append(f.likelihood[:0], l...)
	q.entered(f, q.t.home[v])
}

// SetJointLikelihood enters a likelihood over the variables of the given together set of Compile, row-major in the
// order of that set with the last variable fastest, on any scale and in place of an earlier one on the set. It panics
// as SetLikelihood does.
func (q *Query) SetJointLikelihood(set int, l []float64) {
	j := q.t.joint(set)
	checkLikelihood(l, len(j.positions))
	f := &q.joints[set]
	f.likelihood = f.likelihood[:0]
	for _, p := range j.positions {
		f.likelihood = append(f.likelihood, l[p])
	}
	q.entered(f, j.clique)
}

// Withdraw takes back the finding on v, if there is one.
func (q *Query) Withdraw(v VarID) {
	q.t.net.check(v)
	q.withdraw(&q.findings[v], q.t.home[v])
}

// WithdrawJoint takes back the joint likelihood on a together set, if there is one.
func (q *Query) WithdrawJoint(set int) {
	q.withdraw(&q.joints[set], q.t.joint(set).clique)
}

func (t *JoinTree) joint(set int) *joint {
	if set < 0 || set >= len(t.together) {
		panic(fmt.Sprintf("bayes: together set %d of %d", set, len(t.together)))
	}
	return &t.together[set]
}

func checkLikelihood(l []float64, want int) {
	if len(l) != want {
		panic(fmt.Sprintf("bayes: likelihood of %d entries, want %d", len(l), want))
	}
	for _, x := range l {
		if !(x >= 0 && x <= math.MaxFloat64) {
			panic(fmt.Sprintf("bayes: likelihood %v", x))
		}
	}
}

// entered scales a finding, so that the scales of thousands of likelihoods end up in exponents and not in tables.
func (q *Query) entered(f *finding, clique int32) {
	f.exponent, _ = rescale(f.likelihood)
	if !f.set {
		f.set = true
		q.local[clique].findings++
	}
	q.invalidate(clique)
}

// withdraw keeps the numbers of a finding, so that restore can put it back as it was.
func (q *Query) withdraw(f *finding, clique int32) {
	if f.set {
		f.set = false
		q.local[clique].findings--
		q.invalidate(clique)
	}
}

// invalidate forgets everything that depends on the findings of a clique.
func (q *Query) invalidate(clique int32) {
	q.version++
	q.local[clique].valid = false
	q.read[clique] = false
	q.cached.valid = false
	q.evidence = evidence{}
	q.spread(clique, -1)
}

// spread invalidates the messages that lead away from a clique. Where one is already invalid, so are all behind it.
func (q *Query) spread(i, from int32) {
	for _, l := range q.t.cliques[i].links {
		if m := &q.messages[l.out]; l.to != from && m.valid {
			m.valid = false
			q.read[l.to] = false
			q.spread(l.to, i)
		}
	}
}
