package words

import (
	"math"
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

// figure is a number in the text that may be a reading.
type figure struct {
	at, to   int // tokens of the number and its unit
	units    []string
	from, up int // the stretch of tokens that says where it was read
}

// measures finds readings: a number is one where its unit, or the words beside it, leave one observation that it can be.
// A number in a unit that readings have, whose place was not told, is asked back.
func (p *page) measures(asked string) []mention {
	figures := p.figures()
	for i := range figures {
		p.stretch(figures, i)
	}
	var out []mention
	for _, f := range figures {
		if m, ok := p.reading(f, asked, len(figures) == 1); ok {
			out = append(out, m)
		}
	}
	return out
}

func (p *page) figures() []figure {
	var out []figure
	for i, t := range p.tokens {
		if !t.number || t.odd && !t.digits || p.digitsTaken(i) {
			continue
		}
		f := figure{at: i, to: i + 1}
		for _, h := range p.begin(i+1, i+2) {
			if h.role != unit || h.to < f.to || p.clauseOf[h.from] != p.clauseOf[i] {
				continue
			}
			if h.to > f.to {
				f.to, f.units = h.to, nil
			}
			f.units = append(f.units, h.name)
		}
		out = append(out, f)
	}
	return out
}

// digitsTaken tells whether a number is used up by a code or by a saying that names it.
func (p *page) digitsTaken(i int) bool {
	if !p.taken[i] {
		return false
	}
	for _, m := range p.mentions {
		if m.from <= i && i < m.to && m.saying != nil {
			return slices.ContainsFunc(m.saying.Pattern.Words(), func(w string) bool { return w[0] >= '0' && w[0] <= '9' })
		}
	}
	return true
}

// stretch finds the words that say where the i-th figure was read: up to the comma or the next figure.
func (p *page) stretch(figures []figure, i int) {
	f := &figures[i]
	f.from, f.up = p.edge(f.at, -1), p.edge(f.to-1, 1)
	if i > 0 && figures[i-1].to > f.from {
		f.from = max(figures[i-1].up, figures[i-1].to)
	}
	if i+1 < len(figures) && figures[i+1].at < f.up {
		f.up = p.split(*f, figures[i+1])
	}
}

// edge goes from a token towards one side as far as the clause mark; beyond a comma only over a stretch that says
// nothing but where a number was read: "12.6 V, heater off".
func (p *page) edge(at, step int) int {
	i := p.toMark(at+step, step)
	if next := i + step; i >= 0 && i < len(p.tokens) && p.tokens[i].text == "," {
		if end := p.toMark(next, step); p.onlyPlace(min(next, end+1), max(next+1, end)) {
			i = end
		}
	}
	if step < 0 {
		return i + 1
	}
	return i
}

func (p *page) toMark(i, step int) int {
	for i >= 0 && i < len(p.tokens) && !p.tokens[i].mark {
		i += step
	}
	return i
}

// onlyPlace tells whether phrases of place and fillers cover a stretch.
func (p *page) onlyPlace(from, to int) bool {
	if from < 0 || from >= to || to > len(p.tokens) {
		return false
	}
	covered := make([]bool, to-from)
	for _, h := range p.begin(from, to) {
		for i := h.from; i < h.to && h.role == place && h.to <= to; i++ {
			covered[i-from] = true
		}
	}
	any := slices.Contains(covered, true)
	for i := range covered {
		any = any && (covered[i] || p.filler(from+i) || p.lang.joins[p.tokens[from+i].text])
	}
	return any
}

// split decides where the words between two figures part: at the first word or mark that begins a new thought; without
// one they belong to the figure before, unless its own words stand before it.
func (p *page) split(a, b figure) int {
	for i := a.to; i < b.at; i++ {
		if p.tokens[i].mark || p.lang.joins[p.tokens[i].text] {
			return i
		}
	}
	if len(p.placesIn(a.from, a.at)) > 0 {
		return a.to
	}
	return b.at
}

// placesIn lists the places told in a stretch. A phrase that holds a number may reach beyond it.
func (p *page) placesIn(from, to int) map[string]bool {
	out := map[string]bool{}
	for _, h := range p.begin(from, to) {
		if h.role == place && (h.to <= to || p.holdsNumber(h)) {
			out[h.name] = true
		}
	}
	return out
}

func (p *page) holdsNumber(h hit) bool {
	return slices.Contains(h.phrase.Words(), "#")
}

// reading decides which observation a figure is a reading of.
func (p *page) reading(f figure, asked string, alone bool) (mention, bool) {
	m := mention{from: f.at, to: f.to}
	t := p.tokens[f.at]
	places := p.placesIn(f.from, f.up)
	best, tied := p.choose(f, places)
	switch {
	case best == nil && alone && len(places) == 0 && p.asksFor(asked, f):
		best = p.measureOf(asked, f)
		if best == nil {
			best = &knowledge.Measure{ID: asked, Scale: 1}
		}
	case best == nil:
		m.unsure = true
		return m, p.looksRead(f, places)
	}
	m.reading = value(*best, t.value)
	m.unsure = t.odd || tied || !p.possible(m.reading)
	return m, true
}

// choose finds the measure with the most places told among those that fit. Two different ones that fit alike are a tie.
func (p *page) choose(f figure, places map[string]bool) (best *knowledge.Measure, tied bool) {
	t := p.tokens[f.at]
	for i := range p.reader.model.Measures {
		x := &p.reader.model.Measures[i]
		if !p.fits(x, f) || x.Min < x.Max && (t.value < x.Min || t.value > x.Max) {
			continue
		}
		if slices.ContainsFunc(x.At, func(a string) bool { return !places[a] }) || slices.ContainsFunc(x.Unless, func(a string) bool { return places[a] }) {
			continue
		}
		switch {
		case best == nil || len(x.At) > len(best.At):
			best, tied = x, false
		case len(x.At) == len(best.At) && x.ID != best.ID:
			tied = true
		}
	}
	return best, tied
}

// fits tells whether the figure's unit, or its lack of one, is the measure's.
func (p *page) fits(x *knowledge.Measure, f figure) bool {
	if len(f.units) > 0 {
		return slices.Contains(f.units, x.Unit)
	}
	return x.Bare && p.plain(f.at)
}

// plain tells whether a number without a unit looks like a reading: with decimals or below zero, or of two digits and
// beside its place.
func (p *page) plain(at int) bool {
	t := p.tokens[at]
	if t.decimal || t.value < 0 {
		return true
	}
	if !t.digits || t.value < 9 || t.value > 31 {
		return false
	}
	in := p.clauses[p.clauseOf[at]]
	return slices.ContainsFunc(p.begin(in.from, in.to), func(h hit) bool {
		return h.role == place && (h.to <= at && p.gap(h.to, at) == 0 || h.from > at && p.gap(at+1, h.from) == 0)
	})
}

// looksRead tells whether a figure that fits nothing is worth asking back.
func (p *page) looksRead(f figure, places map[string]bool) bool {
	return slices.ContainsFunc(p.reader.model.Measures, func(x knowledge.Measure) bool {
		if !x.Asks || !p.fits(&x, f) {
			return false
		}
		return len(f.units) > 0 || slices.ContainsFunc(x.At, func(a string) bool { return places[a] })
	})
}

// asksFor tells whether the figure can answer the open question: by its unit, or without one.
func (p *page) asksFor(asked string, f figure) bool {
	_, unit := p.reader.states(asked)
	if unit == "" {
		return false
	}
	if len(f.units) == 0 {
		return f.to >= len(p.tokens) || p.tokens[f.to].mark || p.filler(f.to)
	}
	return p.measureOf(asked, f) != nil || strings.EqualFold(unit, p.text[p.tokens[f.to-1].from:p.tokens[f.to-1].to])
}

func (p *page) measureOf(id string, f figure) *knowledge.Measure {
	for i := range p.reader.model.Measures {
		if x := &p.reader.model.Measures[i]; x.ID == id && len(x.Bands) == 0 && slices.Contains(f.units, x.Unit) {
			return x
		}
	}
	return nil
}

// value turns a number in the text's unit into a reading.
func value(x knowledge.Measure, v float64) Reading {
	for i, b := range x.Bands {
		if v < b.Below || i == len(x.Bands)-1 {
			return Reading{ID: x.ID, State: b.State}
		}
	}
	if x.Scale != 1 || x.Offset != 0 {
		v = math.Round((v*x.Scale+x.Offset)*1000) / 1000 // converted, so not more exact than it was told
	}
	return Reading{ID: x.ID, Number: v, IsNumber: true}
}

// possible tells whether the model allows the reading.
func (p *page) possible(r Reading) bool {
	field, _ := p.reader.model.Check(knowledge.Finding{ID: r.ID, State: r.State, Number: r.Number, IsNumber: r.IsNumber}, "")
	return field == ""
}
