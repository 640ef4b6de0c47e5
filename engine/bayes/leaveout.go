package bayes

import (
	"slices"
)

// Leaving out a finding needs no propagation. The product at the clique where it was entered, without it, tells how
// probable its variables' states are given all the others (the fast retraction of Cowell & Dawid 1992), and the same
// with a target clamped tells it for each state of the target.

// LeftOut is what all findings but one say. That one is on Variable or, if that is -1, on the together set Joint, which
// is else
// -1.
type LeftOut struct {
	Variable    VarID
	Joint       int
	Others      []float64   // P(state of its variables | the others), in the order of the variable or set
	LogEvidence float64     // ln P(the others)
	Posteriors  [][]float64 // [target][state] given the others
	tables      [][]float64 // [target] joint distribution of target and finding's variables given the others
}

// Replaced is what would hold if another likelihood stood in the place of the finding, in the order of the variable or
// set: ln P(findings) and the targets' posteriors.
func (l *LeftOut) Replaced(likelihood []float64) (log float64, posteriors [][]float64) {
	checkLikelihood(likelihood, len(l.Others))
	for _, table := range l.tables {
		var post []float64
		for row := range slices.Chunk(table, len(likelihood)) {
			post = append(post, dot(row, likelihood))
		}
		normalise(post)
		posteriors = append(posteriors, post)
	}
	return l.LogEvidence + scaledLog(dot(l.Others, likelihood), 0), posteriors
}

// LeaveOneOut tells, for each finding, what the others say by themselves about it and about the targets: first for the
// findings on variables in the order of the network, then for those on together sets. The findings stay as they were.
// It fails with *ImpossibleError if the findings together are impossible, and panics on a variable out of range.
func (q *Query) LeaveOneOut(targets ...VarID) ([]LeftOut, error) {
	all := make([]int, len(targets))
	for i := range all {
		all[i] = i
	}
	if len(targets) == 0 {
		if err := q.possible(); err != nil {
			return nil, err
		}
		findings, out := q.others()
		for k := range findings {
			q.asGiven(&out[k])
		}
		return out, nil
	}
	c, err := q.Clamp(Clamp{Targets: targets, LeftOut: all})
	if err != nil {
		return nil, err
	}
	return c.LeftOut, nil
}

// others tells what the others say about each finding. The evidence must be possible.
func (q *Query) others() ([]placed, []LeftOut) {
	all := q.entries()
	out := make([]LeftOut, len(all))
	for k, f := range all {
		q.receive(f.clique, -1)
		others := make([]float64, f.plan.small)
		f.plan.sumOut(others, q.without(f.clique, f.finding, -1))
		normalise(others)
		out[k] = LeftOut{Variable: f.variable, Joint: f.joint, Others: others,
			LogEvidence: q.evidence.log - scaledLog(dot(others, f.likelihood), f.exponent)}
	}
	return all, out
}

// tell takes in the joint distribution of a target and the finding's variables.
func (l *LeftOut) tell(table []float64) {
	l.tables = append(l.tables, table)
	var post []float64
	for row := range slices.Chunk(table, len(l.Others)) {
		post = append(post, sum(row))
	}
	normalise(post)
	l.Posteriors = append(l.Posteriors, post)
}

// readWithout takes in how probable the states of a finding's variables are without it, for the clamps under way.
func (c *clamp) readWithout(k int) {
	f := c.left[k]
	all := make([]lanes, f.plan.small)
	c.gather(all, f.clique, c.q.t.findingEnd(f))
	for j, s := range c.batch {
		post := make([]float64, len(all))
		for x := range post {
			post[x] = all[x][j]
		}
		normalise(post)
		if s.seen != nil {
			s.seen[s.state][k] = post
		}
	}
}

// tableWithout is the joint distribution of a target and a finding's variables given the other findings. With the
// target in a state, all findings are as probable as that state is; so each row is scaled until the finding makes that
// of it. The most probable state has what the others leave.
func (q *Query) tableWithout(a *aim, k int, f placed, others []float64) []float64 {
	n := len(others)
	table := make([]float64, len(a.prior)*n)
	if f.joint < 0 && f.variable == a.v {
		for s, x := range others {
			table[s*n+s] = x
		}
		return table
	}
	if slices.Contains(a.prior, 0) {
		return q.jointWithout(a.v, f) // what the finding excludes, the others may not
	}
	rest, all := table[a.last*n:][:n], dot(others, f.likelihood)
	copy(rest, others)
	for s, p := range a.prior {
		if s == a.last {
			continue
		}
		seen := a.seen[s][k]
		if sum(seen) == 0 {
			seen = others // no clamp arrives from a part of the network that hangs together with nothing here
		}
		scale := p * all / dot(seen, f.likelihood)
		for x, m := range seen {
			table[s*n+x] = scale * m
			rest[x] = max(0, rest[x]-scale*m)
		}
	}
	return table
}

// jointWithout is the same by taking the finding back and propagating.
func (q *Query) jointWithout(target VarID, f placed) []float64 {
	vars := []VarID{f.variable}
	if f.joint >= 0 {
		// in the order of the tree, as likelihoods are kept
		vars = nil
		for _, v := range sortedBy(internal(q.t.together[f.joint].variables), q.t.rank) {
			vars = append(vars, VarID(v))
		}
	}
	at := slices.Index(vars, target)
	if at < 0 {
		vars = append([]VarID{target}, vars...)
	}
	kept := q.evidence
	q.withdraw(f.finding, f.clique)
	table, err := q.Joint(vars)
	q.restore(f.finding, f.clique)
	q.evidence = kept
	if err != nil {
		// what is left is possible if the whole is, and a clique's table is no larger than this
		panic("bayes: " + err.Error())
	}
	if at < 0 {
		return table
	}
	// The target is one of the finding's variables: its rows are the table with the other states struck out.
	card, inner := q.t.net.cards[target], 1
	for _, v := range vars[at+1:] {
		inner *= q.t.net.cards[v]
	}
	rows := make([]float64, card*len(table))
	for i, x := range table {
		rows[i/inner%card*len(table)+i] = x
	}
	return rows
}

// asGiven brings a joint finding's tables from the order of the tree into that of the set.
func (q *Query) asGiven(l *LeftOut) {
	if l.Joint < 0 {
		return
	}
	order := q.t.together[l.Joint].positions
	turn := func(part []float64) {
		old := slices.Clone(part)
		for i, p := range order {
			part[p] = old[i]
		}
	}
	turn(l.Others)
	for _, table := range l.tables {
		for row := range slices.Chunk(table, len(order)) {
			turn(row)
		}
	}
}
