package bayes

import (
	"fmt"
	"math"
	"slices"
)

// Learning is split where the mathematics splits it. Counting needs a join tree and knows nothing of priors; learning
// needs the counts and knows nothing of trees. One after the other, repeated, they are the EM algorithm (Dempster,
// Laird & Rubin 1977; for networks Lauritzen 1995).

// Unknown stands in a Case for a variable that was not observed.
const Unknown = -1

// Case is what was observed once: the state of each variable, in the order of the network, or Unknown.
type Case []int

// Counts are expected numbers of cases: for each variable a table or, for a noisy family, counts of contributions. A
// caller may set either to nil to hold a distribution fixed; a computed one always is.
type Counts struct {
	Tables [][]float64    // [variable], each laid out as Builder.Table wants it
	Noisy  []*NoisyCounts // [variable]
	Cases  float64        // the sum of the weights
	LogP   float64        // weighted sum of ln P(findings), nats: the log-likelihood
}

// NewCounts gives zero counts for the distributions of the network.
func (n *Network) NewCounts() *Counts {
	c := &Counts{Tables: make([][]float64, len(n.dists)), Noisy: make([]*NoisyCounts, len(n.dists))}
	for v := range n.dists {
		switch d := &n.dists[v]; {
		case d.factored():
			c.Noisy[v] = newNoisyCounts(d)
		case d.compute == nil:
			c.Tables[v] = make([]float64, len(d.table))
		}
	}
	return c
}

// ExpectedCounts adds up, over partly observed cases, the posterior of every child with its parents. A case that is
// impossible in the network ends it with an error that gives the position of the case and wraps *ImpossibleError. It
// panics if a case has another length than the network or a state out of range.
func ExpectedCounts(t *JoinTree, cases []Case) (*Counts, error) {
	counts := t.net.NewCounts()
	q := t.NewQuery()
	for i, states := range cases {
		q.enterCase(states)
		if err := q.AddCounts(counts, 1); err != nil {
			return nil, fmt.Errorf("case %d: %w", i, err)
		}
	}
	return counts, nil
}

// enterCase makes the findings those of the case. What is the same as before is left, so that messages stay valid.
func (q *Query) enterCase(states Case) {
	if len(states) != len(q.findings) {
		panic(fmt.Sprintf("bayes: case of %d states, want %d", len(states), len(q.findings)))
	}
	for v, s := range states {
		f := &q.findings[v]
		switch {
		case s == Unknown:
			q.Withdraw(VarID(v))
		case !f.set || s < 0 || s >= len(f.likelihood) || f.likelihood[s] == 0:
			q.Observe(VarID(v), s)
		}
	}
}

// AddCounts adds weight times the posteriors of the families, given the findings of the query, to those counts that
// are not nil. Likelihood findings count as they weigh. On an error, which is *ImpossibleError, the counts are
// unchanged. It panics if the weight is negative, infinite or NaN, or the counts are for another network.
func (q *Query) AddCounts(counts *Counts, weight float64) error {
	if !(weight >= 0 && weight <= math.MaxFloat64) {
		panic(fmt.Sprintf("bayes: weight %v", weight))
	}
	q.t.net.checkCounts(counts)
	if err := q.possible(); err != nil {
		return err
	}
	for _, r := range q.t.roots {
		q.distribute(r, -1) // all messages at once, in the order in which cliques share products
	}
	counts.Cases += weight
	counts.LogP += weight * q.evidence.log
	for i := range q.gatherers() {
		q.gather(&q.families[i], counts, weight)
	}
	return nil
}

// AddCountsOf is AddCounts for the families of some variables only, at the cost of the messages towards them. Leaving
// out a variable below which nothing was found loses nothing: its counts would only repeat the present numbers.
func (q *Query) AddCountsOf(counts *Counts, weight float64, wanted func(child VarID) bool) error {
	if !(weight >= 0 && weight <= math.MaxFloat64) {
		panic(fmt.Sprintf("bayes: weight %v", weight))
	}
	q.t.net.checkCounts(counts)
	if err := q.possible(); err != nil {
		return err
	}
	counts.Cases += weight
	counts.LogP += weight * q.evidence.log
	for i := range q.gatherers() {
		if g := &q.families[i]; wanted(g.of) {
			q.gather(g, counts, weight)
		}
	}
	return nil
}

// gather reads the posterior of one family into the counts, if anybody wants them.
func (q *Query) gather(g *gatherer, counts *Counts, weight float64) {
	noisy := g.part != whole
	if table := counts.Tables[g.of]; table != nil && !noisy {
		for i, x := range q.readAt(g.clique, g.plan) {
			table[g.inFull(g.entries[i])] += weight * x
		}
	}
	if c := counts.Noisy[g.of]; c != nil && noisy {
		rows := len(g.entries)
		if !g.held {
			rows /= g.top
		}
		posterior := make([]float64, rows*g.top)
		for i, x := range q.readAt(g.clique, g.plan) {
			at := g.entries[i]
			if g.held {
				at = at*int32(g.top) + int32(g.top-1)
			}
			posterior[at] = x
		}
		c.gather(g.family, &q.t.net.dists[g.of], posterior, weight)
	}
}

// inFull is where an entry of a family's table stands in the full one, which has a column for each state of the child.
func (f family) inFull(entry int32) int32 {
	if !f.held {
		return entry
	}
	return entry*int32(f.width) + int32(f.top-1)
}

// gatherer says where the posterior of a family is read.
type gatherer struct {
	family
	clique  int32
	plan    *plan
	entries []int32 // from the order of the tree to that of the table
}

// gatherers lists the families by clique, so that those of one clique share its product. They depend on the tree alone
// and are kept.
func (q *Query) gatherers() []gatherer {
	if q.families != nil {
		return q.families
	}
	for i, f := range q.t.x.families {
		if f.part == point {
			continue
		}
		at := q.t.placed[i]
		q.families = append(q.families, gatherer{f, at, q.t.plan(&q.t.cliques[at], f.scope),
			positions(f.scope, sortedBy(f.scope, q.t.rank), q.t.x.cards)})
	}
	slices.SortStableFunc(q.families, func(a, b gatherer) int { return int(a.clique - b.clique) })
	return q.families
}

// checkCounts checks the shape once, so that counting and learning may index freely.
func (n *Network) checkCounts(c *Counts) {
	if len(c.Tables) != len(n.dists) || len(c.Noisy) != len(n.dists) {
		panic(fmt.Sprintf("bayes: counts of %d and %d variables, want %d", len(c.Tables), len(c.Noisy), len(n.dists)))
	}
	for v := range n.dists {
		d := &n.dists[v]
		if table := c.Tables[v]; table != nil && len(table) != len(d.table) {
			panic(fmt.Sprintf("bayes: %d counts of %q, want %d", len(table), n.variables[v].Name, len(d.table)))
		}
		if noisy := c.Noisy[v]; noisy != nil && !noisy.fits(d) {
			panic(fmt.Sprintf("bayes: counts of contributions to %q of another shape", n.variables[v].Name))
		}
	}
}

// Learn is the network with new numbers. Each row of a table, and each contribution to a noisy family, has a Dirichlet
// prior whose mean is the present row and whose pseudocounts add up to equivalentSampleSize, and becomes the mean of
// what the counts make of it:
//
//	(equivalentSampleSize × present + counts) / (equivalentSampleSize + sum of counts)
//
// With 0 that is one step of EM from the network that the counts were made with, which never lowers the likelihood of
// the cases; a row without counts then stays as it is. Nil counts leave their variable alone. It panics if the counts
// are for another network or a number is negative, infinite or NaN.
func (n *Network) Learn(counts *Counts, equivalentSampleSize float64) *Network {
	n.checkCounts(counts)
	checkCount(equivalentSampleSize)
	learned := *n
	learned.dists = slices.Clone(n.dists)
	for v := range learned.dists {
		d := &learned.dists[v]
		if table := counts.Tables[v]; table != nil {
			*d = d.clone()
			for i := 0; i < len(table); i += n.cards[v] {
				learnRow(d.table[i:i+n.cards[v]], table[i:i+n.cards[v]], equivalentSampleSize)
			}
		}
		if noisy := counts.Noisy[v]; noisy != nil {
			*d = d.clone()
			learnRow(d.leak, noisy.Leak, equivalentSampleSize)
			for i, link := range d.links {
				for s, row := range link {
					learnRow(row, noisy.Links[i][s], equivalentSampleSize)
				}
			}
		}
	}
	return &learned
}

// learnRow leaves a row that has neither prior nor counts, for which any distribution would be as likely.
func learnRow(row, counts []float64, size float64) {
	total := size
	for _, x := range counts {
		checkCount(x)
		total += x
	}
	if total == 0 {
		return
	}
	for s, x := range counts {
		row[s] = (size*row[s] + x) / total
	}
	scaleRow(row) // the counts of a row, and so their total, carry the rounding of many posteriors
}

func checkCount(x float64) {
	if !(x >= 0 && x <= math.MaxFloat64) {
		panic(fmt.Sprintf("bayes: count %v", x))
	}
}

// A noisy family has hidden parts, the contributions of its links and of the leak. Each table of its chain holds the
// maximum of some of them. Given the states around such a table, a contribution is distributed as it would be with the
// maximum known, and that is all that expected counts need: the family is never expanded.

// NoisyCounts are expected numbers of contributions to a noisy family, laid out as in Builder.NoisyMax.
type NoisyCounts struct {
	Links [][][]float64 // [link][parent state][child state]
	Leak  []float64     // [child state]
}

// newNoisyCounts gives zero counts in the shape of d.
func newNoisyCounts(d *distribution) *NoisyCounts {
	shape := d.clone()
	clear(shape.leak)
	for _, link := range shape.links {
		for _, row := range link {
			clear(row)
		}
	}
	return &NoisyCounts{shape.links, shape.leak}
}

// fits says whether the counts have the shape of d.
func (c *NoisyCounts) fits(d *distribution) bool {
	if len(c.Links) != len(d.links) || len(c.Leak) != len(d.leak) {
		return false
	}
	for i, link := range c.Links {
		if len(link) != len(d.links[i]) {
			return false
		}
		for _, row := range link {
			if len(row) != len(d.leak) {
				return false
			}
		}
	}
	return true
}

// gather adds the expected contributions of one table of a chain, whose posterior is given in the order of its scope.
func (c *NoisyCounts) gather(f family, d *distribution, posterior []float64, weight float64) {
	width := f.top
	reached := make([]float64, width)
	rows, counts := [][]float64{d.leak}, [][]float64{c.Leak}
	cards := make([]int, len(f.links)+1)
	cards[0] = 1
	if f.part == step {
		rows[0], counts[0] = reached, make([]float64, width) // what was reached before has been counted where it was
		cards[0] = width
	}
	for i, l := range f.links {
		cards[i+1] = len(d.links[l])
		rows, counts = append(rows, nil), append(counts, nil)
	}
	for at := 0; at < len(posterior); at += width {
		rest := at / width
		for i := len(f.links); i > 0; i-- {
			state := rest % cards[i]
			rest /= cards[i]
			l := f.links[i-1]
			rows[i], counts[i] = d.links[l][state], c.Links[l][state]
		}
		if f.part == step {
			clear(reached)
			reached[rest] = 1
		}
		for highest, p := range posterior[at : at+width] {
			if p > 0 {
				share(rows, highest, weight*p, counts)
			}
		}
	}
}

// share distributes a count over independent contributions whose maximum is known: contribution i is c < highest where
// the others reach it, and highest where they don't exceed it.
func share(rows [][]float64, highest int, count float64, counts [][]float64) {
	for i, row := range rows {
		var below, at float64 // the others' maximum is below highest; is highest
		at, below = 0, 1
		for k, other := range rows {
			if k == i {
				continue
			}
			under := sum(other[:highest])
			at = at*(under+other[highest]) + below*other[highest]
			below *= under
		}
		total := row[highest] * (at + below)
		for _, x := range row[:highest] {
			total += x * at
		}
		if total == 0 {
			continue // the posterior of such a combination is rounding alone
		}
		for c, x := range row[:highest] {
			counts[i][c] += count * (x * at / total)
		}
		counts[i][highest] += count * (row[highest] * (at + below) / total)
	}
}
