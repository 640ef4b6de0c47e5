package words

import (
	"cmp"
	"math"
	"slices"

	"lightoff/engine/knowledge"
)

// rule is a pair of the model, with its names numbered.
type rule struct {
	*knowledge.Pair
	when   [][]int
	unless []int
	topic  int  // the place in when that the heater itself may fill unnamed; -1 for none
	says   bool // something is said of a thing, not only a thing named
}

// rules readies the model's pairs. The heater goes without saying, for people write of nothing else.
func rules(m *knowledge.Model, l *language) []rule {
	heater := l.name("heater")
	var out []rule
	for i := range m.Pairs {
		x := &m.Pairs[i]
		r := rule{Pair: x, topic: -1}
		for k, names := range x.When {
			var ids []int
			for _, n := range names {
				id := l.name(n)
				ids = append(ids, id)
				r.says = r.says || !l.things[id]
				if id == heater {
					r.topic = k
				}
			}
			r.when = append(r.when, ids)
		}
		for _, n := range x.Unless {
			r.unless = append(r.unless, l.name(n))
		}
		out = append(out, r)
	}
	return out
}

// partsOf lists, for each observation that rules tell of, the things and sayings that do it.
func partsOf(all []rule) map[string]map[int]bool {
	out := map[string]map[int]bool{}
	for _, r := range all {
		for _, f := range slices.Concat(r.Means, r.Denied) {
			if out[f.ID] == nil {
				out[f.ID] = map[int]bool{}
			}
			for _, ids := range r.when {
				for _, id := range ids {
					out[f.ID][id] = true
				}
			}
		}
	}
	return out
}

// How far apart words may stand that mean something together: believed, or at most offered.
const (
	near      = 8.0
	farther   = 16.0
	unnamed   = 1.5 // what it costs that the heater is not named
	perWord   = 5.0 // what a further part of a rule is worth
	perToken  = 0.4 // what a further word of a phrase is worth
	innerCost = 3.0 // a part of a longer phrase is used only where that says nothing
	closeBy   = 4.0 // how near a word must stand to forbid a rule
	nearer    = 2.5 // by how much nearer a saying takes its thing from another that says the like
	together  = 1.5 // how near the parts of a rule stand that leave no doubt
	coupled   = 1.6 // how near two things stand of which one thing is said
)

// maxLast is how much of what nothing was made of is asked back, dangers aside: more would tire whoever wrote it.
const maxLast = 3

// match is a rule with the phrases that fill it.
type match struct {
	rule  *rule
	hits  []hit // in the order of the text
	cost  float64
	score float64
}

// pairUp finds what the things and sayings of the text mean together, the most said and the nearest first, each word
// once.
func (p *page) pairUp(asked string) []match {
	present := map[int][]hit{}
	for _, h := range p.spoken {
		present[h.id] = append(present[h.id], h)
	}
	var all []match
	for i := range p.reader.rules {
		all = p.fill(all, &p.reader.rules[i], present, asked)
	}
	slices.SortStableFunc(all, func(a, b match) int {
		return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.hits[0].from, b.hits[0].from))
	})
	var out []match
	for _, m := range all {
		if !m.rule.Last && !p.forbidden(m) && !slices.ContainsFunc(out, func(o match) bool { return p.excludes(o, m) }) {
			out = append(out, m)
		}
	}
	asks := 0
	for _, m := range all {
		used := func(o match) bool {
			return slices.ContainsFunc(o.hits, func(h hit) bool {
				return p.overlap(h, m.hits[0]) ||
					h.id == m.hits[0].id
			}) || o.rule == m.rule
		}
		if !m.rule.Last || m.hits[0].inner || p.forbidden(m) || slices.ContainsFunc(out, used) || asked != "" &&
			!m.rule.tells(asked) {
			continue
		}
		danger := slices.ContainsFunc(readings(m.rule.Means), p.reader.dangerous)
		if danger || asks < maxLast {
			out = append(out, m)
		}
		if !danger {
			asks++
		}
	}
	slices.SortStableFunc(out, func(a, b match) int { return cmp.Compare(a.hits[0].from, b.hits[0].from) })
	return out
}

// fill adds the ways in which a rule can be filled, one for each phrase of its first part that is there.
func (p *page) fill(all []match, r *rule, present map[int][]hit, asked string) []match {
	var parts [4][]hit
	anchor := -1
	missing := 0
	for k, ids := range r.when {
		for _, id := range ids {
			parts[k] = append(parts[k], present[id]...)
		}
		if len(parts[k]) == 0 {
			// What an open question asks of need not be named in its answer.
			if k != r.topic && !(r.says && len(r.when) == 2 && r.isThing(p.lang, k) && r.tells(asked)) {
				return all
			}
			missing++
			continue
		}
		if anchor < 0 || r.isThing(p.lang, anchor) && !r.isThing(p.lang, k) {
			anchor = k
		}
	}
	if anchor < 0 {
		return all
	}
	for _, a := range parts[anchor] {
		chosen := []hit{a}
		whole := true
		for k := range r.when {
			if k == anchor {
				continue
			}
			best, ok := p.nearestHit(a, parts[k], chosen)
			switch {
			case ok && k == r.topic && p.between(a, best) > near:
				ok = false
			}
			switch {
			case ok:
				chosen = append(chosen, best)
			case k == r.topic && p.unnamedBefore(a, r):
			case k != r.topic && len(parts[k]) == 0:
			default:
				whole = false
			}
		}
		if m := p.matched(r, chosen); whole && m.cost <= farther {
			all = append(all, m)
		}
	}
	return all
}

func (r *rule) isThing(l *language, k int) bool {
	return !slices.ContainsFunc(r.when[k], func(id int) bool { return !l.things[id] })
}

// tells reports whether the rule is about an observation.
func (r *rule) tells(id string) bool {
	about := func(f knowledge.Finding) bool { return f.ID == id }
	return id != "" && (slices.ContainsFunc(r.Means, about) || slices.ContainsFunc(r.Denied, about))
}

func (p *page) matched(r *rule, chosen []hit) match {
	slices.SortFunc(chosen, func(a, b hit) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	m := match{rule: r, hits: chosen}
	words := 0
	for i, h := range chosen {
		words += len(h.on)
		if i > 0 {
			m.cost += p.between(chosen[i-1], h)
		}
	}
	if len(chosen) < len(r.when) {
		m.cost += unnamed
	}
	m.score = perWord*float64(len(chosen)) + perToken*float64(words-len(chosen)) - m.cost
	if slices.ContainsFunc(chosen, func(h hit) bool { return h.inner }) {
		m.score -= innerCost
	}
	return m
}

// between is how far apart two phrases stand.
func (p *page) between(a, b hit) float64 {
	if b.from < a.from {
		a, b = b, a
	}
	return max(p.costs[b.from]-p.costs[min(a.to, b.from)], 0)
}

// nearestHit is the phrase nearest to another, and not on a word that is chosen already, unless it is a compound.
func (p *page) nearestHit(a hit, among, chosen []hit) (best hit, ok bool) {
	least := math.Inf(1)
	for _, h := range among {
		if slices.ContainsFunc(chosen, func(c hit) bool { return p.overlap(c, h) }) {
			continue
		}
		d := p.between(a, h)
		if h.from > a.from {
			d += 0.1 // things are named before what is said of them
		}
		if d < least {
			least, best, ok = d, h, true
		}
	}
	return best, ok
}

// overlap reports whether two phrases stand on the same word, other than as parts of a compound.
func (p *page) overlap(a, b hit) bool {
	for _, i := range a.on {
		if slices.Contains(b.on, i) && (p.tokens[i].parts == 0 || a.id == b.id) {
			return true
		}
	}
	return false
}

// unnamedBefore reports whether nothing but the heater can be what is spoken of: no other thing stands before in the
// clause.
func (p *page) unnamedBefore(a hit, r *rule) bool {
	for i := len(p.spoken) - 1; i >= 0; i-- {
		h := p.spoken[i]
		if !h.thing || h.to > a.from || p.reader.backdrop[h.id] || p.lang.names["heater"] == h.id {
			continue
		}
		if slices.ContainsFunc(r.when, func(ids []int) bool { return slices.Contains(ids, h.id) }) {
			continue
		}
		return p.cut(h.to, a.from) || p.costs[a.from]-p.costs[h.to] > closeBy
	}
	return true
}

// cut reports whether a mark, a joining word or a pronoun stands in a stretch.
func (p *page) cut(from, to int) bool {
	for i := from; i < to; i++ {
		t := &p.tokens[i]
		if t.mark || p.lang.joins[t.text] || p.lang.breaks[t.text] || p.lang.pronouns[t.text] {
			return true
		}
	}
	return false
}

// excludes reports whether a match that was taken leaves no room for another.
func (p *page) excludes(taken, m match) bool {
	for _, h := range m.hits {
		if h.inner && slices.ContainsFunc(taken.hits, func(o hit) bool {
			return len(o.on) > len(h.on) && p.overlap(o,
				h)
		}) {
			return true
		}
	}
	shared, sharedThings := 0, 0
	for _, h := range m.hits {
		if slices.ContainsFunc(taken.hits, func(o hit) bool {
			return p.overlap(o, h) || o.id == h.id &&
				o.from == h.from
		}) {
			shared++
			if h.thing {
				sharedThings++
			}
		}
	}
	switch same := p.sameID(taken.rule, m.rule); {
	case shared == 0:
		return false
	case same && sharedThings > 0 && m.cost > taken.cost+nearer:
		return true // of the same thing the like was said much nearer
	case shared == sharedThings: // only things in common
		return same && shared == len(m.hits)
	case same, shared == len(m.hits):
		return true
	}
	// The same is said of another thing, unless the two are named together: the fan and the pump are silent.
	for _, h := range m.hits {
		if !h.thing || slices.ContainsFunc(taken.hits, func(o hit) bool { return p.overlap(o, h) }) {
			continue
		}
		if !slices.ContainsFunc(taken.hits, func(o hit) bool { return o.thing && p.between(o, h) <= coupled }) {
			return true
		}
	}
	return false
}

func (p *page) sameID(a, b *rule) bool {
	for _, f := range slices.Concat(a.Means, a.Denied) {
		if b.tells(f.ID) {
			return true
		}
	}
	return false
}

// forbidden reports whether a word close by forbids the rule.
func (p *page) forbidden(m match) bool {
	if len(m.rule.unless) == 0 {
		return false
	}
	from, to := m.hits[0].from, m.hits[len(m.hits)-1].to
	return slices.ContainsFunc(p.spoken, func(h hit) bool {
		if !slices.Contains(m.rule.unless, h.id) || h.inner || slices.ContainsFunc(m.hits,
			func(o hit) bool { return len(o.on) > len(h.on) && p.overlap(o, h) }) {
			return false
		}
		return h.from < to && h.to > from || h.from >= to && p.costs[h.from]-p.costs[to] <= closeBy || h.to <= from &&
			p.costs[from]-p.costs[h.to] <= closeBy
	})
}

// mention makes of a match what it says.
func (m match) mention(p *page, asked string) mention {
	var on []int
	for _, h := range m.hits {
		on = append(on, h.on...)
	}
	slices.Sort(on)
	on = slices.Compact(on)
	var key []int
	for _, h := range m.hits {
		if !h.thing {
			key = append(key, h.on...)
		}
	}
	if len(key) == 0 {
		key = on
	}
	limit := near * float64(max(len(m.hits)-1, 1))
	return mention{from: on[0], to: on[len(on)-1] + 1, on: on, key: key, rule: m.rule, far: m.cost > limit ||
		m.rule.Offer && !m.rule.tells(asked),
		tight: len(m.hits) > 1 && m.cost <= together,
		vague: len(m.rule.Means) == 0 && len(m.rule.Denied) == 0}
}
