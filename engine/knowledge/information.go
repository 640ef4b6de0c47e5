package knowledge

import (
	"fmt"
	"math"
	"slices"

	"lightoff/engine/bayes"
)

// Information is I(cause; observation | findings) in bits, by cause in the model's order and by the observations' ids. It
// is worked out for the causes that are wanted and is zero for the others and the computed one; observations that the
// network does not hold tell nothing.
func (in *Inquiry) Information(ids []string, wanted func(cause int) bool) ([][]float64, error) {
	m := in.m
	var targets, candidates []bayes.VarID
	var columns []int
	for j, id := range ids {
		if _, ok := m.variables[id]; ok {
			candidates, columns = append(candidates, m.varOf(id)), append(columns, j)
		}
	}
	var rows []int
	for i, v := range m.causeVar {
		if v >= 0 && wanted(i) {
			targets, rows = append(targets, v), append(rows, i)
		}
	}
	bits, err := in.now.q.MutualInformation(targets, candidates)
	if err != nil {
		return nil, err
	}
	out := make([][]float64, len(m.Causes))
	for i := range out {
		out[i] = make([]float64, len(ids))
	}
	for t, i := range rows {
		for c, j := range columns {
			out[i][j] = bits[t][c]
		}
	}
	return out, nil
}

// SetupInformation is what knowing a setup fact would tell about each cause, in bits, from the causes' posteriors. A
// setup fact only reweighs base rates, so no propagation is needed; the causes are taken as independent given the
// findings, which is near enough to choose a question by.
func (in *Inquiry) SetupInformation(id string, posterior []float64) []float64 {
	m := in.m
	bits := make([]float64, len(m.Causes))
	shares, after := in.SetupOutcomes(id, posterior)
	for i := range m.Causes {
		mean := 0.0
		for k := range shares {
			mean += shares[k] * after[k][i]
		}
		for k := range shares {
			bits[i] += shares[k] * divergence(after[k][i], mean)
		}
	}
	return bits
}

// SetupOutcomes gives the probability of each state of a setup fact, and each cause's posterior after it: [state][cause]. Both
// are nil where the fact changes nothing or is a variable of the network.
func (in *Inquiry) SetupOutcomes(id string, posterior []float64) (shares []float64, after [][]float64) {
	m := in.m
	s, ok := m.SetupFact(id)
	if !ok || s.Variable || !in.matters(id) {
		return nil, nil
	}
	shares = make([]float64, len(s.States))
	after = make([][]float64, len(s.States))
	total := 0.0
	for k, st := range s.States {
		shares[k], after[k] = st.Share, make([]float64, len(m.Causes))
		for i, c := range m.Causes {
			p := posterior[i]
			_, touched := m.average[i][id]
			if !touched && !c.computation.looksAt(id) || c.Computed {
				after[k][i] = p
				continue
			}
			rate := m.rateIn(i, in.situation.with(Finding{ID: id, State: st.ID}))
			ratio := priorRatio(rate, in.rate[i])
			mass := p*ratio[1] + (1-p)*ratio[0]
			after[k][i] = p * ratio[1] / mass
			shares[k] *= mass
		}
		total += shares[k]
	}
	for k := range shares {
		shares[k] /= total
	}
	return shares, after
}

// divergence is the Kullback–Leibler divergence in bits of one yes-or-no probability from another.
func divergence(p, q float64) float64 {
	d := 0.0
	if p > 0 {
		d += p * math.Log2(p/q)
	}
	if p < 1 {
		d += (1 - p) * math.Log2((1-p)/(1-q))
	}
	return max(0, d)
}

// Chance is the probability that an observation of states would be told to be in one of them; zero for one that the
// network does not hold.
func (in *Inquiry) Chance(id, state string) (p float64, err error) {
	v, ok := in.m.variables[id]
	if !ok {
		return 0, nil
	}
	post, err := in.now.q.Marginal(in.m.varOf(id))
	if err != nil {
		return 0, err
	}
	for i, l := range in.m.likelihood(v, state) {
		p += l * post[i]
	}
	return p, nil
}

// Outcome is a possible finding with its probability and a cause's probability after it.
type Outcome struct {
	Observation, State string // State is a band's name for a number
	Probability, After float64
}

// Outcomes lists what each observation could show and what that would do to the cause (by index).
func (in *Inquiry) Outcomes(cause int, ids []string) ([]Outcome, error) {
	m := in.m
	v := m.causeVar[cause]
	if v < 0 {
		return nil, nil
	}
	prior, err := in.now.q.Marginal(v)
	if err != nil {
		return nil, err
	}
	p := prior[1]
	total := make([][]float64, len(ids))
	for j, id := range ids {
		if _, ok := m.variables[id]; ok {
			post, err := in.now.q.Marginal(m.varOf(id))
			if err != nil {
				return nil, err
			}
			total[j] = append(total[j], post...)
		}
	}
	in.now.q.SetLikelihood(v, []float64{0, in.yesWeight(cause)})
	in.now.rate[cause] = math.NaN() // to be given anew by the next apply
	defer in.restore(cause)
	var out []Outcome
	for j, id := range ids {
		if total[j] == nil {
			continue
		}
		given, err := in.now.q.Marginal(m.varOf(id))
		if err != nil {
			return nil, err
		}
		for k, s := range m.variables[id].states {
			if total[j][k] > 1e-9 && m.canBeTold(id, s) {
				out = append(out, Outcome{id, s, total[j][k], p * given[k] / total[j][k]})
			}
		}
	}
	return out, nil
}

// canBeTold leaves out the states that nobody can name and that only others stand for.
func (m *Model) canBeTold(id, state string) bool {
	o, ok := m.Observation(id)
	return !ok || len(o.States) == 0 || slices.Contains(o.States, state)
}

func (in *Inquiry) yesWeight(cause int) float64 {
	if in.m.rootOf[cause] != in.m.causeVar[cause] {
		return in.oddsOf(cause)
	}
	return in.oddsOf(cause) * priorRatio(in.rate[cause], in.base[cause])[1]
}

// restore takes back that a cause was clamped.
func (in *Inquiry) restore(cause int) {
	if in.m.rootOf[cause] != in.m.causeVar[cause] {
		in.now.q.Withdraw(in.m.causeVar[cause])
	}
	in.apply(&in.now, false)
}

// scaledBands are the numbers that part a number observation's bands, for the setup that the findings tell of; nil for
// what is no such number.
func (m *Model) scaledBands(id string, findings []Finding) []float64 {
	v, ok := m.variables[id]
	if !ok || v.reads == nil {
		return nil
	}
	b := slices.Clone(v.reads.bands)
	if q := m.files.quantityByID(v.reads.terms[0].quantity); q.scaleBy != "" && !v.reads.log {
		if scale, ok := q.scales[stateOf(findings, q.scaleBy)]; ok {
			for i := range b {
				b[i] *= scale
			}
		}
	}
	return b
}

// Band names the band that a number lies in, as Outcomes names it, for the setup that the findings tell of; empty for
// what is no number observation of the network.
func (m *Model) Band(id string, number float64, findings []Finding) string {
	b := m.scaledBands(id, findings)
	if b == nil {
		return ""
	}
	at, _ := slices.BinarySearchFunc(b, number, func(bound, x float64) int {
		if bound <= x {
			return -1
		}
		return 1
	})
	return m.variables[id].states[at]
}

// BandText writes a number observation's band, for example "< 11.6 V", for the setup that the findings tell of.
func (m *Model) BandText(id, band string, findings []Finding) string {
	b := m.scaledBands(id, findings)
	if b == nil {
		return band
	}
	o, _ := m.Observation(id)
	v := m.variables[id]
	for i := range v.states {
		if v.states[i] != band {
			continue
		}
		switch i {
		case 0:
			return fmt.Sprintf("< %g %s", b[0], o.Unit)
		case len(b):
			return fmt.Sprintf("> %g %s", b[len(b)-1], o.Unit)
		}
		return fmt.Sprintf("%g–%g %s", b[i-1], b[i], o.Unit)
	}
	return band
}
