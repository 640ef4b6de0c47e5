package bayes

import "math"

// Findings that go together badly raise the question whether one of them is wrong.

// Conflict is the measure ln(Π P(e_i) / P(e)) over the findings e_i, in nats, after Jensen, Chamberlain, Nordahl and
// Jensen, Analysis in HUGIN of data conflict (1990). Above zero the findings are less probable together than apart,
// which means either that one is wrong or that a rare cause explains them. A joint likelihood counts as one finding.
// The scale of likelihoods cancels. It is exactly zero with fewer than two findings, and fails with *ImpossibleError.
func (q *Query) Conflict() (float64, error) {
	if err := q.possible(); err != nil {
		return 0, err
	}
	all := q.entries()
	if len(all) < 2 {
		return 0, nil
	}
	apart, prior := 0.0, q.bare()
	for _, f := range all {
		apart += scaledLog(dot(prior.readAt(f.clique, f.plan), f.likelihood), f.exponent)
	}
	q.cached.valid = false // the scratch was lent
	return apart - q.evidence.log, nil
}

// bare gives a query without findings, for priors. Its messages depend on the tree alone, so it is kept. It borrows the
// scratch, which may be the largest piece of memory of a query.
func (q *Query) bare() *Query {
	if q.prior == nil {
		q.prior = q.t.NewQuery()
		q.prior.scratch = q.scratch
	}
	q.prior.cached.valid = false
	return q.prior
}

// readAt is the posterior of the part of a clique that the plan keeps, in the order of the tree.
func (q *Query) readAt(clique int32, p *plan) []float64 {
	q.receive(clique, -1)
	product, _ := q.product(clique, -1, -1)
	part := make([]float64, p.small)
	p.sumOut(part, product)
	normalise(part)
	return part
}

// scaledLog is ln(x × 2^exponent). The fraction is split off because math.Log may be wrong below the normal range.
func scaledLog(x float64, exponent int) float64 {
	if x == 0 {
		return math.Inf(-1)
	}
	fraction, shift := math.Frexp(x)
	return math.Log(fraction) + float64(exponent+shift)*math.Ln2
}

// restore puts back a finding as it was when withdrawn.
func (q *Query) restore(f *finding, clique int32) {
	f.set = true
	q.local[clique].findings++
	q.invalidate(clique)
}
