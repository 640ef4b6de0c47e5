package knowledge

import (
	"maps"
	"math"
	"strconv"
	"strings"
)

// situation is what was told of the facts that computations look at.
type situation struct {
	told map[string]Finding
	memo memo
}

// memo keeps what was computed, so that one heater's facts are integrated over once and not for each question. It is
// for one goroutine.
type memo map[string][2]float64

func (m memo) recall(key string, compute func() [2]float64) [2]float64 {
	if known, ok := m[key]; ok {
		return known
	}
	if len(m) >= mostRemembered {
		clear(m)
	}
	m[key] = compute()
	return m[key]
}

func newSituation(findings []Finding, m memo) *situation {
	s := &situation{told: map[string]Finding{}, memo: m}
	for _, f := range findings {
		s.told[f.ID] = f
	}
	return s
}

// with adds one fact.
func (s *situation) with(f Finding) *situation {
	told := maps.Clone(s.told)
	told[f.ID] = f
	return &situation{told, s.memo}
}

// key tells situations apart that make a difference to a computation.
func (s *situation) key(c *Computation, name string) string {
	var key strings.Builder
	key.WriteString(name)
	for _, ids := range [][]string{c.Facts, c.Optional} {
		for _, id := range ids {
			if f, ok := s.told[id]; ok {
				key.WriteString(" " + id + "=" + f.State)
				key.WriteString(strconv.FormatFloat(f.Number, 'g', -1, 64))
			}
		}
	}
	return key.String()
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

// expectedRate is a cause's computed rate with the untold facts integrated over.
func (m *Model) expectedRate(cause *Cause, s *situation) float64 {
	c := cause.computation
	return s.memo.recall(s.key(c, cause.RateFrom), func() (total [2]float64) {
		m.integrate(c, s, func(f Facts, weight float64) { total[0] += weight * c.Rate(f) })
		return total
	})[0]
}

// level is a quantity's mean and spread: of the mixture over the facts that nobody told.
func (m *Model) level(q *quantity, at map[string]string, s *situation) (mean, spread float64) {
	name := q.id
	for _, g := range q.given {
		name += " " + at[g]
	}
	l := s.memo.recall(s.key(q.computed, name), func() [2]float64 {
		mean, square := 0.0, 0.0
		m.integrate(q.computed, s, func(f Facts, weight float64) {
			x, sd := q.computed.Level(at, f)
			mean += weight * x
			square += weight * (x*x + sd*sd)
		})
		return [2]float64{mean, math.Sqrt(max(square-mean*mean, 0))}
	})
	return l[0], l[1]
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
