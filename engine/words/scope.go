package words

import "slices"

// farthest is how many words that say nothing may stand between a negation and what it denies.
const farthest = 4

// deny gives each negation to the mentions that it denies. One that finds none within its clause leaves its clause in
// doubt.
func (p *page) deny() {
	hits := slices.Concat(p.hitsOf(negateNext), p.hitsOf(negateLast), p.hitsOf(negateEither), p.hitsOf(doubts),
		p.hitsOf(hearsay),
		p.hitsOf(wonders), p.hitsOf(asks), p.hitsOf(supposes), p.hitsOf(mended))
	hits = slices.DeleteFunc(hits, func(h hit) bool {
		return slices.ContainsFunc(h.on,
			func(i int) bool { return p.taken[i] })
	})
	hits = p.longest(hits)
	for i, h := range hits {
		if h.role == negateNext && len(h.on) == 1 && p.hitAt(no, h.from).to == h.to && h.to < len(p.tokens) &&
			p.lang.definite[p.tokens[h.to].text] {
			continue // no, the lights go dim
		}
		next, last := p.after(h), p.before(h)
		switch h.role {
		case negateNext:
			if next >= 0 && i+1 < len(hits) && hits[i+1].from < next && p.gap(h.to, hits[i+1].from) > 0 {
				p.idle = append(p.idle, h.from)
				continue // it denies something else: no smell no bubbles
			}
			if next < 0 {
				next = p.alsoLast(h, last)
			}
			p.attach(h, next)
		case negateLast:
			p.attach(h, last)
		case negateEither:
			p.attach(h, p.either(h, next, last))
		}
	}
	p.inherit()
}

// alsoLast is the token before, if the same words can deny what stands before them too.
func (p *page) alsoLast(h hit, last int) int {
	if slices.ContainsFunc(p.hits, func(o hit) bool {
		return o.role == negateLast && o.from == h.from &&
			o.to == h.to
	}) {
		return last
	}
	return -1
}

// either prefers what the negation touches, first of all what stands before it.
func (p *page) either(h hit, next, last int) int {
	switch {
	case last >= 0 && p.gap(last+1, h.from) == 0:
		return last
	case next >= 0 && p.gap(h.to, next) == 0 || last < 0:
		return next
	}
	return last
}

// stands lists the mentions that are read from a token.
func (p *page) stands(token int) []int {
	var out []int
	for i := range p.mentions {
		if slices.Contains(p.mentions[i].on, token) {
			out = append(out, i)
		}
	}
	return out
}

// after is the token next after a phrase in its clause from which anything is read, or -1.
func (p *page) after(h hit) int {
	for i := h.to; i < len(p.tokens) && p.clauseOf[i] == p.clauseOf[h.to-1]; i++ {
		if len(p.stands(i)) > 0 && !(p.onlyWhere(i) && p.goesOn(i, h)) {
			if p.gap(h.to, i) <= farthest {
				return i
			}
			return -1
		}
	}
	return -1
}

// onlyWhere reports whether nothing is read from a token but where the heater is: nobody aboard smells anything.
func (p *page) onlyWhere(token int) bool {
	return !slices.ContainsFunc(p.stands(token), func(i int) bool {
		r := p.mentions[i].rule
		return r == nil || slices.ContainsFunc(r.when, func(ids []int) bool {
			return slices.ContainsFunc(ids, func(id int) bool { return !p.reader.backdrop[id] })
		})
	})
}

// goesOn reports whether anything else is read near behind a token in a negation's clause.
func (p *page) goesOn(token int, h hit) bool {
	for i := token + 1; i < len(p.tokens) && p.clauseOf[i] == p.clauseOf[h.to-1]; i++ {
		if len(p.stands(i)) > 0 && !p.onlyWhere(i) {
			return p.gap(h.to, i) <= farthest
		}
	}
	return false
}

// before is the token next before a phrase in its clause from which anything is read, or -1.
func (p *page) before(h hit) int {
	for i := h.from - 1; i >= 0 && p.clauseOf[i] == p.clauseOf[h.from]; i-- {
		if len(p.stands(i)) > 0 {
			if p.gap(i+1, h.from) <= farthest {
				return i
			}
			return -1
		}
	}
	return -1
}

// attach denies all that is read from a token.
func (p *page) attach(h hit, token int) {
	if token < 0 {
		p.idle = append(p.idle, h.from)
		p.cloud(h)
		return
	}
	for _, i := range p.stands(token) {
		m := &p.mentions[i]
		if m.rule != nil && !slices.Contains(m.key, token) &&
			!slices.ContainsFunc(m.key, func(k int) bool { return p.clauseOf[k] == p.clauseOf[token] }) {
			// What is said of the thing stands in another clause: it isn't the fuse, that's intact. But of no smoke
			// nothing is said.
			m.void = m.void || slices.ContainsFunc(p.begin(h.from, h.from+1),
				func(o hit) bool { return o.role == negateThing && o.to <= h.to })
			continue
		}
		between := p.gap(h.to, token)
		if token < h.from {
			between = p.gap(token+1, h.from)
		}
		m.denied++
		grave := m.rule != nil && p.grave(readings(m.rule.Denied))
		m.loosely = m.loosely || between > 0 && (grave || m.rule == nil) || p.measured(h.from, max(token+1, h.to,
			m.to)) || p.misspelt(h.on) && grave
		if m.rule != nil { // the words of a code or number stay its own
			m.from, m.to = min(m.from, h.from), max(m.to, h.to)
		}
	}
}

// measured reports whether a stretch holds a word that says how much, other than the ones that are meant to be there.
func (p *page) measured(from, to int) bool {
	for i := from; i < min(to, len(p.tokens)); i++ {
		if p.lang.degrees[p.tokens[i].text] && !p.taken[i] {
			return true
		}
	}
	return false
}

// cloud makes doubtful what shares a clause with a negation that belongs to nothing known. A clause that holds nothing
// but the negation speaks of the one before: "but not any more".
func (p *page) cloud(h hit) {
	k := p.clauseOf[h.from]
	denying := make([]bool, len(p.tokens))
	for _, i := range h.on {
		denying[i] = true
	}
	alone := k > 0 && p.clauses[k-1].sentence == p.clauses[k].sentence && p.holdsOnly(p.clauses[k], denying)
	for i := range p.mentions {
		m := &p.mentions[i]
		if alone && p.clauseOf[m.on[len(m.on)-1]] == k-1 && m.denied == 0 {
			m.unsure = true
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
		within := false
		for k := m.from + 1; k < m.to-1; k++ {
			within = within || p.isAlternative(k)
		}
		if within && i+1 < len(p.mentions) && m.denied == 1 && p.mentions[i+1].denied == 0 && p.mentions[i+1].from <= m.to {
			p.mentions[i+1].denied, p.mentions[i+1].loosely = 1, m.loosely // neither white nor black smoke
			continue
		}
		if m.denied == 0 && (p.isAlternative(before) || p.isAlternative(after) || within) {
			m.unsure = true
		}
	}
}

func (p *page) isAlternative(i int) bool {
	return i >= 0 && i < len(p.tokens) && !p.taken[i] && p.lang.or[p.tokens[i].text] &&
		!(i+1 < len(p.tokens) && p.lang.vague[p.tokens[i+1].text])
}

// orBetween reports whether nothing but an "or" and fillers stand between two places.
func (p *page) orBetween(from, to int) bool {
	found := false
	for i := from; i < to; i++ {
		if p.isAlternative(i) {
			found = true
		} else if !p.filler(i) {
			return false
		}
	}
	return found
}

// doubt marks the mentions whose clauses are in doubt, told by others, asked as a question, or of the past.
func (p *page) doubt() {
	p.doubtfulClauses(doubts, func(c *clause) { c.doubtful = true })
	p.doubtfulClauses(hearsay, func(c *clause) { c.doubtful = true })
	p.doubtfulClauses(wonders, func(c *clause) { c.question = true })
	p.wholeSentences()
	for _, h := range p.hitsOf(presumes) {
		c := p.clauseOf[h.from]
		for k := c; k < len(p.clauses) && p.clauses[k].sentence == p.clauses[c].sentence; k++ {
			p.clauses[k].question = false
		}
	}
	p.doubtfulClauses(past, func(c *clause) { c.past = true })
	done := p.mendedFrom()
	mendedIn := p.mendedSentences()
	for i := range p.mentions {
		m := &p.mentions[i]
		for _, on := range m.on {
			x := p.clauses[p.clauseOf[on]]
			history := m.reading.ID == p.roles().EarlierCode || m.rule != nil && m.rule.Past
			m.doubted = m.doubted || x.doubtful || x.question || x.past && !history
			m.unsure = m.unsure || m.doubted
		}
		if c := p.clauseOf[m.on[0]]; (m.rule != nil && !m.rule.Past || m.reading.ID == p.roles().Code) && (c < done &&
			c >= done-mendedReach || c < mendedIn[p.clauses[c].sentence]) {
			m.unsure, m.doubted = true, true
		}
	}
}

// wholeSentences marks the sentences that begin as a question without its mark, and what follows a condition within
// one.
func (p *page) wholeSentences() {
	for _, h := range p.hits {
		if h.role != asks && h.role != supposes {
			continue
		}
		c := p.clauseOf[h.from]
		first := c == 0 || p.clauses[c-1].sentence != p.clauses[c].sentence
		if h.role == asks && !(first && h.from == p.clauses[c].from) {
			continue
		}
		for k := c; k < len(p.clauses) && p.clauses[k].sentence == p.clauses[c].sentence; k++ {
			p.clauses[k].question = true
		}
	}
}

// mendedReach is how many clauses before it a repair may have changed.
const mendedReach = 4

// mendedSentences gives for each sentence that ends with saying that all is right now the clause that says it.
func (p *page) mendedSentences() map[int]int {
	out := map[int]int{}
	for _, h := range p.hitsOf(mended) {
		c := p.clauseOf[h.from]
		last := c+1 >= len(p.clauses) || p.clauses[c+1].sentence != p.clauses[c].sentence
		if last && p.gap(p.clauses[c].from, p.clauses[c].to) <= len(h.on)+2 {
			out[p.clauses[c].sentence] = c
		}
	}
	return out
}

// mendedFrom is the clause that says that what was wrong is right now, or -1.
func (p *page) mendedFrom() int {
	out := -1
	for _, h := range p.hitsOf(mended) {
		// What is right in the end stands at the end, and in few words: "it starts fine, then dies" mends nothing.
		c := p.clauseOf[h.from]
		if c >= len(p.clauses)-3 && p.gap(p.clauses[c].from, p.clauses[c].to) <= len(h.on)+3 {
			out = max(out, c)
		}
	}
	return out
}

// doubtfulClauses finds the clauses with words of a role in them. One that holds nothing else speaks of its neighbour.
func (p *page) doubtfulClauses(r role, mark func(*clause)) {
	marked := make([]bool, len(p.tokens))
	in := make([]bool, len(p.clauses))
	for _, h := range p.hitsOf(r) {
		if slices.ContainsFunc(h.on, func(i int) bool { return p.taken[i] }) {
			continue
		}
		if longer, _ := p.within(h); longer != nil && longer.role != speaks && longer.role != earlier &&
			longer.role != now {
			continue
		}
		if r == doubts && h.to < len(p.tokens) && p.tokens[h.to].number && h.to-h.from == 1 {
			continue // perhaps four minutes
		}
		in[p.clauseOf[h.from]] = true
		for _, i := range h.on {
			marked[i] = true
		}
	}
	for c := range p.clauses {
		if !in[c] {
			continue
		}
		x := p.clauses[c]
		mark(&p.clauses[c])
		if !p.holdsOnly(x, marked) && p.says(c) {
			continue
		}
		if r == hearsay || r == wonders { // "my mate reckons, it smokes"
			if c+1 < len(p.clauses) && p.clauses[c+1].sentence == x.sentence {
				mark(&p.clauses[c+1])
			}
			continue
		}
		if !p.holdsOnly(x, marked) && (c == 0 || p.clauses[c-1].sentence != x.sentence) {
			continue
		}
		if c > 0 && (p.clauses[c-1].sentence == x.sentence || c+1 == len(p.clauses)) {
			mark(&p.clauses[c-1])
		} else if c+1 < len(p.clauses) {
			mark(&p.clauses[c+1])
		}
	}
}

// says reports whether anything is read from a clause.
func (p *page) says(c int) bool {
	return slices.ContainsFunc(p.mentions, func(m mention) bool {
		return slices.ContainsFunc(m.on, func(i int) bool { return p.clauseOf[i] == c })
	})
}

// holdsOnly reports whether a clause holds nothing but marked words and such as say nothing.
func (p *page) holdsOnly(x clause, marked []bool) bool {
	for i := x.from; i < x.to; i++ {
		t := p.tokens[i]
		if !marked[i] && !t.mark && !p.filler(i) && !p.lang.joins[t.text] && !p.lang.breaks[t.text] {
			return false
		}
	}
	return true
}
