package knowledge

import (
	"maps"
	"math"
	"slices"
	"strings"
)

// Some numbers no file can list, because they follow from facts of the installation by physics: what a cable loses, what
// a battery reads when full. A file names the computation, the appliance's package binds the name to a function, and here
// the facts that nobody told are integrated over: each fact's states stand with their shares, a number's bands with their
// typical values. So a fact shifts the answer as far as it matters, a rough one less, and silence not at all.

// Binding holds the computations that model files may name.
type Binding map[string]Computation

// Computation works from setup facts. Either function may be nil.
type Computation struct {
	// Facts are the setup facts that the functions look at.
	Facts []string
	// Optional facts are given to the functions where somebody told them, and not integrated over.
	Optional []string
	// Rate is how likely a cause is with these facts, on any scale, for its base rate to be multiplied with.
	Rate func(f Facts) float64
	// Level is a quantity's mean and standard deviation with these facts, given states of the network's variables.
	Level func(states map[string]string, f Facts) (mean, spread float64)
}

// Facts are one combination of setup facts: a state each, and a value for those that are numbers.
type Facts struct {
	State  map[string]string
	Number map[string]float64
}

// point is one value of a fact with its share.
type point struct {
	state  string
	number float64
	share  float64
}

// points is where a fact is looked at: one point if a value was told, those of a band if a band was, else all.
func (s *SetupFact) points(told *Finding) []point {
	if told != nil && told.IsNumber {
		return []point{{s.state(*told), told.Number, 1}}
	}
	var out []point
	total := 0.0
	for _, st := range s.States {
		if told != nil && told.State != st.ID {
			continue
		}
		total += st.Share
		if s.Unit == "" {
			out = append(out, point{state: st.ID, share: st.Share})
		}
		for _, x := range st.Typical {
			out = append(out, point{st.ID, x, st.Share / float64(len(st.Typical))})
		}
	}
	for i := range out {
		out[i].share /= total
	}
	return out
}

// situation is what was told of the facts that computations look at; nil means nothing.
type situation struct {
	told   map[string]Finding
	levels map[string][2]float64 // of quantities in configurations met so far
}

func newSituation(findings []Finding) *situation {
	s := &situation{told: map[string]Finding{}, levels: map[string][2]float64{}}
	for _, f := range findings {
		s.told[f.ID] = f
	}
	return s
}

// looksAt tells whether the computation depends on a setup fact.
func (c *Computation) looksAt(id string) bool {
	return c != nil && (slices.Contains(c.Facts, id) || slices.Contains(c.Optional, id))
}

// with adds one fact.
func (s *situation) with(f Finding) *situation {
	told := maps.Clone(s.told)
	told[f.ID] = f
	return &situation{told: told, levels: map[string][2]float64{}}
}

// integrate visits every combination of the facts with its weight; the weights sum to one.
func (m *Model) integrate(c *Computation, s *situation, visit func(f Facts, weight float64)) {
	facts := Facts{map[string]string{}, map[string]float64{}}
	for _, id := range c.Optional {
		if f, ok := s.told[id]; ok {
			fact, _ := m.SetupFact(id)
			facts.State[id], facts.Number[id] = fact.state(f), f.Number
		}
	}
	var walk func(i int, weight float64)
	walk = func(i int, weight float64) {
		if i == len(c.Facts) {
			visit(facts, weight)
			return
		}
		id := c.Facts[i]
		fact, _ := m.SetupFact(id)
		var told *Finding
		if f, ok := s.told[id]; ok {
			told = &f
		}
		for _, p := range fact.points(told) {
			facts.State[id], facts.Number[id] = p.state, p.number
			walk(i+1, weight*p.share)
		}
	}
	walk(0, 1)
}

// expectedRate is a computed rate with the untold facts integrated over.
func (m *Model) expectedRate(c *Computation, s *situation) float64 {
	total := 0.0
	m.integrate(c, s, func(f Facts, weight float64) { total += weight * c.Rate(f) })
	return total
}

// level is a quantity's mean and spread: of the mixture over the facts that nobody told.
func (m *Model) level(q *quantity, at map[string]string, s *situation) (mean, spread float64) {
	var key strings.Builder
	key.WriteString(q.id)
	for _, g := range q.given {
		key.WriteString(" ")
		key.WriteString(at[g])
	}
	if l, ok := s.levels[key.String()]; ok {
		return l[0], l[1]
	}
	square := 0.0
	m.integrate(q.computed, s, func(f Facts, weight float64) {
		x, sd := q.computed.Level(at, f)
		mean += weight * x
		square += weight * (x*x + sd*sd)
	})
	spread = math.Sqrt(max(square-mean*mean, 0))
	s.levels[key.String()] = [2]float64{mean, spread}
	return mean, spread
}

// bind looks up what a file names, and checks it against the facts of the model.
func (f *files) bind(at node, name, what string) *Computation {
	c, ok := f.binding[name]
	if !ok {
		at.errorf("%s is no computation that this appliance has", name)
		return nil
	}
	if what == "rate" && c.Rate == nil || what == "level" && c.Level == nil {
		at.errorf("%s computes no %s", name, what)
		return nil
	}
	for _, id := range c.Optional {
		if _, ok := f.model.SetupFact(id); !ok {
			at.errorf("%s looks at %s, which is no setup fact", name, id)
			return nil
		}
	}
	for _, id := range c.Facts {
		s, ok := f.model.SetupFact(id)
		if !ok {
			at.errorf("%s looks at %s, which is no setup fact", name, id)
			return nil
		}
		if s.Unit != "" && (len(s.States) == 0 || slices.ContainsFunc(s.States, func(st SetupState) bool { return len(st.Typical) == 0 })) {
			at.errorf("%s looks at %s, whose bands need typical values", name, id)
			return nil
		}
	}
	return &c
}

// checkBound binds the names and tries every computation in every configuration, so that none fails later.
func (f *files) checkBound() {
	silence := newSituation(nil)
	for i := range f.model.Causes {
		c := &f.model.Causes[i]
		if c.RateFrom == "" {
			continue
		}
		c.computation = f.bind(f.seen[c.ID], c.RateFrom, "rate")
		if c.computation != nil && !(f.model.expectedRate(c.computation, silence) > 0) {
			f.seen[c.ID].errorf("%s: %s gives no rate", c.ID, c.RateFrom)
		}
	}
	for _, q := range f.quantities {
		if q.from == "" {
			continue
		}
		if q.computed = f.bind(q.at, q.from, "level"); q.computed == nil {
			continue
		}
		f.configurations(q.given, func(at map[string]string) {
			if mean, spread := f.model.level(q, at, silence); !(spread > 0) || math.IsNaN(mean) {
				q.at.errorf("%s: %s gives no level", q.id, q.from)
			}
		})
	}
}
