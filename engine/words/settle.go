package words

import (
	"slices"
)

// judged is a mention with what was made of it.
type judged struct {
	mention
	readings []Reading
	outcome  outcome
}

// settle turns mentions into readings and offers. What is said twice is one reading; of what contradicts itself each
// is an offer; what is vague in one place and clear in another is clear.
func (p *page) settle() Result {
	var all []judged
	clear := map[string][]Reading{}
	denied := map[string]bool{}
	for _, m := range p.mentions {
		rs, o := p.judge(m)
		if o == meansNothing {
			continue
		}
		rs = slices.Clone(rs)
		for i := range rs {
			rs[i] = p.words(rs[i], m)
			rs[i].firm = m.denied > 0 || m.tight
		}
		all = append(all, judged{m, rs, o})
		if o != believed {
			continue
		}
		for _, r := range rs {
			clear[r.ID] = append(clear[r.ID], r)
			denied[r.ID] = denied[r.ID] || m.denied > 0
		}
	}
	for id, rs := range clear { // a figure says more than a word for it
		figures := slices.DeleteFunc(slices.Clone(rs), func(r Reading) bool { return !r.IsNumber })
		if len(figures) > 0 && len(figures) < len(rs) {
			clear[id] = figures
		}
	}
	var out Result
	done := map[string]bool{}
	for _, j := range all {
		if j.outcome == believed {
			p.believe(&out, j, clear, denied, done)
			continue
		}
		if p.settled(j, clear, denied) {
			continue
		}
		p.offer(&out, j.readings, j.mention)
	}
	for _, j := range all {
		if j.outcome == believed && j.denied == 0 && j.rule != nil {
			p.imply(&out, j.mention)
		}
	}
	p.follow(&out)
	out.Unclear = slices.Compact(out.Unclear)
	return out
}

// follow takes up what is so by definition, with the words of the last thing that it follows from.
func (p *page) follow(out *Result) {
	for _, x := range p.reader.model.Follows {
		var last *Reading
		for _, f := range x.When {
			i := slices.IndexFunc(out.Readings, func(r Reading) bool { return r.ID == f.ID && r.State == f.State })
			if i < 0 {
				last = nil
				break
			}
			if last == nil || out.Readings[i].From > last.From {
				last = &out.Readings[i]
			}
		}
		if last == nil {
			continue
		}
		for _, r := range readings(x.Then) {
			r.Words, r.From, r.To = last.Words, last.From, last.To
			about := func(o Reading) bool { return o.ID == r.ID }
			offered := slices.IndexFunc(out.Offers, func(o Offer) bool { return about(o.Reading) })
			if slices.ContainsFunc(out.Readings, about) || offered >= 0 && out.Offers[offered].State != r.State {
				continue
			}
			if offered >= 0 {
				out.Offers = slices.Delete(out.Offers, offered, offered+1)
			}
			at := slices.IndexFunc(out.Readings, func(o Reading) bool { return o.From > r.From })
			if at < 0 {
				at = len(out.Readings)
			}
			out.Readings = slices.Insert(out.Readings, at, r)
		}
	}
}

// imply takes up what something means besides, where nothing else was said of it.
func (p *page) imply(out *Result, m mention) {
	for _, r := range readings(m.rule.Implies) {
		about := func(x Reading) bool { return x.ID == r.ID }
		if slices.ContainsFunc(out.Readings, about) || slices.ContainsFunc(out.Offers,
			func(o Offer) bool { return about(o.Reading) }) {
			continue
		}
		r = p.words(r, m)
		at := slices.IndexFunc(out.Readings, func(x Reading) bool { return x.From > r.From })
		if at < 0 {
			at = len(out.Readings)
		}
		out.Readings = slices.Insert(out.Readings, at, r)
	}
}

// settled reports whether what is likely meant was said outright elsewhere, without contradiction.
func (p *page) settled(j judged, clear map[string][]Reading, denied map[string]bool) bool {
	if len(j.readings) == 0 {
		return false
	}
	id := j.readings[0].ID
	same := agree(clear[id]) && !(denied[id] && p.vagueElsewhere(id))
	vague := j.rule != nil && j.rule.Either || j.far
	return len(clear[id]) > 0 && same && vague && !j.unsure && j.denied == 0
}

// believe takes up what was said outright, unless something else was said as well.
func (p *page) believe(out *Result, j judged, clear map[string][]Reading, denied, done map[string]bool) {
	for _, r := range j.readings {
		switch {
		case clear[r.ID][0].IsNumber && !r.IsNumber:
		case !agree(clear[r.ID]) || denied[r.ID] && p.vagueElsewhere(r.ID):
			p.offer(out, []Reading{r}, j.mention)
		case !done[r.ID]:
			done[r.ID] = true
			out.Readings = append(out.Readings, r)
		}
	}
}

// offer takes up what is likely meant, or hands the words back where nothing is.
func (p *page) offer(out *Result, rs []Reading, m mention) {
	var sound []Reading
	for _, r := range rs {
		if p.possible(r) && !slices.ContainsFunc(sound, func(s Reading) bool { return sameValue(s, r) }) {
			sound = append(sound, r)
		}
	}
	if len(sound) == 0 {
		out.Unclear = append(out.Unclear, p.words(Reading{}, m).Words)
		return
	}
	o := Offer{Reading: sound[0], Alternatives: sound[1:], doubted: m.doubted || m.denied > 0}
	for i, s := range sound {
		o.Danger = o.Danger || p.reader.dangerous(s) && (i == 0 || m.rule == nil || !m.rule.Either || m.rule.Last)
	}
	for _, was := range out.Offers {
		if sameValue(was.Reading, o.Reading) && was.From == o.From {
			return
		}
	}
	out.Offers = append(out.Offers, o)
}

func sameValue(a, b Reading) bool {
	return a.ID == b.ID && a.State == b.State && a.Number == b.Number && a.Unknown == b.Unknown
}

// vagueElsewhere reports whether the observation is also spoken of without its state and without negation.
func (p *page) vagueElsewhere(id string) bool {
	return slices.ContainsFunc(p.mentions, func(m mention) bool {
		return m.rule != nil && m.rule.Either && m.denied == 0 && m.rule.Means[0].ID == id
	})
}

func agree(rs []Reading) bool {
	return !slices.ContainsFunc(rs, func(r Reading) bool { return r.State != rs[0].State || r.Number != rs[0].Number })
}

// words gives a reading the words that it came from.
func (p *page) words(r Reading, m ...mention) Reading {
	from, to := 0, len(p.tokens)
	if len(m) > 0 {
		from, to = m[0].from, m[0].to
	}
	for to > from+1 && p.tokens[to-1].mark {
		to--
	}
	r.From, r.To = p.tokens[from].from, p.tokens[to-1].to
	r.Words = p.text[r.From:r.To]
	return r
}
