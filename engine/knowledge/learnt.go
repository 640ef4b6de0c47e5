package knowledge

import (
	"math"
	"slices"
	"strings"
)

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
