package bayes

import (
	"math"
	"strings"
)

// ImpossibleError says that the findings cannot all be true. Findings are variables whose findings contradict each
// other, and none of which can be left out without making the rest possible; Joint are the together sets among them.
type ImpossibleError struct {
	Findings []VarID
	Joint    []int
	names    []string
}

// Error names the contradicting findings.
func (e *ImpossibleError) Error() string {
	return "impossible findings: " + strings.Join(e.names, ", ")
}

// Deletion finds an irreducible set, not the smallest of all such sets, which is intractable. The findings entered on
// variables of low number are tried first, so that the set prefers findings of high number. It costs one collection of
// messages per finding, most of them short, and only once somebody asks about impossible evidence.

// contradiction finds an irreducible set of contradicting findings: each one is taken back, and stays so if the rest
// are still impossible. The findings are left as they were.
func (q *Query) contradiction() *ImpossibleError {
	err := &ImpossibleError{}
	var removed []func()
	for v := range q.findings {
		if q.needed(&q.findings[v], q.t.home[v], &removed) {
			err.Findings = append(err.Findings, VarID(v))
			err.names = append(err.names, q.t.net.variables[v].Name)
		}
	}
	for set := range q.joints {
		j := &q.t.together[set]
		if q.needed(&q.joints[set], j.clique, &removed) {
			err.Joint = append(err.Joint, set)
			err.names = append(err.names, "("+strings.Join(q.t.net.names(j.variables), ", ")+")")
		}
	}
	for _, restore := range removed {
		restore()
	}
	return err
}

// needed tries without one finding, and puts it back if that resolves the contradiction.
func (q *Query) needed(f *finding, clique int32, removed *[]func()) bool {
	if !f.set {
		return false
	}
	put := func() {
		f.set = true
		q.local[clique].findings++
		q.invalidate(clique)
	}
	q.withdraw(f, clique)
	if math.IsInf(q.logEvidence(), -1) {
		*removed = append(*removed, put)
		return false
	}
	put()
	return true
}
