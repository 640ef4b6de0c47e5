package words

import (
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

// states lists what an observation or setup fact can be, and its unit if it is a number.
func (r *Reader) states(id string) (states []string, unit string) {
	if o, ok := r.model.Observation(id); ok {
		return o.States, o.Unit
	}
	if s, ok := r.model.SetupFact(id); ok {
		for _, st := range s.States {
			states = append(states, st.ID)
		}
		return states, s.Unit
	}
	return nil, ""
}

// answer reads the whole text as the answer to the open question: a number, a state, its label, that it cannot be
// told, or that it is as it was before.
func (p *page) answer(c Context) *Reading {
	if c.Offer != nil && (c.Asked == "" || c.Asked == c.Offer.ID) && p.all(yes) {
		return c.Offer
	}
	states, unit := p.reader.states(c.Asked)
	if states == nil && unit == "" {
		return nil
	}
	content := p.content()
	if unit != "" && p.tokens[content[0]].number && (len(content) == 1 || p.joined(content[1:]) == folded(unit)) {
		return p.bareNumber(c.Asked, content[0])
	}
	said := p.joined(content)
	label := p.reader.model.Text(p.locale).Observations[c.Asked].States
	for _, s := range states {
		if said == folded(s) || said == folded(strings.ReplaceAll(s, "_", " ")) || said == folded(label[s]) {
			return &Reading{ID: c.Asked, State: s}
		}
	}
	if t := p.tokens[content[0]]; c.Asked == p.roles().Code && len(content) == 1 && t.number {
		if s, ok := p.reader.codes[int(t.value)]; ok && !t.odd && !t.decimal {
			return &Reading{ID: c.Asked, State: s}
		}
	}
	if r := p.answeredCode(c.Asked, content); r != nil {
		return r
	}
	switch {
	case p.all(unknown):
		return &Reading{ID: c.Asked, Unknown: true}
	case c.Was != nil && p.all(asBefore):
		return c.Was
	}
	return nil
}

// answeredCode reads a letter and a number that no table has as another code, where the question is for one.
func (p *page) answeredCode(asked string, content []int) *Reading {
	if asked != p.roles().Code || len(content) < 2 {
		return nil
	}
	a, b := p.tokens[content[len(content)-2]], p.tokens[content[len(content)-1]]
	if len(content) > 4 || a.number || len(a.text) > 2 || p.lang.letters[a.text] || !b.number || !b.glued || b.decimal {
		return nil
	}
	return &Reading{ID: asked, State: otherCode}
}

// corrected reads a text that says of the number in the one before where it was read, after all: "no, I meant the
// battery".
func (p *page) corrected(c Context) []mention {
	if len(p.hitsOf(instead)) == 0 || c.Before == "" || slices.ContainsFunc(p.tokens,
		func(t token) bool { return t.number }) {
		return nil
	}
	was := p.reader.open(c.Before, c.Locale)
	was.part()
	figures := was.figures()
	if len(figures) != 1 {
		return nil
	}
	was.places(figures)
	f := figures[0]
	for _, h := range p.hits {
		if h.role == place || h.role == speaks {
			f.own[h.name] = true
		}
	}
	best, tied := was.choose(f, f.own)
	if best == nil || tied {
		return nil
	}
	m := mention{from: 0, to: len(p.tokens), on: span(0, len(p.tokens)), reading: value(*best, f.value)}
	m.unsure = !p.possible(m.reading)
	return []mention{m}
}

// all reports whether phrases of a role and small words make up the whole text.
func (p *page) all(r role) bool {
	covered := make([]bool, len(p.tokens))
	found := false
	for _, h := range p.hitsOf(r) {
		found = true
		for i := h.from; i < h.to; i++ {
			covered[i] = true
		}
	}
	for i, t := range p.tokens {
		if !covered[i] && !t.mark && !p.filler(i) && !p.lang.joins[t.text] {
			return false
		}
	}
	return found
}

// content lists the tokens that are no punctuation at the end.
func (p *page) content() []int {
	var out []int
	for i, t := range p.tokens {
		if !t.mark || t.text == "?" {
			out = append(out, i)
		}
	}
	if len(out) == 0 {
		out = append(out, 0)
	}
	return out
}

func (p *page) joined(content []int) string {
	var b strings.Builder
	for _, i := range content {
		b.WriteString(p.tokens[i].text)
	}
	return b.String()
}

// folded is a text as joined gives it: nothing but its letters, digits and degree signs.
func folded(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(" ,.;:!?/()-–'’", r) {
			return -1
		}
		return r
	}, knowledge.Fold(s))
}

// bareNumber is a number as the answer to the open question, if it can be one.
func (p *page) bareNumber(asked string, at int) *Reading {
	t := p.tokens[at]
	out := Reading{ID: asked, Number: t.value, IsNumber: true}
	if t.odd || !p.possible(out) {
		return nil
	}
	return &out
}

// meansYesNo gives the states that yes and no stand for as an answer to a question.
func (p *page) meansYesNo(asked string) (yes, no string) {
	for _, a := range p.reader.model.Answers {
		if a.ID == asked {
			return a.Yes, a.No
		}
	}
	if states, _ := p.reader.states(asked); slices.Contains(states, "yes") && slices.Contains(states, "no") {
		return "yes", "no"
	}
	return "", ""
}

// firstYesNo reads a yes or no that stands alone in the first clause as the answer to the open question.
func (p *page) firstYesNo(asked string) []mention {
	if len(p.clauses) == 0 {
		return nil
	}
	whenYes, whenNo := p.meansYesNo(asked)
	for _, x := range []struct {
		role  role
		state string
	}{{yes, whenYes}, {no, whenNo}} {
		h := p.hitAt(x.role, 0)
		if h.entry == nil || !p.free(h.from, h.to) || x.state == "" {
			continue
		}
		first := p.clauses[0]
		if p.gap(h.to, first.to) > p.marks(h.to, first.to) || first.question {
			return nil
		}
		if !p.reader.graves[asked] && slices.ContainsFunc(p.mentions, func(m mention) bool {
			return m.rule != nil &&
				m.rule.tells(asked)
		}) {
			return nil // the answer is told in other words as well, and better
		}
		p.consume(h.from, h.to)
		return []mention{{from: h.from, to: h.to, on: h.on, reading: Reading{ID: asked, State: x.state}}}
	}
	return nil
}

func (p *page) marks(from, to int) int {
	n := 0
	for i := from; i < to; i++ {
		if p.tokens[i].mark {
			n++
		}
	}
	return n
}
