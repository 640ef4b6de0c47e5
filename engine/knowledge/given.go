package knowledge

import (
	"math"
	"slices"
)

// Given is what would hold if, besides what was found, a cause were active.
type Given struct {
	Causes   []float64   // each cause's posterior, in the model's order
	Outcomes [][]float64 // by the observations asked for, in the order of Model.Shows; nil where the network has none
}

// Shows lists what an observation can show: its states as the network has them, the bands of a number.
func (m *Model) Shows(id string) []string {
	if v, ok := m.variables[id]; ok {
		return v.states
	}
	return nil
}

// If works out what would hold if the cause, by its index, were active. For the computed cause it is what holds if no
// cause is; −1 asks for what holds as things are.
func (in *Inquiry) If(cause int, ids []string) (Given, error) {
	m, q := in.m, in.now.q
	switch {
	case cause < 0:
	case m.causeVar[cause] < 0:
		in.apply(&in.none, true)
		q = in.none.q
	default:
		q.SetLikelihood(m.causeVar[cause], []float64{0, in.yesWeight(cause)})
		in.now.rate[cause] = math.NaN() // to be given anew by the next apply
		defer in.restore(cause)
	}
	g := Given{Causes: make([]float64, len(m.Causes)), Outcomes: make([][]float64, len(ids))}
	for i, v := range m.causeVar {
		if v < 0 {
			continue // no cause active cannot be, if one is
		}
		p, err := q.Marginal(v)
		if err != nil {
			return g, err
		}
		g.Causes[i] = p[1]
	}
	for j, id := range ids {
		if _, ok := m.variables[id]; !ok {
			continue
		}
		p, err := q.Marginal(m.varOf(id))
		if err != nil {
			return g, err
		}
		g.Outcomes[j] = slices.Clone(p)
	}
	return g, nil
}
