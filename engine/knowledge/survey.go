package knowledge

import (
	"fmt"
	"math"
	"slices"

	"lightoff/engine/bayes"
)

// Ask is what is wanted of a survey.
type Ask struct {
	IDs    []string             // observations not made yet
	Wanted func(cause int) bool // causes about which their information is wanted
	Given  []int                // causes, by index, for which it is wanted what would hold if they were active
	Weigh  []int                // causes for which it is wanted what each finding does
	// What moves the odds of no cause to be weighed by so many bits may be taken to move none.
	LeastBits float64
}

// Survey is what one walk over the network tells about causes, observations not made yet and findings.
type Survey struct {
	Bits    [][]float64 // [cause][observation asked for] I(cause; observation | findings)
	Without []Ablation  // what holds with each finding left out, if causes are to be weighed
	now     Given
	given   map[int]Given // by cause
}

// Given is what would hold if, besides what was found, a cause were active.
type Given struct {
	Causes   []float64   // each cause's posterior, in the model's order
	Outcomes [][]float64 // by the observations asked for, in the order of Model.Outcomes; nil where the network has none
}

// Posterior is what holds as things are.
func (s *Survey) Posterior() Given { return s.now }

// GivenCause is what would hold if the cause, by its index, were active. It was to be surveyed. Where the findings
// exclude it, it is what holds as things are.
func (s *Survey) GivenCause(cause int) Given {
	if g, ok := s.given[cause]; ok {
		return g
	}
	return s.now
}

// Survey tells what each observation would tell about the wanted causes, in bits; what would hold if each of some
// causes were active; and what holds without each finding. Bits are zero for other causes, for the computed one and for
// observations that the network does not hold.
func (in *Inquiry) Survey(a Ask) (*Survey, error) {
	m, ids := in.m, a.IDs
	given := a.Given
	for _, i := range a.Weigh {
		if !slices.Contains(given, i) && a.LeastBits > 0 {
			given = append(slices.Clone(given), i) // bounds on what a fact of the installation does hang on it
		}
	}
	wanted := func(cause int) bool { return a.Wanted != nil && !m.Causes[cause].Computed && a.Wanted(cause) }
	var targets, candidates, causes []bayes.VarID
	var rows, columns, clamped, left []int
	for j, id := range ids {
		if _, ok := m.variables[id]; ok {
			candidates, columns = append(candidates, m.varOf(id)), append(columns, j)
		}
	}
	for i, v := range m.causeVar {
		asked, weighed := slices.Contains(given, i), slices.Contains(a.Weigh, i)
		if asked {
			clamped = append(clamped, len(targets))
		}
		if weighed {
			left = append(left, len(targets))
		}
		if asked || weighed || wanted(i) {
			targets, rows = append(targets, v), append(rows, i)
		}
		if len(given) > 0 {
			causes = append(causes, v)
		}
	}
	c, err := in.clamp(bayes.Clamp{Targets: targets, Candidates: candidates, Others: causes, Given: clamped,
		LeftOut: left})
	if err != nil {
		return nil, err
	}
	s := &Survey{Bits: make([][]float64, len(m.Causes)), given: map[int]Given{}}
	bits := make([]float64, len(m.Causes)*len(ids))
	for i := range s.Bits {
		s.Bits[i], bits = bits[:len(ids):len(ids)], bits[len(ids):]
	}
	read := func(post func(k int) []float64) Given {
		g := Given{make([]float64, len(m.Causes)), make([][]float64, len(ids))}
		for k, j := range columns {
			g.Outcomes[j] = post(k)
		}
		k := len(candidates)
		for i := range m.causeVar {
			g.Causes[i] = post(k)[1]
			k++
		}
		return g
	}
	for t, i := range rows {
		if wanted(i) {
			for k, j := range columns {
				s.Bits[i][j] = c.Information[t][k]
			}
		}
		if states := c.Given[t]; states != nil && states[1] != nil {
			s.given[i] = read(func(k int) []float64 { return states[1][k] })
		}
	}
	if len(a.Weigh) > 0 {
		at := make([]int, len(m.Causes))
		for k, t := range left {
			at[rows[t]] = k
		}
		if s.Without, err = in.withoutEach(a, s, c.LeftOut, at); err != nil {
			return nil, err
		}
	}
	if len(a.Given) == 0 {
		return s, nil
	}
	all := slices.Concat(candidates, causes)
	marginals := func(q *bayes.Query) (g Given, err error) {
		posts := make([][]float64, len(all))
		for k, v := range all {
			if posts[k], err = q.Marginal(v); err != nil {
				return g, err
			}
		}
		return read(func(k int) []float64 { return posts[k] }), nil
	}
	if s.now, err = marginals(in.now.q); err != nil {
		return nil, err
	}
	return s, nil
}

// clamp asks the network. Every conversation begins with the safety card, mostly with the same answers to it and
// with the most causes still to be told apart; so the last answers to that are kept with the installation.
func (in *Inquiry) clamp(w bayes.Clamp) (*bayes.Clamped, error) {
	var card []entry
	for _, e := range in.entered {
		if slices.ContainsFunc(in.at.entered, e.same) {
			continue
		}
		if o, ok := in.m.Observation(e.id); !ok || !o.SafetyCard {
			return in.now.q.Clamp(w)
		}
		card = append(card, e)
	}
	if in.odds != nil || in.fitting {
		return in.now.q.Clamp(w)
	}
	a := in.m.clamps.get(fmt.Sprint(in.at.key, w, card), func() clamped {
		c, err := in.now.q.Clamp(w)
		return clamped{c, err}
	})
	return a.told, a.err
}

// Information is I(cause; observation | findings) in bits, by cause in the model's order and by the observations' ids,
// for the causes that are wanted.
func (in *Inquiry) Information(ids []string, wanted func(cause int) bool) ([][]float64, error) {
	s, err := in.Survey(Ask{IDs: ids, Wanted: wanted})
	if err != nil {
		return nil, err
	}
	return s.Bits, nil
}

// Entropies are the uncertainties about observations, by their ids, in bits; zero for those that the network does not
// hold. Nothing can tell more about an observation than that, nor the observation about anything.
func (in *Inquiry) Entropies(ids []string) ([]float64, error) {
	out := make([]float64, len(ids))
	var post []float64
	for j, id := range ids {
		v, ok := in.m.variables[id]
		if !ok {
			continue
		}
		post = slices.Grow(post[:0], len(v.states))[:len(v.states)]
		if err := in.now.q.MarginalInto(in.m.varOf(id), post); err != nil {
			return nil, err
		}
		for _, p := range post {
			if p > 0 {
				out[j] -= p * math.Log2(p)
			}
		}
	}
	return out, nil
}

// CausesGiven is each cause's posterior if, besides what was found, a cause is active.
func (in *Inquiry) CausesGiven(cause int) ([]float64, error) {
	s, err := in.Survey(Ask{Given: []int{cause}})
	if err != nil {
		return nil, err
	}
	return s.GivenCause(cause).Causes, nil
}
