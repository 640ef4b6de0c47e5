package knowledge

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"lightoff/engine/bayes"
)

// The numbers that settled cases may change are the strengths of noisy links, what happens otherwise, and the figures
// per 1,000. Rules, readings, dangers, limits and gates are none of them. They are kept beside the model files, in a
// section that replaces what the files say:
//
//	learnt_from: 0123456789ab
//	learned:
//	  - {of: bubbles, from: soft_line_air, state: "yes", to: {none: 0.2, few: 0.3, many: 0.5}}
//	  - {of: bubbles, to: {none: 0.95, few: 0.04, many: 0.01}}
//	  - {cause: soft_line_air, per_1000: 61}

// Numbers are the model's present ones, in the order of the files.
func (m *Model) Numbers() Numbers {
	n := Numbers{Rates: map[string]float64{}}
	for _, c := range m.Causes {
		n.Rates[c.ID] = c.PerThousand
	}
	m.eachRow(func(v *variable, l *link, state string, _ *bayes.NoisyCounts, _, _ int) {
		r := Row{Of: v.id, State: state}
		if l == nil {
			r.P = slices.Clone(m.files.leakOf(v))
		} else {
			r.From, r.P = l.parent, completed(l.rows[state], v.states)
		}
		n.Rows = append(n.Rows, r)
	}, nil)
	return n
}

// eachRow visits the rows that can be learnt, with where their counts lie: in a link and a parent state, or, with link
// −1, in the leak.
func (m *Model) eachRow(visit func(v *variable, l *link, state string, c *bayes.NoisyCounts, at, parentState int),
	counts *bayes.Counts) {
	for _, v := range m.files.variables {
		if len(v.worst) == 0 {
			continue
		}
		var c *bayes.NoisyCounts
		if counts != nil {
			if c = counts.Noisy[m.varOf(v.id)]; c == nil {
				continue
			}
		}
		first := 0
		if m.byID[v.id].kind == refCause {
			first = 1 // what it is of itself
		} else {
			visit(v, nil, "", c, -1, 0)
		}
		for i := range v.worst {
			l := &v.worst[i]
			for k, state := range m.variables[l.parent].states {
				if _, told := l.rows[state]; told {
					visit(v, l, state, c, first+i, k)
				}
			}
		}
	}
}

// RowCounts picks the counts of Numbers().Rows, in their order, out of those of the network.
func (m *Model) RowCounts(counts *bayes.Counts) (out [][]float64) {
	m.eachRow(func(_ *variable, _ *link, _ string, c *bayes.NoisyCounts, at, parentState int) {
		if at < 0 {
			out = append(out, c.Leak)
		} else {
			out = append(out, c.Links[at][parentState])
		}
	}, counts)
	return out
}

// NewCounts gives zero counts for what can be learnt and none for the rest.
func (m *Model) NewCounts() *bayes.Counts {
	counts := m.network.NewCounts()
	clear(counts.Tables)
	for v := range counts.Noisy {
		name := m.network.Variable(bayes.VarID(v)).Name
		if own := m.variables[name]; own == nil || len(own.worst) == 0 {
			counts.Noisy[v] = nil
		}
	}
	return counts
}

// leakOf is what happens otherwise, people's slips included.
func (f *files) leakOf(v *variable) []float64 {
	switch {
	case v.learnt != nil:
		return v.learnt
	case f.isObservation(v.id):
		return slipped(v.leak, v.slips)
	}
	return v.leak
}

// Confirmed says that a cause was found, and how surely: the probability that it is so.
type Confirmed struct {
	Cause int // by its index in the model's order
	Sure  float64
}

// Count adds the expected counts of a settled case: what was found, and what it turned out to be. A cause that it did
// not turn out to be is as surely absent as the others are surely there, the computed one too. Only what bears
// on the findings is counted. The counts are those of NewCounts. Use the inquiry for nothing but counting.
func (in *Inquiry) Count(findings []Finding, turnedOut []Confirmed, counts *bayes.Counts) error {
	before := in.at
	in.Enter(findings)
	if in.taught == nil {
		in.taught = make([][2]float64, len(in.m.Causes))
	}
	least := 1.0
	for _, c := range turnedOut {
		least = min(least, c.Sure)
	}
	for i, v := range in.m.causeVar {
		l := [2]float64{1, 1 - least}
		for _, c := range turnedOut {
			if c.Cause == i {
				l = [2]float64{1 - c.Sure, c.Sure}
			}
		}
		if in.m.rootOf[i] == v {
			ratio := priorRatio(in.at.rate[i], in.base[i])
			l[0], l[1] = l[0]*ratio[0], l[1]*ratio[1]
		}
		if l != in.taught[i] || before == nil || before.rate[i] != in.at.rate[i] {
			in.taught[i] = l
			in.now.q.SetLikelihood(v, l[:])
		}
	}
	wanted := in.ancestry()
	return in.now.q.AddCountsOf(counts, 1, func(v bayes.VarID) bool { return wanted[v] && counts.Noisy[v] != nil })
}

// ancestry lists what was found and all that it can hang on.
func (in *Inquiry) ancestry() map[bayes.VarID]bool {
	out := map[bayes.VarID]bool{}
	var reach func(v bayes.VarID)
	reach = func(v bayes.VarID) {
		if !out[v] {
			out[v] = true
			for _, p := range in.m.network.Parents(v) {
				reach(p)
			}
		}
	}
	for _, e := range in.entered {
		if e.group < 0 {
			reach(e.variable)
			continue
		}
		for _, v := range in.m.groups[e.group].scope {
			reach(v)
		}
	}
	return out
}

// WithNumbers is the model with other numbers. Without Rates the base rates stay as they were fitted, as between rounds
// of learning, and a complaint alone need not give the stated figures; else they are fitted anew. Without a figure for
// the computed cause it becomes what the others leave. Rows that the model does not have are an error, and so are
// figures that the links cannot bring about.
func (m *Model) WithNumbers(n Numbers) (*Model, error) {
	next := *m
	f := *m.files
	f.errs, f.model, f.silence = &Error{}, &next, newSituation(nil, memo{})
	next.files, next.Causes = &f, slices.Clone(m.Causes)
	next.variables = map[string]*variable{}
	f.variables = nil
	for _, v := range m.files.variables {
		w := *v
		w.worst = slices.Clone(v.worst)
		for i := range w.worst {
			w.worst[i].rows = maps.Clone(w.worst[i].rows)
		}
		f.variables = append(f.variables, &w)
		next.variables[w.id] = &w
	}
	for _, r := range n.Rows {
		f.replace(r, node{file: ".", errs: f.errs})
	}
	for i := range next.Causes {
		if rate, ok := n.Rates[next.Causes[i].ID]; ok {
			next.Causes[i].PerThousand = rate
		}
	}
	if err := f.errs.orNil(); err != nil {
		return nil, err
	}
	next.Version = m.Version + "+"
	if n.Rates == nil {
		next.rate = slices.Clone(m.rate)
		if err := f.build(); err != nil {
			return nil, f.asError(err)
		}
		return &next, nil
	}
	for _, c := range m.Causes {
		if _, told := n.Rates[c.ID]; c.Computed && !told {
			f.anyway = m.anywayRate
		}
	}
	if err := f.compile(); err != nil {
		return nil, f.asError(err)
	}
	return &next, nil
}

// LeastOverlooked is the smallest probability of its first state that a link to an observation may have.
func (m *Model) LeastOverlooked(of string) float64 {
	if m.files.isObservation(of) {
		return leastOverlooked
	}
	return 0
}

// Overlay writes numbers as a section of a model file: those that differ from the model's, in its order, and which
// model that is.
func (m *Model) Overlay(n Numbers) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "learnt_from: %s\nlearned:\n", m.Version)
	now := map[string][]float64{}
	for _, r := range m.Numbers().Rows {
		now[r.Name()] = r.P
	}
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	for _, r := range n.Rows {
		if slices.Equal(now[r.Name()], r.P) {
			continue
		}
		from := ""
		if r.From != "" {
			from = fmt.Sprintf(", from: %s, state: %q", r.From, r.State)
		}
		var to []string
		for k, s := range m.Outcomes(r.Of) {
			if r.P[k] > 0 {
				to = append(to, fmt.Sprintf("%q: %s", s, number(r.P[k])))
			}
		}
		fmt.Fprintf(&b, "  - {of: %s%s, to: {%s}}\n", r.Of, from, strings.Join(to, ", "))
	}
	for _, c := range m.Causes {
		if rate, ok := n.Rates[c.ID]; ok && rate != c.PerThousand {
			fmt.Fprintf(&b, "  - {cause: %s, per_1000: %s}\n", c.ID, number(rate))
		}
	}
	return []byte(b.String())
}
