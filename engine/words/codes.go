package words

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lightoff/engine/knowledge"
)

// otherCode is the state of a code that no table has.
const otherCode = "other"

var numbered = regexp.MustCompile(`^[A-Za-z]+[- ]?0*(\d+)$`)

// codeStates are the states of the fault code that end in a number.
func codeStates(m *knowledge.Model) map[int]string {
	out := map[int]string{}
	o, ok := m.Observation(m.Roles.Code)
	if !ok {
		return out
	}
	for _, s := range o.States {
		if at := numbered.FindStringSubmatch(s); at != nil {
			n, _ := strconv.Atoi(at[1])
			out[n] = s
		}
	}
	return out
}

// codes finds a code only where something marks it as one: a bare number could be anything.
func (p *page) codes() []mention {
	if len(p.reader.codes) == 0 {
		return nil
	}
	out := p.tables()
	for i := 0; i < len(p.tokens); i++ {
		if p.taken[i] {
			continue
		}
		if m, ok := p.code(i); ok && p.free(m.from, m.to) {
			p.consume(m.from, m.to)
			out = append(out, m)
		}
	}
	p.date(out)
	return out
}

// code reads a code that begins at token i: a letter and a number, or a word that announces one and a number.
func (p *page) code(i int) (mention, bool) {
	at, announced := i, false
	if h := p.hitAt(codeWord, i); h.entry != nil {
		at, announced = h.to, true
		for at < len(p.tokens) && at < h.to+3 && (p.lang.codeMarks[p.tokens[at].text] || p.filler(at)) {
			at++
		}
	}
	weak := false
	if h := p.hitAt(shows, i); !announced && h.entry != nil {
		for at = h.to; at < len(p.tokens) && at < h.to+3 && (p.lang.codeMarks[p.tokens[at].text] || p.filler(at) ||
			p.lang.articles[p.tokens[at].text]); {
			at++
		}
		if at >= len(p.tokens) || !p.bareCode(at) && !p.lettered(at) {
			return mention{}, false
		}
		announced, weak, i = true, true, at
	}
	if !announced && p.noughtFirst(i) {
		announced = true
	}
	letter, strange := false, false
	if at+1 < len(p.tokens) && !p.tokens[at].number {
		t := p.tokens[at]
		letter, strange = p.lang.letters[t.text], p.lang.others[t.text]
		if letter && !announced && len(t.text) > 1 && !p.tokens[at+1].glued || strange && !p.tokens[at+1].glued {
			return mention{}, false
		}
		if letter || strange {
			for at++; letter && at+1 < len(p.tokens) && p.lang.codeMarks[p.tokens[at].text]; {
				at++ // E dash 08
			}
		}
		if at+1 < len(p.tokens) && p.tokens[at].text == "o" && p.tokens[at+1].number && p.tokens[at+1].glued {
			at++ // the letter for a zero: EO8
		}
	}
	if at >= len(p.tokens) || !p.tokens[at].number || !announced && !letter && !strange {
		return mention{}, false
	}
	if t := p.tokens[at]; t.value == 0 && at+1 < len(p.tokens) && p.tokens[at+1].number && !t.odd {
		at++ // zero eight
	}
	m := mention{from: i, to: at + 1, on: span(i, at+1)}
	m.reading = Reading{ID: p.roles().Code, State: p.codeState(at, letter)}
	if strange && m.reading.State != "" {
		m.reading.State = otherCode // a code of another kind, whatever its number
	}
	known := p.reader.codes[int(p.tokens[at].value)]
	if strange && known != "" {
		m.others = []Reading{{ID: p.roles().Code, State: known}} // a slip of the finger, perhaps
	}
	m.unsure = strange && (!announced || known != "") ||
		weak && !strange && !strings.HasPrefix(p.tokens[at].text, "0") ||
		m.reading.State == "" || !letter &&
		p.counts(at) || p.doubtfulCode(i, at) ||
		m.reading.State == otherCode && !announced && !p.shown(i, at+1)
	return m, true
}

// noughtFirst reports whether a number is written as only a code is: 08.
func (p *page) noughtFirst(at int) bool {
	t := p.tokens[at]
	return t.digits && !t.odd && !t.decimal && len(t.text) == 2 && t.text[0] == '0' && !t.glued && p.bareCode(at)
}

// lettered reports whether a letter stands at a place and a number close behind it.
func (p *page) lettered(at int) bool {
	t := p.tokens[at].text
	return at+1 < len(p.tokens) && p.lang.others[t] && p.tokens[at+1].number && p.tokens[at+1].glued
}

// bareCode reports whether a number without anything beside it can be a code: a small whole one, no reading of a meter.
func (p *page) bareCode(at int) bool {
	t := p.tokens[at]
	if !t.number || t.odd || t.decimal || p.reader.codes[int(t.value)] == "" {
		return false
	}
	return at+1 >= len(p.tokens) || p.tokens[at+1].mark || !p.tokens[at+1].number && p.hitAt(unit, at+1).entry == nil
}

func span(from, to int) []int {
	out := make([]int, 0, to-from)
	for i := from; i < to; i++ {
		out = append(out, i)
	}
	return out
}

// shown reports whether a code without its announcement is said to be shown, or makes up its clause.
func (p *page) shown(from, to int) bool {
	if from > 0 && p.lang.codeMarks[p.tokens[from-1].text] {
		return true
	}
	return (from == 0 || p.tokens[from-1].mark) && (to == len(p.tokens) || p.tokens[to].mark)
}

// hitAt is the longest phrase of a role that begins at token i.
func (p *page) hitAt(r role, i int) hit {
	var out hit
	for _, h := range p.begin(i, i+1) {
		if h.role == r && h.to > out.to {
			out = h
		}
	}
	return out
}

// codeState is the state that a number stands for, or none if that cannot be said.
func (p *page) codeState(at int, letter bool) string {
	t := p.tokens[at]
	if t.odd || t.decimal || t.value < 1 || t.value > 99 || t.digits && t.to-t.from > 2 {
		return ""
	}
	n := int(t.value)
	if s, ok := p.reader.codes[n]; ok {
		return s
	}
	if !letter && slices.ContainsFunc(p.reader.model.CodeTables,
		func(c knowledge.CodeTable) bool { return c.Codes[strconv.Itoa(n)] != "" }) {
		return ""
	}
	if o, ok := p.reader.model.Observation(p.roles().Code); ok && slices.Contains(o.States, otherCode) {
		return otherCode
	}
	return ""
}

// counts reports whether the number at a place counts or measures something, or is a word that need not be a number.
func (p *page) counts(at int) bool {
	if at+1 >= len(p.tokens) {
		return false
	}
	next := p.tokens[at+1]
	if p.hitAt(unit, at+1).entry != nil {
		return true
	}
	return !p.tokens[at].digits && !next.mark && !p.lang.joins[next.text] && !p.lang.breaks[next.text] &&
		!p.lang.or[next.text]
}

// doubtfulCode reports whether words in the clause say that this is no code at all, such as a kind of petrol.
func (p *page) doubtfulCode(from, at int) bool {
	return slices.ContainsFunc(p.hitsOf(notCode), func(h hit) bool {
		return p.clauseOf[h.from] == p.clauseOf[from] || p.clauseOf[h.from] == p.clauseOf[at]
	})
}

// tables finds codes told in the manner of a code table, such as counted blinks.
func (p *page) tables() []mention {
	var out []mention
	for _, h := range p.longest(p.hitsOf(table)) {
		if !p.free(h.from, h.to) {
			continue
		}
		m := mention{from: h.from, to: h.to, on: span(h.from, h.to), reading: Reading{ID: p.roles().Code}}
		for i := h.from; i < h.to; i++ {
			if t := p.tokens[i]; t.number {
				m.reading.State = p.inTable(h.name, strconv.FormatFloat(t.value, 'f', -1, 64))
			}
		}
		m.unsure = m.reading.State == ""
		p.consume(h.from, h.to)
		out = append(out, m)
		if !m.unsure {
			m.reading = Reading{ID: p.roles().CodeTable, State: h.name}
			out = append(out, m)
		}
	}
	return out
}

func (p *page) inTable(name, shown string) string {
	for _, t := range p.reader.model.CodeTables {
		if t.ID == name {
			return t.Codes[shown]
		}
	}
	return ""
}

// date tells earlier codes from the present one by the words nearest to them in their clause. Where the present one is
// marked as such, the ones before it are earlier. Of two that come in turn the first is taken for the earlier one.
func (p *page) date(codes []mention) {
	if p.inTurn(codes) {
		codes[0].reading.ID = p.roles().EarlierCode
		return
	}
	present := -1
	for i := range codes {
		c := &codes[i]
		if c.reading.ID != p.roles().Code {
			continue
		}
		was, is := p.nearestOf(c, earlier, past), p.nearestOf(c, now)
		switch {
		case was >= 0 && was == is:
			c.unsure = true
		case was >= 0 && (is < 0 || was < is):
			c.reading.ID = p.roles().EarlierCode
		case is >= 0:
			present = i
		case p.datedBefore(c):
			c.unsure = true
		}
	}
	for i := 0; i < present; i++ {
		if c := &codes[i]; c.reading.ID == p.roles().Code && c.reading.State != codes[present].reading.State {
			c.reading.ID = p.roles().EarlierCode
		}
	}
}

// inTurn reports whether these are two different codes that one sentence says to come in turn.
func (p *page) inTurn(codes []mention) bool {
	if len(codes) != 2 || codes[0].reading.State == codes[1].reading.State {
		return false
	}
	sentence := func(i int) int { return p.clauses[p.clauseOf[i]].sentence }
	for _, c := range codes {
		if c.reading.ID != p.roles().Code || c.unsure || sentence(c.from) != sentence(codes[0].from) {
			return false
		}
	}
	return slices.ContainsFunc(p.hitsOf(turns), func(h hit) bool { return sentence(h.from) == sentence(codes[0].from) })
}

// dateTold tells codes that were told in words, that there was none or a dark display, from the present one.
func (p *page) dateTold() {
	for i := range p.mentions {
		m := &p.mentions[i]
		if m.rule == nil || !m.rule.tells(p.roles().Code) {
			continue
		}
		was, is := p.nearestOf(m, earlier, past), p.nearestOf(m, now)
		if m.before = was >= 0 && (is < 0 || was < is); m.before {
			m.unsure = false
		}
	}
}

// earlierCodes makes earlier codes of codes, and leaves out what else was so then.
func (p *page) earlierCodes(rs []Reading) []Reading {
	var out []Reading
	for _, r := range rs {
		if r.ID == p.roles().Code {
			r.ID = p.roles().EarlierCode
			out = append(out, r)
		}
	}
	return out
}

// nearestOf is how far the nearest phrase of the roles is from a code in its clause, or -1.
func (p *page) nearestOf(c *mention, roles ...role) int {
	best, in := -1, p.clauses[p.clauseOf[c.from]]
	for _, h := range p.begin(in.from, in.to) {
		if !slices.Contains(roles, h.role) {
			continue
		}
		d := 2 * (c.from - h.to) // what stands before is a little nearer
		if h.from >= c.to {
			d = 2*(h.from-c.to) + 1
		}
		if d = max(d, 0); best < 0 || d < best {
			best = d
		}
	}
	return best
}

// datedBefore reports whether the clause just before a code's, in the same sentence, speaks of an earlier time.
func (p *page) datedBefore(c *mention) bool {
	k := p.clauseOf[c.from]
	if k == 0 || p.clauses[k-1].sentence != p.clauses[k].sentence {
		return false
	}
	dated := slices.ContainsFunc(p.hits, func(h hit) bool { return h.role == earlier && p.clauseOf[h.from] == k-1 })
	return dated && !slices.ContainsFunc(p.hitsOf(codeWord), func(h hit) bool { return p.clauseOf[h.from] == k-1 })
}

// roles are the observations of codes, as the model names them.
func (p *page) roles() knowledge.Roles { return p.reader.model.Roles }
