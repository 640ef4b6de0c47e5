package words

import "slices"

// farthest is how many words that say nothing may stand between a negation and what it denies.
const farthest = 4

// deny gives each negation to the mention that it denies. One that finds none within its clause leaves its clause in doubt.
func (p *page) deny() {
	hits := slices.Concat(p.of(negateNext), p.of(negateLast), p.of(negateEither), p.of(doubts), p.of(place))
	hits = slices.DeleteFunc(hits, func(h hit) bool { return !p.free(h.from, h.to) })
	hits = p.longest(hits)
	for i, h := range hits {
		switch next, last := p.after(h), p.before(h); h.role {
		case negateNext:
			if next >= 0 && i+1 < len(hits) && hits[i+1].from < p.mentions[next].from && p.gap(h.to, hits[i+1].from) > 0 {
				p.idle = append(p.idle, h.from)
				continue // it denies something else: no smell no bubbles
			}
			p.attach(h, p.nearest(h, next, p.alsoLast(h, last)))
		case negateLast:
			p.attach(h, last)
		case negateEither:
			p.attach(h, p.either(h, next, last))
		}
	}
	p.inherit()
}

// alsoLast is the mention before, if the same words can deny what stands before them too.
func (p *page) alsoLast(h hit, last int) int {
	if slices.ContainsFunc(p.hits, func(o hit) bool { return o.role == negateLast && o.from == h.from && o.to == h.to }) {
		return last
	}
	return -1
}

func (p *page) nearest(h hit, first, second int) int {
	if first >= 0 {
		return first
	}
	return second
}

// either prefers what the negation touches, first of all what stands before it.
func (p *page) either(h hit, next, last int) int {
	switch {
	case last >= 0 && p.gap(p.mentions[last].to, h.from) == 0:
		return last
	case next >= 0 && p.gap(h.to, p.mentions[next].from) == 0 || last < 0:
		return next
	}
	return last
}

// gap counts the words between two places that are no fillers.
func (p *page) gap(from, to int) int {
	n := 0
	for i := from; i < to; i++ {
		if !p.filler(i) {
			n++
		}
	}
	return n
}

// after is the mention next after a phrase in its clause, or -1.
func (p *page) after(h hit) int {
	for i, m := range p.mentions {
		if m.from >= h.to {
			if p.clauseOf[m.from] == p.clauseOf[h.to-1] && p.gap(h.to, m.from) <= farthest {
				return i
			}
			return -1
		}
	}
	return -1
}

// before is the mention next before a phrase in its clause, or -1.
func (p *page) before(h hit) int {
	for i := len(p.mentions) - 1; i >= 0; i-- {
		if m := p.mentions[i]; m.to <= h.from {
			if p.clauseOf[m.to-1] == p.clauseOf[h.from] && p.gap(m.to, h.from) <= farthest {
				return i
			}
			return -1
		}
	}
	return -1
}

func (p *page) attach(h hit, to int) {
	if to < 0 {
		p.idle = append(p.idle, h.from)
		p.cloud(h)
		return
	}
	m := &p.mentions[to]
	between := p.gap(h.to, m.from)
	if h.from >= m.to {
		between = p.gap(m.to, h.from)
	}
	m.denied++
	m.loosely = m.loosely || between > 0 || p.measured(h.from, max(m.to, h.to)+1, nil) || p.misspelt(h.from, h.to) && p.grave(*m)
	if m.saying == nil || m.saying.Plain {
		return // the words stay those of the code or reading itself
	}
	m.from, m.to = min(m.from, h.from), max(m.to, h.to)
}

// measured tells whether a stretch holds a word that says how much, other than the ones that are meant to be there.
func (p *page) measured(from, to int, meant []string) bool {
	return slices.ContainsFunc(p.tokens[from:min(to, len(p.tokens))], func(t token) bool {
		return p.lang.degrees[t.text] && !slices.Contains(meant, t.text)
	})
}

// cloud makes doubtful what shares a clause with a negation that belongs to nothing known. A clause that holds nothing
// but the negation speaks of the one before: "but not any more".
func (p *page) cloud(h hit) {
	k := p.clauseOf[h.from]
	denying := make([]bool, len(p.tokens))
	for i := h.from; i < h.to; i++ {
		denying[i] = true
	}
	alone := k > 0 && p.clauses[k-1].sentence == p.clauses[k].sentence && p.holdsOnly(p.clauses[k], denying)
	for i := range p.mentions {
		m := &p.mentions[i]
		if alone && p.clauseOf[m.to-1] == k-1 && m.denied == 0 {
			m.unsure = true
		}
		if p.clauseOf[m.from] == k && m.denied == 0 && !(m.saying != nil && m.saying.Plain) {
			m.unsure = m.unsure || m.to <= h.from || p.gap(h.to, m.from) > 0
		}
	}
}

// inherit carries a negation over an "or": no smoke or bubbles. Other alternatives are no statements.
func (p *page) inherit() {
	for i := range p.mentions {
		m := &p.mentions[i]
		if i > 0 && p.orBetween(p.mentions[i-1].to, m.from) && p.mentions[i-1].denied == 1 && m.denied == 0 {
			m.denied, m.loosely = 1, p.mentions[i-1].loosely
			continue
		}
		before, after := m.from-1, m.to
		for p.filler(before) {
			before--
		}
		for p.filler(after) {
			after++
		}
		if m.denied == 0 && (p.or(before) || p.or(after)) {
			m.unsure = true
		}
	}
}

func (p *page) or(i int) bool {
	return i >= 0 && i < len(p.tokens) && p.lang.or[p.tokens[i].text]
}

// orBetween tells whether nothing but an "or" and fillers stand between two places.
func (p *page) orBetween(from, to int) bool {
	found := false
	for i := from; i < to; i++ {
		if p.or(i) {
			found = true
		} else if !p.filler(i) {
			return false
		}
	}
	return found
}

// doubt marks the mentions whose clauses are in doubt, asked as a question, or of the past.
func (p *page) doubt() {
	p.doubtfulClauses()
	var pasts []int
	for _, h := range p.of(past) {
		if p.free(h.from, h.to) {
			pasts = append(pasts, p.clauseOf[h.from])
		}
	}
	for i := range p.mentions {
		m := &p.mentions[i]
		for c := p.clauseOf[m.from]; c <= p.clauseOf[m.to-1]; c++ {
			x := p.clauses[c]
			m.unsure = m.unsure || x.doubtful || x.question || slices.Contains(pasts, c) && m.reading.ID != earlierCode
		}
	}
}

// doubtfulClauses finds the clauses with words of doubt in them. One that holds nothing else speaks of its neighbour.
func (p *page) doubtfulClauses() {
	doubted := make([]bool, len(p.tokens))
	for _, h := range p.of(doubts) {
		if !p.free(h.from, h.to) {
			continue
		}
		p.clauses[p.clauseOf[h.from]].doubtful = true
		for i := h.from; i < h.to; i++ {
			doubted[i] = true
		}
	}
	for c, x := range p.clauses {
		if !x.doubtful || !p.holdsOnly(x, doubted) {
			continue
		}
		if c > 0 && (p.clauses[c-1].sentence == x.sentence || c+1 == len(p.clauses)) {
			p.clauses[c-1].doubtful = true
		} else if c+1 < len(p.clauses) {
			p.clauses[c+1].doubtful = true
		}
	}
}

// holdsOnly tells whether a clause holds nothing but marked words and such as say nothing.
func (p *page) holdsOnly(x clause, marked []bool) bool {
	for i := x.from; i < x.to; i++ {
		t := p.tokens[i]
		if !marked[i] && !t.mark && !p.filler(i) && !p.lang.joins[t.text] && !p.lang.breaks[t.text] {
			return false
		}
	}
	return true
}
