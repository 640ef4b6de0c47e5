package knowledge

import (
	"fmt"
	"maps"
	"math"
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

// Row is one distribution: what From in State brings about of Of by itself, or, without From, what happens otherwise.
type Row struct {
	Of, From, State string
	P               []float64 // over Model.Outcomes(Of); what people's slips add is part of it
}

// Name names a row.
func (r Row) Name() string { return strings.Trim(r.Of+" < "+r.From+" "+r.State, " <") }

// Numbers are what can be learnt.
type Numbers struct {
	Rows  []Row
	Rates map[string]float64 // by cause: per 1,000
}

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
	next.compiled.variables = map[string]*variable{}
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

// replace puts a row in the place of what the files say.
func (f *files) replace(r Row, at node) {
	v := f.model.variables[r.Of]
	switch {
	case v == nil || len(v.worst) == 0:
		at.errorf("%s has no links that could be learnt", r.Of)
	case len(r.P) != len(v.states):
		at.errorf("%s has the states %s", r.Of, strings.Join(v.states, ", "))
	case r.From == "" && f.model.byID[v.id].kind == refCause:
		at.errorf("%s: what happens otherwise is its figure per 1,000", r.Of)
	case r.From == "":
		v.learnt = r.P
	default:
		i := slices.IndexFunc(v.worst, func(l link) bool { return l.parent == r.From })
		if i < 0 || v.worst[i].rows[r.State] == nil {
			at.errorf("%s does not bring about %s in state %q", r.From, r.Of, r.State)
			return
		}
		row := map[string]float64{}
		for k, s := range v.states {
			row[s] = r.P[k]
		}
		v.worst[i].rows[r.State] = row
	}
}

// learntEntry is one entry of what was learnt; it is put in place when all files are read.
type learntEntry struct {
	at    node
	row   Row
	to    map[string]float64
	cause string
	rate  float64
}

func (f *files) learnedEntry(n node) {
	m := n.fields("of", "from", "state", "to", "cause", "per_1000")
	e := learntEntry{at: n, row: Row{Of: m["of"].text(), From: m["from"].text(), State: m["state"].text()},
		cause: m["cause"].text()}
	if e.cause != "" {
		e.rate = m["per_1000"].number()
		if !(e.rate > 0 && e.rate < 1000) {
			n.errorf("%s: per_1000 must lie between 0 and 1000", e.cause)
		}
	} else {
		e.to = map[string]float64{}
		for _, p := range m["to"].pairs() {
			e.to[p.id] = p.val.strength()
		}
	}
	f.learned = append(f.learned, e)
}

// applyLearned replaces what the files say by what was learnt.
func (f *files) applyLearned() {
	for _, e := range f.learned {
		if e.cause != "" {
			if c, ok := f.model.Cause(e.cause); ok {
				c.PerThousand = e.rate
			} else {
				e.at.errorf("%s is no cause", e.cause)
			}
			continue
		}
		if len(f.model.Outcomes(e.row.Of)) == 0 {
			e.at.errorf("%s: the model has nothing of that name", e.row.Name())
			continue
		}
		total := 0.0
		for _, s := range f.model.Outcomes(e.row.Of) {
			e.row.P = append(e.row.P, e.to[s])
			total += e.to[s]
		}
		if len(e.to) > len(e.row.P) || math.Abs(total-1) > 1e-9 {
			e.at.errorf("%s: the distribution must be over %s and sum to 1", e.row.Name(),
				strings.Join(f.model.Outcomes(e.row.Of), ", "))
			continue
		}
		if f.isObservation(e.row.Of) && e.row.From != "" && e.row.P[0] < leastOverlooked {
			e.at.errorf("%s: sure to be noticed; leave at least %g, for people overlook things", e.row.Name(), leastOverlooked)
		}
		f.replace(e.row, e.at)
	}
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
