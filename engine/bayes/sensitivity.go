package bayes

import (
	"fmt"
	"math"
	"slices"
)

// In one parameter θ of a table, with the other entries of its row scaled to make room, the probability of any
// findings is a straight line: every term of the joint holds θ, or another entry of that row and with it 1-θ, or
// neither. So a posterior is a quotient of two lines, and two points fix each of them (Castillo, Gutiérrez & Hadi
// 1997; Coupé & van der Gaag 2002).
//
// The points taken are θ = 0 and θ = 1, because both make the row a distribution again. Where all tables still sum to
// one over their children, the shortcuts of the join tree stay right. The slope is measured with the parents clamped
// to the row, so that a rare row does not drown in the rest.

// Parameter names one number of a distribution. In a full table it is P(Variable in State | its parents in the states
// Parents, in their order). In a noisy family it is what one parent in its state brings about, the others being
// [Unknown], or the leak if all are.
type Parameter struct {
	Variable VarID
	Parents  []int
	State    int
}

// Sensitivity is a posterior as a function of one parameter θ: (Alpha θ + Beta) / (Gamma θ + Delta). The denominator
// is P(findings) as a multiple of what it is now, so it is one at the present Value.
type Sensitivity struct {
	Value                     float64 // θ as it is in the network
	Alpha, Beta, Gamma, Delta float64
	above, below              float64 // Alpha + Beta and Gamma + Delta, with all their digits
}

// At is the posterior for another value of the parameter, from 0 to 1. It is NaN where the findings would be
// impossible. It mixes the two ends, all of whose terms are positive: where the present value is nearly one, the four
// coefficients are large and nearly cancel.
func (s Sensitivity) At(theta float64) float64 {
	return (s.above*theta + s.Beta*(1-theta)) / (s.below*theta + s.Delta*(1-theta))
}

// Slope is the derivative of the posterior with respect to the parameter at a value of it.
func (s Sensitivity) Slope(theta float64) float64 {
	below := s.below*theta + s.Delta*(1-theta)
	return (s.Alpha*s.Delta - s.Beta*s.Gamma) / (below * below)
}

// Sensitivity tells how P(v in state | findings) depends on one parameter. The other entries of its row keep their
// proportions; if they are all zero they share the rest equally. It fails with *ImpossibleError, or where zeros of the
// network become positive and make the tree too large, and panics on a
// variable or state out of range, a wrong number of parent states, or Unknown ones that a full table has no row for.
// Each call costs four propagations. The findings stay as they were.
func (q *Query) Sensitivity(of Parameter, v VarID, state int) (Sensitivity, error) {
	n := q.t.net
	n.checkState(of.Variable, of.State)
	n.checkState(v, state)
	n.checkRow(of)
	if err := q.possible(); err != nil {
		return Sensitivity{}, err
	}
	s := Sensitivity{Value: n.row(of, &n.dists[of.Variable])[of.State]}
	// The lines through the whole of P give the ends; the slopes come from the part of P that lies in the row, where
	// nothing else is there to be taken away again.
	low, err := q.varied(of, 0)
	if err != nil {
		return Sensitivity{}, err
	}
	s.Beta, s.Delta = low.relative(v, state, q.evidence.log)
	high, err := q.varied(of, 1)
	if err != nil {
		return Sensitivity{}, err
	}
	s.above, s.below = high.relative(v, state, q.evidence.log)
	if !low.clamp(of) {
		return s, nil
	}
	high.clamp(of)
	beta, delta := low.relative(v, state, q.evidence.log)
	alpha, gamma := high.relative(v, state, q.evidence.log)
	s.Alpha, s.Gamma = alpha-beta, gamma-delta
	return s, nil
}

// checkRow panics if the parameter names no row of its distribution.
func (n *Network) checkRow(of Parameter) {
	d := &n.dists[of.Variable]
	if len(of.Parents) != len(d.parents) {
		panic(fmt.Sprintf("bayes: %d parent states of %q, which has %d", len(of.Parents), n.variables[of.Variable].Name,
			len(d.parents)))
	}
	known := 0
	for i, p := range d.parents {
		if of.Parents[i] != Unknown {
			n.checkState(p, of.Parents[i])
			known++
		}
	}
	if d.factored() && known > 1 || !d.factored() && known < len(d.parents) {
		panic(fmt.Sprintf("bayes: %d of %d parent states name no row of %q", known, len(d.parents),
			n.variables[of.Variable].Name))
	}
}

// row is the distribution that holds the parameter, within d.
func (n *Network) row(of Parameter, d *distribution) []float64 {
	if d.factored() {
		for i, s := range of.Parents {
			if s != Unknown {
				return d.links[i][s]
			}
		}
		return d.leak
	}
	row, card := 0, n.cards[of.Variable]
	for i, p := range d.parents {
		row = row*n.cards[p] + of.Parents[i]
	}
	return d.table[row*card:][:card]
}

// varied is a query with the same findings on a tree whose parameter is 0 or 1.
func (q *Query) varied(of Parameter, theta float64) (*Query, error) {
	before := &q.t.net.dists[of.Variable]
	d := before.clone()
	vary(q.t.net.row(of, &d), of.State, theta)
	changed := map[VarID]distribution{of.Variable: d}
	t := q.t.withDistributions(changed)
	if d.widens(before) {
		var err error
		if t, err = q.t.widened(changed); err != nil {
			return nil, err
		}
	}
	// A new query, because the messages of this one were made with the numbers as they are.
	other := t.NewQuery()
	other.copyFindings(q)
	return other, nil
}

// vary sets one entry of a distribution and lets the others share what remains in their proportions.
func vary(row []float64, state int, theta float64) {
	if len(row) == 1 {
		return // the only state is certain, whatever anyone wants
	}
	rest := 0.0
	for s, x := range row {
		if s != state {
			rest += x
		}
	}
	for s, x := range row {
		switch {
		case s == state:
			row[s] = theta
		case rest > 0:
			row[s] = x / rest * (1 - theta)
		default:
			row[s] = (1 - theta) / float64(len(row)-1)
		}
	}
}

// copyFindings enters all findings of another query, whose tree is for the same variables and together sets. Numbers
// are copied, for the other query may write over its own; joint ones are put into the order of this tree.
func (q *Query) copyFindings(from *Query) {
	for v := range from.findings {
		if f := &from.findings[v]; f.set {
			q.findings[v] = finding{likelihood: slices.Clone(f.likelihood), exponent: f.exponent}
			q.restore(&q.findings[v], q.t.home[v])
		}
	}
	for set := range from.joints {
		if f := &from.joints[set]; f.set {
			there, here := from.t.together[set].positions, q.t.together[set].positions
			asGiven, l := make([]float64, len(there)), make([]float64, len(here))
			for i, p := range there {
				asGiven[p] = f.likelihood[i]
			}
			for i, p := range here {
				l[i] = asGiven[p]
			}
			q.joints[set] = finding{likelihood: l, exponent: f.exponent}
			q.restore(&q.joints[set], q.t.together[set].clique)
		}
	}
}

// clamp adds to the findings that the parents are in the known states of the parameter. What else is known of a parent
// stays in force; if that excludes the state, the row plays no part and clamp says false.
func (q *Query) clamp(of Parameter) bool {
	for i, p := range q.t.net.dists[of.Variable].parents {
		state, f := of.Parents[i], &q.findings[p]
		if state == Unknown {
			continue
		}
		if !f.set {
			q.Observe(p, state)
			continue
		}
		x := f.likelihood[state]
		if x == 0 {
			return false
		}
		clear(f.likelihood)
		f.likelihood[state] = x
		q.invalidate(q.t.home[p])
	}
	return true
}

// relative gives P(v in state and findings) and P(findings), both divided by e^log.
func (q *Query) relative(v VarID, state int, log float64) (both, findings float64) {
	findings = math.Exp(q.logEvidence() - log)
	if findings == 0 {
		return 0, 0 // an end of the line may be impossible; its posterior is then nobody's business
	}
	q.refresh(q.t.home[v])
	return q.post[v][state] * findings, findings
}
