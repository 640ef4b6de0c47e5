package bayes

import "math"

// Messages follow Shafer and Shenoy: what clique i tells neighbour j is its own table times all messages into it but
// j's, summed to their separator. Nothing is ever divided, for two reasons. Zeros, which hard findings and logic make
// in plenty, need no care. And a message depends on nothing but the findings on its source side, so that a finding
// taken back leaves the very bytes that were there before.
//
// Three things keep that cheap. A message is sent only when somebody asks, and stays until a finding behind it changes.
// A message from a side without findings where every table sums to one is known to be all ones, and is neither computed
// nor multiplied; in a diagnostic network that is most of them. And since leaving out such a message changes nothing, a
// clique with many quiet neighbours makes one product for all of them, which is kept in scratch with its key.
//
// Scale is kept apart as a binary exponent. Each table carries a lower bound of its positive entries, which tells
// without looking at the entries whether a product could underflow; only then is it scaled first.

// underflow is the smallest entry that products may reach before they are scaled again, with room left for one more
// factor of the same size.
const underflow = 0x1p-1000

// localTable gives the clique's table with its findings.
func (q *Query) localTable(i int32) *local {
	l := &q.local[i]
	if l.valid {
		return l
	}
	c := &q.t.cliques[i]
	l.valid, l.exponent, l.low = true, 0, c.low
	if l.findings == 0 {
		return l
	}
	if l.table == nil {
		l.table = make([]float64, len(c.table))
	}
	copy(l.table, c.table)
	for _, v := range c.homes {
		q.enter(l, &q.findings[v], q.t.homePlan[v])
	}
	for _, set := range c.joints {
		q.enter(l, &q.joints[set], q.t.together[set].plan)
	}
	return l
}

// enter multiplies one finding into a local table and scales it at once, for many findings may share a clique.
func (q *Query) enter(l *local, f *finding, p *plan) {
	if !f.set {
		return
	}
	p.multiply(l.table, l.table, f.likelihood)
	e, low := rescale(l.table)
	l.exponent += f.exponent + e
	l.low = low
}

// table is what messages are multiplied onto: the shared table as long as there are no findings.
func (q *Query) table(i int32) []float64 {
	if q.local[i].findings == 0 {
		return q.t.cliques[i].table
	}
	return q.local[i].table
}

// receive makes the messages into clique i current, except the one from skip.
func (q *Query) receive(i, skip int32) {
	for _, l := range q.t.cliques[i].links {
		if l.to != skip {
			q.send(l.to, i, l.out^1)
		}
	}
}

// send makes the message of edge e, from clique i to clique j, current.
func (q *Query) send(i, j, e int32) {
	m := &q.messages[e]
	if m.valid {
		return
	}
	q.receive(i, j)
	m.informed = q.local[i].findings > 0
	var back *plan
	skip := j
	for _, l := range q.t.cliques[i].links {
		if l.to == j {
			back = l.plan
			if r := &q.messages[l.out^1]; r.valid && r.unit {
				skip = -1 // leaving out a message of ones changes nothing, and the full product may be at hand
			}
		} else {
			m.informed = m.informed || q.messages[l.out^1].informed
		}
	}
	m.valid = true
	m.unit = !m.informed && q.t.barren[e] && !q.maximise // a table sums to one; its maxima are anything
	if m.unit {
		m.exponent = 0
		return
	}
	product, _ := q.product(i, skip, -1)
	exponent := q.cached.exponent
	if m.table == nil {
		m.table = make([]float64, q.t.sizes[e])
	}
	if q.maximise {
		back.maxOut(m.table, product)
	} else {
		back.sumOut(m.table, product)
	}
	shift, low := rescale(m.table)
	m.exponent, m.low = exponent+shift, low
}

// product gives the table of clique i times all messages into it but those from the cliques skip and also, and a lower
// bound of its positive entries. All these messages must be current. The result is good until the next call.
func (q *Query) product(i, skip, also int32) ([]float64, float64) {
	dst := q.scratch[:len(q.t.cliques[i].table)]
	k := &q.cached
	if k.valid && k.clique == i && k.skip == skip && k.also == also {
		return dst, k.low
	}
	own := q.localTable(i)
	src := q.table(i)
	*k = cacheKey{clique: i, skip: skip, also: also, valid: true, exponent: own.exponent, low: own.low}
	for _, l := range q.t.cliques[i].links {
		m := &q.messages[l.out^1]
		if l.to == skip || l.to == also || m.unit {
			continue
		}
		shift, low := absorb(dst, src, k.low, m.table, m.low, l.plan)
		k.exponent += m.exponent + shift
		k.low = low
		src = dst
	}
	if &src[0] != &dst[0] {
		copy(dst, src)
	}
	return dst, k.low
}

// without is the table of clique i without one of its findings times all messages into it but that from the clique
// skip, on any scale. All these messages must be current. The result is good until the next call or that of product.
func (q *Query) without(i int32, left *finding, skip int32) []float64 {
	c := &q.t.cliques[i]
	dst := q.scratch[:len(c.table)]
	q.cached.valid = false
	copy(dst, c.table)
	low := c.low
	for _, v := range c.homes {
		if f := &q.findings[v]; f.set && f != left {
			q.t.homePlan[v].multiply(dst, dst, f.likelihood)
			_, low = rescale(dst)
		}
	}
	for _, set := range c.joints {
		if f := &q.joints[set]; f.set && f != left {
			q.t.together[set].plan.multiply(dst, dst, f.likelihood)
			_, low = rescale(dst)
		}
	}
	for _, l := range c.links {
		if m := &q.messages[l.out^1]; l.to != skip && !m.unit {
			_, low = absorb(dst, dst, low, m.table, m.low, l.plan)
		}
	}
	return dst
}

// absorb sets dst = src × part. lowSrc and lowPart are lower bounds of the positive entries; if their product could
// underflow, src is scaled first by a power of two. It returns the exponent of that and a new lower bound.
func absorb(dst, src []float64, lowSrc float64, part []float64, lowPart float64, p *plan) (exponent int, low float64) {
	if lowSrc*lowPart < underflow {
		if &dst[0] != &src[0] {
			copy(dst, src)
			src = dst
		}
		exponent, lowSrc = rescale(dst)
	}
	p.multiply(dst, src, part)
	// Entries that vanish all the same are too small beside the largest to be kept in one table.
	return exponent, max(lowSrc*lowPart, math.SmallestNonzeroFloat64)
}

// refresh brings the posteriors of the variables read at clique i up to date. They are zero if the evidence is
// impossible.
func (q *Query) refresh(i int32) {
	if q.read[i] {
		return
	}
	q.receive(i, -1)
	product, _ := q.product(i, -1, -1)
	for _, v := range q.t.cliques[i].homes {
		p := q.post[v]
		q.t.homePlan[v].sumOut(p, product)
		normalise(p)
	}
	q.read[i] = true
}

// normalise leaves a vector of zeros as it is, for there is no distribution to make of it.
func normalise(p []float64) {
	total := 0.0
	for _, x := range p {
		total += x
	}
	if total == 0 {
		return
	}
	for i := range p {
		p[i] /= total
	}
}

// logEvidence is ln P(e), minus infinity if it is zero.
func (q *Query) logEvidence() float64 {
	log, exponent := 0.0, 0
	for _, r := range q.t.roots {
		q.receive(r, -1)
		product, _ := q.product(r, -1, -1)
		total := sum(product)
		if total == 0 {
			return math.Inf(-1)
		}
		fraction, shift := math.Frexp(total) // math.Log may be wrong for numbers below the normal range
		log += math.Log(fraction)
		exponent += q.cached.exponent + shift
	}
	return log + float64(exponent)*math.Ln2
}

// LogEvidence is ln P(e), the natural logarithm of the probability of the findings; likelihoods multiply in. If it is
// zero the error is an *ImpossibleError.
func (q *Query) LogEvidence() (float64, error) {
	if err := q.possible(); err != nil {
		return math.Inf(-1), err
	}
	return q.evidence.log, nil
}

// possible makes sure of the probability of the evidence.
func (q *Query) possible() error {
	if !q.evidence.valid {
		log := q.logEvidence()
		q.evidence = evidence{valid: true, log: log}
		if math.IsInf(log, -1) {
			err := q.contradiction()
			q.evidence = evidence{valid: true, log: log, err: err}
		}
	}
	if q.evidence.err != nil {
		return q.evidence.err
	}
	return nil
}

// Marginal is the posterior of v given all findings, in a fresh slice.
func (q *Query) Marginal(v VarID) ([]float64, error) {
	q.t.net.check(v)
	p := make([]float64, q.t.net.cards[v])
	return p, q.MarginalInto(v, p)
}

// MarginalInto writes the posterior of v to dst, whose length must be the number of states. On an error dst is
// unchanged.
func (q *Query) MarginalInto(v VarID, dst []float64) error {
	q.t.net.check(v)
	if len(dst) != q.t.net.cards[v] {
		panic("bayes: destination of the wrong length")
	}
	if err := q.possibleAt(v); err != nil {
		return err
	}
	q.refresh(q.t.home[v])
	copy(dst, q.post[v])
	return nil
}

// possibleAt makes sure that the evidence is possible, in a connected network from the posterior of v alone, which
// spares the messages towards where the probability of the evidence would be read.
func (q *Query) possibleAt(v VarID) error {
	if !q.evidence.valid && len(q.t.roots) == 1 {
		q.refresh(q.t.home[v])
		if sum(q.post[v]) > 0 {
			return nil
		}
	}
	return q.possible()
}

// Marginals gives the posteriors of all variables, [variable][state], written to dst where it has room.
func (q *Query) Marginals(dst [][]float64) ([][]float64, error) {
	if err := q.possible(); err != nil {
		return nil, err
	}
	n := len(q.post)
	for len(dst) < n {
		dst = append(dst, nil)
	}
	dst = dst[:n]
	for _, r := range q.t.roots {
		q.distribute(r, -1)
	}
	for v, p := range q.post {
		dst[v] = append(dst[v][:0], p...)
	}
	return dst, nil
}

// distribute refreshes a clique and all beyond it. All messages out of a clique are sent one after the other, because
// many share one product.
func (q *Query) distribute(i, from int32) {
	q.refresh(i)
	for _, l := range q.t.cliques[i].links {
		if l.to != from {
			q.send(i, l.to, l.out)
		}
	}
	for _, l := range q.t.cliques[i].links {
		if l.to != from {
			q.distribute(l.to, i)
		}
	}
}
