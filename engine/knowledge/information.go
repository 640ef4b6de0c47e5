package knowledge

import (
	"fmt"
	"math"
	"slices"
)

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

// SetupOutcomes gives the probability of each state of a setup fact, and each cause's posterior after it:
// [state][cause]. Both are nil where the fact changes nothing or is a variable of the network.
func (in *Inquiry) SetupOutcomes(id string, posterior []float64) (shares []float64, after [][]float64) {
	m := in.m
	rates := in.rateWith(id)
	if rates == nil {
		return nil, nil
	}
	s, _ := m.SetupFact(id)
	shares = make([]float64, len(s.States))
	after = make([][]float64, len(s.States))
	total := 0.0
	for k, st := range s.States {
		shares[k], after[k] = st.Share, make([]float64, len(m.Causes))
		for i := range m.Causes {
			p, rate := posterior[i], rates[k][i]
			if math.IsNaN(rate) {
				after[k][i] = p
				continue
			}
			ratio := priorRatio(rate, in.at.rate[i])
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

// Probability is the probability that an observation of states would be told to be in one of them; zero for one that
// the network does not hold.
func (in *Inquiry) Probability(id, state string) (p float64, err error) {
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
	s, err := in.Survey(Ask{IDs: ids, Given: []int{cause}})
	if err != nil {
		return nil, err
	}
	now, given := s.Posterior(), s.GivenCause(cause)
	p := now.Causes[cause]
	var out []Outcome
	for j, id := range ids {
		for k, total := range now.Outcomes[j] {
			if state := in.m.variables[id].states[k]; total > 1e-9 && in.m.canBeTold(id, state) {
				out = append(out, Outcome{id, state, total, p * given.Outcomes[j][k] / total})
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
