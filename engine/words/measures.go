package words

import (
	"math"
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

// figure is a number in the text that may be a reading.
type figure struct {
	at, to int // tokens of the number and its unit
	value  float64
	odd    bool
	units  []string
	own    map[string]bool // places told of it
	near   map[string]bool // and of the figure before it in the same sentence
}

// How far from a number the words may stand that tell what it was measured on.
const (
	placeReach = 11.0
	markExtra  = 1.5 // beyond a mark or a joining word they rather belong to another number
	behind     = 0.3 // what stands before a number is a little nearer than what stands behind it

	numberThenPlace = 1.2 // the same where a sentence keeps to one order
)

// measures finds readings: a number is one where its unit, or the words beside it, leave one observation that it can
// be. A number in a unit that readings have, whose place was not told, is offered as those.
func (p *page) measures(asked string) []mention {
	figures := p.figures()
	p.places(figures)
	p.counted = figures
	var out []mention
	for _, f := range figures {
		out = append(out, p.reading(f, asked, len(figures) == 1)...)
	}
	return out
}

// figures lists the numbers that nothing else has used up, with their units.
func (p *page) figures() []figure {
	var out []figure
	for i := range p.tokens {
		t := &p.tokens[i]
		switch {
		case p.taken[i] && !p.lasts(i), len(out) > 0 && i < out[len(out)-1].to:
		case t.number && (!t.odd || t.digits):
			f := figure{at: i, to: i + 1, value: t.value, odd: t.odd}
			p.unitBehind(&f)
			p.unitBefore(&f)
			p.spread(&f, &out)
			if len(f.units) > 0 {
				p.more(&f)
			}
			out = append(out, f)
		case p.lang.articles[t.text]: // an hour
			f := figure{at: i, to: i + 1, value: 1}
			if p.unitBehind(&f); len(f.units) > 0 && f.to-f.at == 2 && len(p.tokens[f.to-1].text) >= 3 {
				p.orTwo(&f)
				p.more(&f)
				out = append(out, f)
			}
		}
	}
	return out
}

// lasts reports whether a time begins at a token. Words such as "after an hour" say when, and the number says how long
// as well.
func (p *page) lasts(i int) bool {
	t := &p.tokens[i]
	if !t.number && !p.lang.articles[t.text] || slices.ContainsFunc(p.coded,
		func(h hit) bool { return h.from <= i && i < h.to }) {
		return false
	}
	f := figure{at: i, to: i + 1}
	p.unitBehind(&f)
	return slices.ContainsFunc(f.units, func(u string) bool { return p.reader.spread[u] })
}

// unitBehind finds the unit behind a number, over an article: half an hour.
func (p *page) unitBehind(f *figure) {
	for from := f.to; from <= f.to+2 && from < len(p.tokens); from++ {
		to := 0
		for _, h := range p.begin(from, from+1) {
			if h.role != unit || h.to < to || len(p.clauseOf) > 0 && p.clauseOf[h.from] != p.clauseOf[f.at] {
				continue
			}
			if h.to > to {
				to, f.units = h.to, nil
			}
			if !slices.Contains(f.units, h.name) {
				f.units = append(f.units, h.name)
			}
		}
		if to > 0 {
			f.to = to
			return
		}
		if !p.lang.articles[p.tokens[from].text] && !p.lang.of[p.tokens[from].text] {
			return
		}
	}
}

// unitBefore finds a unit that stands before its number: AWG 14.
func (p *page) unitBefore(f *figure) {
	if len(f.units) > 0 || f.at == 0 {
		return
	}
	for _, h := range p.begin(f.at-1, f.at) {
		if h.role == unit && h.to == f.at && len(p.tokens[h.from].text) >= 3 {
			f.units = append(f.units, h.name)
		}
	}
}

// spread makes one number of two that bound it: five to ten minutes. Those of a meter stay two, for neither was read.
func (p *page) spread(f *figure, before *[]figure) {
	n := len(*before)
	if n == 0 || len(f.units) == 0 || !slices.ContainsFunc(f.units, func(u string) bool { return p.reader.spread[u] }) {
		return
	}
	last := (*before)[n-1]
	between := f.at - last.to
	joined := between == 1 && p.lang.ranges[p.tokens[last.to].text] || between == 0 && p.tokens[f.at].from > 0 &&
		p.text[p.tokens[f.at].from-1] == '-'
	if f.value < 0 && between == 0 {
		f.value, joined = -f.value, true
	}
	if len(last.units) == 0 && joined && last.value < f.value {
		f.value, f.at = (last.value+f.value)/2, last.at
		*before = (*before)[:n-1]
	}
}

// more reads what follows a unit and belongs to the number: a minute and a half, an hour twenty.
func (p *page) more(f *figure) {
	is := func(i int, set map[string]bool) bool { return i < len(p.tokens) && set[p.tokens[i].text] }
	number := func(i int) (float64, bool) {
		if i >= len(p.tokens) || !p.tokens[i].number || p.tokens[i].odd {
			return 0, false
		}
		return p.tokens[i].value, true
	}
	at := f.to
	if is(at, p.lang.joins) {
		at++
		if is(at, p.lang.articles) {
			at++
		}
		if v, ok := number(at); ok && v > 0 && v < 1 {
			f.value, f.to = f.value+v, at+1
		}
		return
	}
	if v, ok := number(at); ok && slices.Contains(f.units, "hour") && v >= 1 && v < 60 && p.tokens[at].digits {
		f.value, f.to = f.value+v/60, at+1
		for _, h := range p.begin(f.to, f.to+1) {
			if h.role == unit && h.name == "minute" {
				f.to = h.to
				break
			}
		}
	}
}

// orTwo reads "a minute or two".
func (p *page) orTwo(f *figure) {
	if f.to+1 < len(p.tokens) && p.lang.or[p.tokens[f.to].text] && p.tokens[f.to+1].number &&
		p.tokens[f.to+1].value == 2 {
		f.value, f.to = 1.5, f.to+2
	}
}

// places gives each figure the names of what is told beside it. A name told once belongs to the figure nearest to it.
func (p *page) places(figures []figure) {
	counted := map[int]bool{} // sentences with numbers in them
	for i := range figures {
		figures[i].own, figures[i].near = map[string]bool{}, map[string]bool{}
		counted[p.clauses[p.clauseOf[figures[i].at]].sentence] = true
	}
	first := p.numberFirst(figures)
	for _, h := range slices.Concat(p.hits, p.coded) {
		if h.role != place && h.role != speaks {
			continue
		}
		if longer, _ := p.within(h); longer != nil && h.role == speaks {
			continue
		}
		best, least := -1, placeReach
		for i := range figures {
			f := &figures[i]
			if h.from <= f.at && f.at < h.to { // the phrase takes in the number
				best = i
				break
			}
			in, its := p.clauses[p.clauseOf[h.from]].sentence, p.clauses[p.clauseOf[f.at]].sentence
			if in != its && counted[in] {
				continue // it speaks of a number of its own sentence
			}
			if d := p.away(h, f, first); d < least {
				best, least = i, d
			}
		}
		if best >= 0 {
			figures[best].own[h.name] = true
		}
	}
	for i := range figures { // a code is of the whole sentence, and of the one beside it
		its := p.clauses[p.clauseOf[figures[i].at]].sentence
		for _, h := range p.coded {
			if d := p.clauses[p.clauseOf[h.from]].sentence - its; d >= -1 && d <= 1 {
				figures[i].near[h.name] = true
			}
		}
	}
	for i := 1; i < len(figures); i++ {
		if p.clauses[p.clauseOf[figures[i].at]].sentence == p.clauses[p.clauseOf[figures[i-1].at]].sentence {
			for name := range figures[i-1].own {
				figures[i].near[name] = true
			}
			for name := range figures[i-1].near {
				figures[i].near[name] = true
			}
		}
	}
}

// numberFirst gives for each sentence how much farther what stands behind a number is than what stands before it. It
// is less than none where numbers come first: 12.6 rest 10.4 glow.
func (p *page) numberFirst(figures []figure) map[int]float64 {
	out := map[int]float64{}
	seen := map[int]bool{}
	for _, f := range figures {
		s := p.clauses[p.clauseOf[f.at]].sentence
		if seen[s] {
			continue
		}
		seen[s] = true
		before := slices.ContainsFunc(p.hits, func(h hit) bool {
			return h.role == place && h.to <= f.at && p.gap(h.to, f.at) <= 1 && p.clauses[p.clauseOf[h.from]].sentence == s
		})
		after := slices.ContainsFunc(p.begin(f.to, f.to+2), func(h hit) bool { return h.role == place })
		switch {
		case after && !before:
			out[s] = -numberThenPlace
		case before && !after:
			out[s] = numberThenPlace
		default:
			out[s] = behind
		}
	}
	return out
}

// away is how far a phrase stands from a figure.
func (p *page) away(h hit, f *figure, numberFirst map[int]float64) float64 {
	from, to, d := h.to, f.at, 0.0
	extra := numberFirst[p.clauses[p.clauseOf[f.at]].sentence]
	if h.from >= f.to {
		from, to, d = f.to, h.from, max(extra, 0)
	} else {
		d = max(-extra, 0)
	}
	if from < to {
		d += p.costs[to] - p.costs[from] + markExtra*float64(p.cuts[to]-p.cuts[from])
	}
	return d
}

// reading decides which observation a figure is a reading of.
func (p *page) reading(f figure, asked string, alone bool) []mention {
	m := mention{from: f.at, to: f.to, on: span(f.at, f.to)}
	best, tied := p.choose(f, f.own)
	if best == nil {
		both := map[string]bool{}
		for name := range f.own {
			both[name] = true
		}
		for name := range f.near {
			both[name] = true
		}
		best, tied = p.choose(f, both)
	}
	if told, ok := p.askedBand(asked, f); ok {
		m.reading = told
		return []mention{m}
	}
	switch {
	case best == nil && alone && p.asksFor(asked, f):
		if best = p.measureOf(asked, f); best == nil {
			best = &knowledge.Measure{ID: asked, Scale: 1}
		}
	case best == nil:
		return p.guess(f, m)
	}
	m.reading = value(*best, f.value)
	m.unsure = f.odd || tied || best.Offer || !p.possible(m.reading)
	if m.unsure {
		for _, x := range p.candidates(f) {
			if r := value(*x, f.value); r.ID != m.reading.ID && !f.odd {
				m.others = append(m.others, r)
			}
		}
		if f.odd {
			m.reading = Reading{}
		}
	} else if also, ok := band(best.AlsoIn, f.value*best.Scale+best.Offset); ok && best.Also != "" {
		m.others = append(m.others, Reading{ID: best.Also, State: also})
	}
	return []mention{m}
}

// askedBand reads a figure as the answer to an open question whose states are bands of numbers: how often, or when.
func (p *page) askedBand(asked string, f figure) (Reading, bool) {
	for i := range p.reader.model.Measures {
		x := &p.reader.model.Measures[i]
		fits := slices.Contains(f.units, x.Unit)
		if x.Also == asked && fits {
			if s, ok := band(x.AlsoIn, f.value*x.Scale+x.Offset); ok {
				return Reading{ID: asked, State: s}, true
			}
		}
		if x.ID == asked && len(x.Bands) > 0 && (fits || len(f.units) == 0 && f.at <= 2) {
			if s, ok := band(x.Bands, f.value); ok {
				return Reading{ID: asked, State: s}, true
			}
		}
	}
	return Reading{}, false
}

// choose finds the measure with the most places told among those that fit. Two different ones that fit alike are a
// tie.
func (p *page) choose(f figure, places map[string]bool) (best *knowledge.Measure, tied bool) {
	for i := range p.reader.model.Measures {
		x := &p.reader.model.Measures[i]
		if !p.fits(x, f) || slices.ContainsFunc(x.At, func(a string) bool { return !places[a] }) ||
			slices.ContainsFunc(x.Unless, func(a string) bool { return places[a] }) {
			continue
		}
		switch {
		case best == nil || len(x.At) > len(best.At) || len(x.At) == len(best.At) && best.Offer && !x.Offer:
			best, tied = x, false
		case len(x.At) == len(best.At) && x.ID != best.ID && x.Offer == best.Offer:
			tied = true
		}
	}
	return best, tied
}

// fits reports whether the figure can be the measure's by its unit, or its lack of one, and its size.
func (p *page) fits(x *knowledge.Measure, f figure) bool {
	if x.Min < x.Max && (f.value < x.Min || f.value > x.Max) {
		return false
	}
	if len(f.units) > 0 {
		return slices.Contains(f.units, x.Unit)
	}
	return x.Bare && p.plain(f)
}

// plain reports whether a number without a unit looks like a reading: with decimals or below zero, or of two digits and
// beside its place.
func (p *page) plain(f figure) bool {
	t := p.tokens[f.at]
	if t.decimal || f.value < 0 {
		return true
	}
	if !t.digits || f.value < 9 || f.value > 31 {
		return false
	}
	in := p.clauses[p.clauseOf[f.at]]
	return slices.ContainsFunc(p.begin(in.from, in.to), func(h hit) bool {
		return h.role == place && (h.to <= f.at && p.gap(h.to, f.at) == 0 || h.from > f.at && p.gap(f.at+1, h.from) == 0)
	})
}

// candidates are the measures that ask back and that the figure can be of, those first of which most is told.
func (p *page) candidates(f figure) []*knowledge.Measure {
	var out []*knowledge.Measure
	told := func(x *knowledge.Measure) int {
		n := 0
		for _, a := range x.At {
			if f.own[a] || f.near[a] {
				n++
			}
		}
		for _, a := range x.Unless {
			if f.own[a] {
				n--
			}
		}
		return n
	}
	for i := range p.reader.model.Measures {
		x := &p.reader.model.Measures[i]
		if !x.Asks || !p.fits(x, f) || !p.possible(value(*x, f.value)) {
			continue
		}
		switch k := slices.IndexFunc(out, func(o *knowledge.Measure) bool { return o.ID == x.ID }); {
		case k < 0:
			out = append(out, x)
		case told(x) > told(out[k]):
			out[k] = x
		}
	}
	slices.SortStableFunc(out, func(a, b *knowledge.Measure) int { return told(b) - told(a) })
	return out
}

// maxOffered is how many things a number is offered as.
const maxOffered = 5

// guess offers a figure as what it may be a reading of. One without a unit is worth asking only where a place is told.
func (p *page) guess(f figure, m mention) []mention {
	found := p.candidates(f)
	if len(f.units) == 0 {
		found = slices.DeleteFunc(found, func(x *knowledge.Measure) bool {
			return !slices.ContainsFunc(x.At, func(a string) bool { return f.own[a] || f.near[a] })
		})
	}
	if len(found) == 0 {
		return nil
	}
	m.unsure = true
	if f.odd {
		return []mention{m}
	}
	for i, x := range found[:min(len(found), maxOffered)] {
		if r := value(*x, f.value); i == 0 {
			m.reading = r
		} else {
			m.others = append(m.others, r)
		}
	}
	return []mention{m}
}

// asksFor reports whether the figure can answer the open question: by its unit, or without one.
func (p *page) asksFor(asked string, f figure) bool {
	_, unit := p.reader.states(asked)
	if unit == "" {
		return false
	}
	if len(f.units) == 0 {
		return f.to >= len(p.tokens) || p.tokens[f.to].mark || p.filler(f.to) || p.lang.joins[p.tokens[f.to].text]
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

// band is the state that a number stands for; a band without a state stands for none.
func band(bands []knowledge.MeasureBand, v float64) (state string, ok bool) {
	for i, b := range bands {
		if v < b.Below || i == len(bands)-1 {
			return b.State, b.State != ""
		}
	}
	return "", false
}

// value turns a number in the text's unit into a reading.
func value(x knowledge.Measure, v float64) Reading {
	if s, ok := band(x.Bands, v); ok {
		return Reading{ID: x.ID, State: s}
	}
	if x.Scale != 1 || x.Offset != 0 {
		v = math.Round((v*x.Scale+x.Offset)*1000) / 1000 // converted, so not more exact than it was told
	}
	return Reading{ID: x.ID, Number: v, IsNumber: true}
}

// possible reports whether the model allows the reading.
func (p *page) possible(r Reading) bool {
	if r.Unknown {
		return true
	}
	field, _ := p.reader.model.Check(knowledge.Finding{ID: r.ID, State: r.State, Number: r.Number,
		IsNumber: r.IsNumber}, "")
	return field == ""
}

// toMark goes from a token towards one side up to the next mark.
func (p *page) toMark(i, step int) int {
	for i >= 0 && i < len(p.tokens) && !p.tokens[i].mark {
		i += step
	}
	return i
}
