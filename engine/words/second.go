package words

import (
	"cmp"
	"slices"
	"strings"
)

// From which log odds on the second reader says something, in its unit. They come from sentences that it had not learnt from.
const (
	offersFrom     = int32(-12 * unitsOfOne / 10)
	alsoFrom       = int32(-22 * unitsOfOne / 10) // beside what is offered already
	dangersFrom    = int32(-24 * unitsOfOne / 10) // what may be a danger is rather asked once too often
	askedGain      = int32(25 * unitsOfOne / 10)  // where a question for it was open
	mostHunches    = 4                            // in a text, dangers aside
	mostAlternates = 2
)

// hunch is something that the second reader takes to be said.
type hunch struct {
	label   int
	score   int32
	stretch int
}

// second adds what the second reader takes to be said to what was read by rules: as an offer, or as an alternative beside one.
func (p *page) second(found Result, c Context) Result {
	h := p.reader.hunches
	if h == nil {
		return found
	}
	stretches := p.stretches()
	for _, id := range p.hunches(h, stretches, c.Asked) {
		p.suggest(&found, id, h, stretches)
	}
	slices.SortStableFunc(found.Offers, func(a, b Offer) int { return cmp.Compare(a.From, b.From) })
	return found
}

// hunches lists, for each observation of which anything is likely said, what that is, likeliest first.
func (p *page) hunches(h *Hunches, stretches []Stretch, asked string) [][]hunch {
	best := make([]hunch, len(h.Labels))
	for k := range best {
		best[k] = hunch{label: k, score: -1 << 30}
	}
	sums := make([]int32, len(h.Labels))
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
		if x.score < min(alsoFrom, dangersFrom) {
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
	if slices.ContainsFunc(found.Readings, about) {
		return
	}
	var rs []Reading
	danger := false
	for i, x := range of {
		l := h.Labels[x.label]
		s := stretches[x.stretch]
		r := Reading{ID: id, State: l.State, From: s.From, To: s.To, Words: p.text[s.From:s.To]}
		if l.State == NumberSaid || !p.possible(r) || len(rs) > mostAlternates {
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
		for _, r := range rs {
			if !sameValue(r, o.Reading) && !slices.ContainsFunc(o.Alternatives, func(a Reading) bool { return sameValue(a, r) }) {
				o.Alternatives = append(o.Alternatives, r)
			}
		}
		o.Danger = o.Danger || danger
		return
	}
	found.Offers = append(found.Offers, Offer{Reading: rs[0], Alternatives: rs[1:], Danger: danger})
	found.Unclear = slices.DeleteFunc(found.Unclear, func(words string) bool { return strings.Contains(rs[0].Words, words) })
}
