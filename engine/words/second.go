package words

import (
	"cmp"
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

// From which log odds on the second reader says something, in its unit. They come from sentences that it had not
// learnt from.
const (
	offersFrom     = int32(-12 * unitsOfOne / 10)
	alsoFrom       = int32(-22 * unitsOfOne / 10) // beside what is offered already
	dangersFrom    = int32(-24 * unitsOfOne / 10) // what may be a danger is rather asked once too often
	fearsFrom      = int32(-15 * unitsOfOne / 10) // a danger told in some way, whatever it is
	contestsFrom   = int32(-15 * unitsOfOne / 10) // a state that the rules did not read
	contestsBy     = int32(20 * unitsOfOne / 10)  // as much likelier than the one they did read
	figuresFrom    = int32(-25 * unitsOfOne / 10) // a number is one of few things
	sureFrom       = int32(0 * unitsOfOne / 10)   // what the rules find too is believed
	verySure       = int32(20 * unitsOfOne / 10)  // the same, though the rules found it doubtful
	believedFrom   = int32(10 * unitsOfOne / 10)  // what the rules know in part is believed
	sureBy         = int32(25 * unitsOfOne / 10)  // as much less likely everything else must be
	askedGain      = int32(25 * unitsOfOne / 10)  // where a question for it was open
	unlikelyBelow  = int32(-30 * unitsOfOne / 10)
	mostAlternates = 2
)

// hunch is something that the second reader takes to be said.
type hunch struct {
	label   int
	score   int32
	stretch int
}

// second adds what the second reader takes to be said to what was read by rules: as an offer, or as an alternative
// beside one.
func (p *page) second(found Result, c Context) Result {
	h := p.reader.hunches
	if h == nil {
		return found
	}
	stretches := p.stretches()
	sums := make([]int32, len(h.Labels))
	for i := range p.counted {
		p.weighFigure(&found, &p.counted[i], h, stretches, sums)
	}
	all := p.hunches(h, stretches, sums, c.Asked)
	scores := map[label]int32{}
	for _, of := range all {
		for _, x := range of {
			scores[label{h.Labels[x.label].ID, h.Labels[x.label].State}] = x.score
		}
	}
	p.unlikely(&found, h, scores)
	for _, of := range all {
		if h.Labels[of[0].label].ID == DangerSaid {
			for _, x := range of {
				p.fear(&found, x, h, stretches, scores)
			}
			continue
		}
		p.suggest(&found, of, h, stretches)
	}
	slices.SortStableFunc(found.Readings, func(a, b Reading) int { return cmp.Compare(a.From, b.From) })
	slices.SortStableFunc(found.Offers, func(a, b Offer) int { return cmp.Compare(a.From, b.From) })
	return found
}

// hunches lists, for each observation of which anything is likely said, what that is, likeliest first.
func (p *page) hunches(h *Hunches, stretches []Stretch, sums []int32, asked string) [][]hunch {
	best := make([]hunch, len(h.Labels))
	for k := range best {
		best[k] = hunch{label: k, score: -1 << 30}
	}
	for i, s := range stretches {
		h.weigh(s.Signs, sums)
		for k, v := range sums {
			if v > best[k].score {
				best[k].score, best[k].stretch = v, i
			}
		}
	}
	of := map[string][]hunch{}
	var ids []string
	for k, x := range best {
		id := h.Labels[k].ID
		if id == asked {
			x.score += askedGain
		}
		if x.score < unlikelyBelow {
			continue
		}
		if of[id] == nil {
			ids = append(ids, id)
		}
		of[id] = append(of[id], x)
	}
	var out [][]hunch
	for _, id := range ids {
		slices.SortStableFunc(of[id], func(a, b hunch) int { return cmp.Compare(b.score, a.score) })
		out = append(out, of[id])
	}
	slices.SortStableFunc(out, func(a, b []hunch) int { return cmp.Compare(b[0].score, a[0].score) })
	return out
}

// suggest puts a hunch beside what was read, unless that tells of the same observation.
func (p *page) suggest(found *Result, of []hunch, h *Hunches, stretches []Stretch) {
	id := h.Labels[of[0].label].ID
	about := func(r Reading) bool { return r.ID == id }
	if k := slices.IndexFunc(found.Readings, about); k >= 0 {
		p.contest(found, k, of, h, stretches)
		return
	}
	if of[0].score < min(alsoFrom, dangersFrom) {
		return
	}
	var rs []Reading
	danger := false
	for i, x := range of {
		l := h.Labels[x.label]
		s := stretches[x.stretch]
		r := Reading{ID: id, State: l.State, From: s.From, To: s.To, Words: p.text[s.From:s.To]}
		if l.State == NumberSaid {
			r = p.numberedCode(id, s)
		}
		if r.State == "" || !p.possible(r) || len(rs) > mostAlternates {
			continue
		}
		dangerous := p.reader.dangerous(r)
		if x.score >= offersFrom || x.score >= alsoFrom && i > 0 || dangerous && x.score >= dangersFrom {
			rs = append(rs, r)
			danger = danger || dangerous
		}
	}
	if len(rs) == 0 {
		return
	}
	if k := slices.IndexFunc(found.Offers, func(o Offer) bool { return about(o.Reading) }); k >= 0 {
		o := &found.Offers[k]
		if p.confirms(o, rs[0], of) {
			found.Readings = append(found.Readings, rs[0])
			found.Offers = slices.Delete(found.Offers, k, k+1)
			return
		}
		for _, r := range rs {
			same := func(a Reading) bool { return sameValue(a, r) }
			if !same(o.Reading) && !slices.ContainsFunc(o.Alternatives, same) {
				o.Alternatives = append(o.Alternatives, r)
			}
		}
		o.Danger = o.Danger || danger
		return
	}
	if !danger && p.surely(of, h, stretches[of[0].stretch]) && rs[0].State == h.Labels[of[0].label].State {
		found.Readings = append(found.Readings, rs[0])
		return
	}
	found.Offers = append(found.Offers, Offer{Reading: rs[0], Alternatives: rs[1:], Danger: danger})
	found.Unclear = slices.DeleteFunc(found.Unclear, func(words string) bool {
		return strings.Contains(rs[0].Words, words)
	})
}

// confirms reports whether what the rules offer may be believed: one of it is much likelier than anything else that can
// be said of the observation. What may be a danger is rather asked.
func (p *page) confirms(o *Offer, r Reading, of []hunch) bool {
	top := of[0].score
	if top < sureFrom || o.doubted && top < verySure || len(of) > 1 && top-of[1].score < sureBy ||
		o.Danger || p.reader.soothes(r) && o.doubted {
		return false
	}
	same := func(a Reading) bool { return sameValue(a, r) }
	return same(o.Reading) || slices.ContainsFunc(o.Alternatives, same)
}

// contest makes an offer of what the rules read where another state looks much likelier.
func (p *page) contest(found *Result, k int, of []hunch, h *Hunches, stretches []Stretch) {
	was := found.Readings[k]
	l := h.Labels[of[0].label]
	if was.IsNumber || was.Unknown || was.firm || p.numbered(was) || l.State == NumberSaid ||
		l.State == was.State || of[0].score < contestsFrom {
		return
	}
	for _, x := range of {
		if h.Labels[x.label].State == was.State && of[0].score-x.score < contestsBy {
			return
		}
	}
	if _, learnt := h.at[label{was.ID, was.State}]; !learnt {
		return
	}
	s := stretches[of[0].stretch]
	r := Reading{ID: l.ID, State: l.State, From: s.From, To: s.To, Words: p.text[s.From:s.To]}
	if !p.possible(r) {
		return
	}
	found.Readings = slices.Delete(found.Readings, k, k+1)
	found.Offers = append(found.Offers, Offer{Reading: was, Alternatives: []Reading{r},
		Danger: p.reader.dangerous(was) || p.reader.dangerous(r)})
}

// numbered reports whether a number stands in a reading's words.
func (p *page) numbered(r Reading) bool {
	return slices.ContainsFunc(p.tokens, func(t token) bool { return t.number && t.from >= r.From && t.to <= r.To })
}

// unlikely takes back what the rules would offer and nothing speaks for.
func (p *page) unlikely(found *Result, h *Hunches, scores map[label]int32) {
	found.Offers = slices.DeleteFunc(found.Offers, func(o Offer) bool {
		if o.doubted || o.firm || o.IsNumber || o.Danger {
			return false
		}
		for _, r := range append([]Reading{o.Reading}, o.Alternatives...) {
			l := label{r.ID, r.State}
			if r.ID == p.roles().Code || r.ID == p.roles().EarlierCode {
				return false
			}
			if _, learnt := h.at[l]; !learnt || r.IsNumber {
				return false
			}
			if _, likely := scores[l]; likely {
				return false
			}
		}
		return true
	})
}

// fear asks after what would bring out a danger that a stretch looks like, unless that is known or asked already.
func (p *page) fear(found *Result, x hunch, h *Hunches, stretches []Stretch, scores map[label]int32) {
	if x.score < fearsFrom {
		return
	}
	var rs []Reading
	s := stretches[x.stretch]
	for _, t := range p.reader.fears[h.Labels[x.label].State] {
		for _, state := range t.States {
			r := Reading{ID: t.ID, State: state, From: s.From, To: s.To, Words: p.text[s.From:s.To]}
			same := func(o Reading) bool { return sameValue(o, r) }
			if slices.ContainsFunc(found.Readings, same) || slices.ContainsFunc(found.Offers, func(o Offer) bool {
				return o.Danger && (same(o.Reading) || slices.ContainsFunc(o.Alternatives, same))
			}) {
				return
			}
			if !slices.ContainsFunc(found.Readings, func(o Reading) bool { return o.ID == r.ID }) {
				rs = append(rs, r)
			}
		}
	}
	if len(rs) == 0 {
		return
	}
	slices.SortStableFunc(rs, func(a, b Reading) int {
		score := func(r Reading) int32 {
			if v, ok := scores[label{r.ID, r.State}]; ok {
				return v
			}
			return -1 << 20
		}
		return cmp.Compare(score(b), score(a))
	})
	o := Offer{Reading: rs[0], Alternatives: rs[1:min(len(rs), 1+mostAlternates)], Danger: true}
	found.Offers = slices.DeleteFunc(found.Offers, func(was Offer) bool { return sameValue(was.Reading, o.Reading) })
	found.Offers = append(found.Offers, o)
}

// surely reports whether a hunch may be believed: it is much likelier than anything else, what it is about is named in
// the way the rules know, and nothing in its stretch is doubted, asked, told by others or of the past.
func (p *page) surely(of []hunch, h *Hunches, s Stretch) bool {
	if of[0].score < believedFrom || len(of) > 1 && of[0].score-of[1].score < sureBy {
		return false
	}
	l := h.Labels[of[0].label]
	if l.State == NumberSaid || p.reader.soothes(Reading{ID: l.ID, State: l.State}) {
		return false
	}
	for i := s.from; i < s.to && of[0].score < verySure; i++ {
		if c := p.clauses[p.clauseOf[i]]; c.doubtful || c.question || c.past && !p.reader.lasting[l.ID] {
			return false
		}
	}
	names := p.reader.parts[l.ID]
	return slices.ContainsFunc(p.begin(s.from, s.to), func(x hit) bool {
		return x.role == speaks && x.to <= s.to && names[x.id]
	})
}

// numberedCode is the code that a bare number in a stretch can be: the eight again.
func (p *page) numberedCode(id string, s Stretch) Reading {
	if id != p.roles().Code && id != p.roles().EarlierCode {
		return Reading{}
	}
	for i := s.from; i < s.to; i++ {
		if !p.tokens[i].number || p.taken[i] || !p.bareCode(i) {
			continue
		}
		t := p.tokens[i]
		return Reading{ID: id, State: p.reader.codes[int(t.value)], From: t.from, To: t.to, Words: p.text[t.from:t.to]}
	}
	return Reading{}
}

// weighFigure tells what a number is likely of, where the rules leave that open.
func (p *page) weighFigure(found *Result, f *figure, h *Hunches, stretches []Stretch, sums []int32) {
	from, to := p.tokens[f.at].from, p.tokens[f.to-1].to
	here := func(r Reading) bool { return r.From <= from && r.To >= to }
	numbered := func(r Reading) bool { return here(r) && (r.IsNumber || r.To-r.From <= to-from+6) }
	if f.odd || slices.ContainsFunc(found.Readings, numbered) {
		return
	}
	scores := map[string]int32{}
	byItself, told := false, false // told: more is said than the number
	for _, alone := range []bool{true, false} {
		for _, s := range stretches {
			if s.from > f.at || s.to < f.to || alone && p.othersCounted(s, f) {
				continue
			}
			told = told || p.gap(s.from, f.at)+p.gap(f.to, s.to) > 0
			h.weigh(s.Signs, sums)
			for i := range p.reader.model.Measures {
				x := &p.reader.model.Measures[i]
				k, ok := h.at[label{x.ID, NumberSaid}]
				if v, has := scores[x.ID]; ok && (!has || sums[k] > v) && p.couldBe(x, f) {
					scores[x.ID] = sums[k]
				}
			}
		}
		if byItself = alone; len(scores) > 0 {
			break
		}
	}
	var rs []Reading
	var top, next int32
	for len(rs) < maxOffered {
		best := ""
		for id, v := range scores {
			if best == "" || v > scores[best] || v == scores[best] && id < best {
				best = id
			}
		}
		if best == "" || scores[best] < figuresFrom {
			if len(rs) == 1 {
				next = figuresFrom
			}
			break
		}
		switch len(rs) {
		case 0:
			top = scores[best]
		case 1:
			next = scores[best]
		}
		for i := range p.reader.model.Measures {
			if x := &p.reader.model.Measures[i]; x.ID == best && p.couldBe(x, f) {
				r := value(*x, f.value)
				r.From, r.To, r.Words = from, to, p.text[from:to]
				rs = append(rs, r)
				break
			}
		}
		delete(scores, best)
	}
	if !byItself || !told {
		top, next = min(top, sureFrom-1), top
	}
	p.offerFigure(found, rs, here, top, next)
}

// offerFigure puts what a number is likely of into what was found.
func (p *page) offerFigure(found *Result, rs []Reading, here func(Reading) bool, top, next int32) {
	if len(rs) == 0 {
		return
	}
	said := func(id string) bool {
		of := func(r Reading) bool { return r.ID == id }
		return slices.ContainsFunc(found.Readings, of) || slices.ContainsFunc(found.Offers, func(o Offer) bool {
			return !here(o.Reading) && (of(o.Reading) || slices.ContainsFunc(o.Alternatives, of))
		})
	}
	k := slices.IndexFunc(found.Offers, func(o Offer) bool {
		return here(o.Reading) && (o.IsNumber ||
			slices.ContainsFunc(o.Alternatives, func(a Reading) bool { return a.IsNumber }))
	})
	if k < 0 {
		if top >= offersFrom && !said(rs[0].ID) {
			found.Offers = append(found.Offers, Offer{Reading: rs[0],
				Alternatives: rs[1:min(len(rs), 1+mostAlternates)]})
		}
		return
	}
	o := &found.Offers[k]
	all := append([]Reading{o.Reading}, o.Alternatives...)
	supported := slices.ContainsFunc(all, func(a Reading) bool { return sameValue(a, rs[0]) })
	if supported && (!o.doubted && top >= believedFrom || top >= verySure) && !said(rs[0].ID) && top-next >= sureBy {
		found.Readings = append(found.Readings, rs[0])
		found.Offers = slices.Delete(found.Offers, k, k+1)
		return
	}
	for _, a := range all {
		if !slices.ContainsFunc(rs, func(r Reading) bool { return sameValue(a, r) }) {
			rs = append(rs, a)
		}
	}
	o.Reading, o.Alternatives = rs[0], rs[1:min(len(rs), maxOffered)]
}

// othersCounted reports whether a stretch holds another number that can be a reading.
func (p *page) othersCounted(s Stretch, f *figure) bool {
	return slices.ContainsFunc(p.counted, func(o figure) bool { return o.at != f.at && o.at >= s.from && o.to <= s.to })
}

// couldBe reports whether a figure can be of a measure by its unit and size, wherever it stands.
func (p *page) couldBe(x *knowledge.Measure, f *figure) bool {
	if x.Min < x.Max && (f.value < x.Min || f.value > x.Max) || len(f.units) > 0 && !slices.Contains(f.units, x.Unit) ||
		len(f.units) == 0 && !x.Bare {
		return false
	}
	return p.possible(value(*x, f.value))
}
