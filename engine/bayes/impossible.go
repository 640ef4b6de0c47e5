package bayes

import (
	"math"
	"strings"
)

// ImpossibleError says that the findings cannot all be true. Findings are variables whose findings contradict each
// other, and none of which can be left out without making the rest possible; Joint are the together sets among them.
// Where a single finding is impossible, or else, among up to 64 findings, two contradict each other, no larger set is
// named.
type ImpossibleError struct {
	Findings []VarID
	Joint    []int
	names    []string
}

// Error names the contradicting findings.
func (e *ImpossibleError) Error() string {
	return "impossible findings: " + strings.Join(e.names, ", ")
}

// The smallest of all contradicting sets is intractable to find, so it is sought only among sets of one and two, which
// are what people can act upon: one finding after the other is entered alone, and shows what it excludes. Each costs a
// propagation, hence the limit. Failing that, deletion gives an irreducible set. The findings entered on variables of
// low number are tried first, so that the set prefers findings of high number. It costs one collection of messages per
// finding, most of them short, and only once somebody asks about impossible evidence.

// mostPaired is the number of findings up to which contradicting pairs are sought.
const mostPaired = 64

// placed is a finding with the place where it is entered: on a variable, or else on a together set. The other is -1.
type placed struct {
	*finding
	variable VarID
	joint    int
	clique   int32
	plan     *plan // how it lies in the clique
}

// entries lists the findings, those on variables first.
func (q *Query) entries() (all []placed) {
	for v := range q.findings {
		if f := &q.findings[v]; f.set {
			all = append(all, placed{f, VarID(v), -1, q.t.home[v], q.t.homePlan[v]})
		}
	}
	for set := range q.joints {
		if f := &q.joints[set]; f.set {
			j := &q.t.together[set]
			all = append(all, placed{f, -1, set, j.clique, j.plan})
		}
	}
	return all
}

// contradiction finds a small or irreducible set of contradicting findings. The findings are left as they were.
func (q *Query) contradiction() *ImpossibleError {
	if err := q.builtIn(); err != nil {
		return err
	}
	all := q.entries()
	few := q.one(all)
	if few == nil && len(all) <= mostPaired {
		few = q.pair(all)
	}
	q.cached.valid = false // the scratch was lent
	if few == nil {
		few = q.irreducible(all)
	}
	return q.impossible(few)
}

// builtIn names all findings that the network holds if they contradict each other by themselves.
func (q *Query) builtIn() *ImpossibleError {
	if q.t.net.given == nil || !math.IsInf(q.bare().logEvidence(), -1) {
		return nil
	}
	err := &ImpossibleError{}
	for v, s := range q.t.net.given {
		if s != Unknown {
			err.Findings = append(err.Findings, VarID(v))
			err.names = append(err.names, q.t.net.variables[v].Name)
		}
	}
	return err
}

// impossible turns findings into the error that names them.
func (q *Query) impossible(findings []placed) *ImpossibleError {
	err := &ImpossibleError{}
	for _, f := range findings {
		if f.joint < 0 {
			err.Findings = append(err.Findings, f.variable)
			err.names = append(err.names, q.t.net.variables[f.variable].Name)
			continue
		}
		err.Joint = append(err.Joint, f.joint)
		err.names = append(err.names, "("+strings.Join(q.t.net.names(q.t.together[f.joint].variables), ", ")+")")
	}
	return err
}

// one finds the first finding that is impossible by itself.
func (q *Query) one(all []placed) []placed {
	prior := q.bare()
	for i, f := range all {
		if prior.excludes(f) && prior.refutes(f) {
			return all[i : i+1]
		}
	}
	return nil
}

// pair finds the first two findings that contradict each other.
func (q *Query) pair(all []placed) []placed {
	prior := q.bare()
	for i, f := range all {
		prior.borrow(f)
		var others []placed
		for _, other := range all[i+1:] {
			if prior.excludes(other) {
				others = append(others, other)
			}
		}
		prior.giveBack(f)
		for _, other := range others {
			if prior.refutes(f, other) {
				return []placed{f, other}
			}
		}
	}
	return nil
}

// excludes says that a finding of another query has no probability given those of this one.
func (q *Query) excludes(f placed) bool { return dot(q.readAt(f.clique, f.plan), f.likelihood) == 0 }

// refutes makes sure that findings of another query are impossible together. A product of two small numbers may be
// zero where the probability, whose scale is kept apart, is not.
func (q *Query) refutes(findings ...placed) bool {
	for _, f := range findings {
		q.borrow(f)
	}
	log := q.logEvidence()
	for _, f := range findings {
		q.giveBack(f)
	}
	return math.IsInf(log, -1)
}

// borrow enters a finding of another query on the same tree. The numbers are shared, not copied.
func (q *Query) borrow(f placed) {
	own := q.slot(f)
	own.likelihood, own.exponent = f.likelihood, f.exponent
	q.restore(own, f.clique)
}

// giveBack ends what borrow began.
func (q *Query) giveBack(f placed) {
	q.withdraw(q.slot(f), f.clique)
	*q.slot(f) = finding{}
}

// slot is where a finding of another query has its place in this one.
func (q *Query) slot(f placed) *finding {
	if f.joint >= 0 {
		return &q.joints[f.joint]
	}
	return &q.findings[f.variable]
}

// irreducible takes back one finding after the other, for good if the rest are still impossible.
func (q *Query) irreducible(all []placed) (kept []placed) {
	var removed []placed
	for _, f := range all {
		q.withdraw(f.finding, f.clique)
		if math.IsInf(q.logEvidence(), -1) {
			removed = append(removed, f)
			continue
		}
		q.restore(f.finding, f.clique)
		kept = append(kept, f)
	}
	for _, f := range removed {
		q.restore(f.finding, f.clique)
	}
	return kept
}
