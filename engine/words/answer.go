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

// answer reads the whole text as the answer to the open question: a number, a state, its label, or yes and no.
func (p *page) answer(asked string) *Reading {
	states, unit := p.reader.states(asked)
	if len(p.tokens) == 0 || states == nil && unit == "" {
		return nil
	}
	content := p.content()
	if unit != "" && p.tokens[content[0]].number && (len(content) == 1 || p.joined(content[1:]) == folded(unit)) {
		return p.bareNumber(asked, content[0])
	}
	said := p.joined(content)
	for _, s := range states {
		if slices.Contains([]string{folded(s), folded(strings.ReplaceAll(s, "_", " ")), folded(p.reader.model.Text(p.locale).Observations[asked].States[s])}, said) {
			return &Reading{ID: asked, State: s}
		}
	}
	if t := p.tokens[content[0]]; asked == faultCode && len(content) == 1 && t.number {
		if s, ok := p.reader.codes[int(t.value)]; ok && !t.odd && !t.decimal {
			return &Reading{ID: asked, State: s}
		}
	}
	return nil
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

// firstYesNo reads a yes or no that stands alone in the first clause as the answer to the open question.
func (p *page) firstYesNo(asked string) []mention {
	states, _ := p.reader.states(asked)
	if !slices.Contains(states, "yes") || !slices.Contains(states, "no") || len(p.clauses) == 0 {
		return nil
	}
	for r, state := range map[role]string{yes: "yes", no: "no"} {
		h := p.at(r, 0)
		if h.entry == nil || !p.free(h.from, h.to) {
			continue
		}
		first := p.clauses[0]
		if p.gap(h.to, first.to) > p.marks(h.to, first.to) || first.question {
			return nil
		}
		p.take(h.from, h.to)
		return []mention{{from: h.from, to: h.to, reading: Reading{ID: asked, State: state}}}
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
