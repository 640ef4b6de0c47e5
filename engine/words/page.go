package words

import (
	"cmp"
	"slices"
	"strconv"

	"lightoff/engine/knowledge"
)

// page is a text while it is being read.
type page struct {
	reader   *Reader
	lang     *language
	text     string
	locale   string
	main     []*tongue // of each token: the language that its sentence is mostly in
	tokens   []token
	keys     [][]string // of each token: how it shows itself in the tree of phrases
	hits     []hit      // in the order in which they begin
	starts   []int      // of each token, and of the end: the first hit that begins there or later
	coded    []hit      // codes that were read
	spoken   []hit      // those that speak of a thing or say something of one, the longest only
	costs    []float64  // of each token, and of the end: how far apart two places are is the difference
	cuts     []int      // of each token, and of the end: how many marks and joining words stand before it
	clauses  []clause
	clauseOf []int  // of each token
	taken    []bool // tokens that are used up by what they mean
	mentions []mention
	idle     []int    // tokens of negations that deny nothing known
	counted  []figure // numbers that can be readings
}

// hit is a phrase found in the text.
type hit struct {
	*entry
	from, to int   // tokens
	on       []int // the tokens that its words stand on; what a phrase passes over is not among them
	inner    bool  // a longer phrase that speaks of something uses all its words and more
}

// clause is a stretch of tokens within which a negation or a doubt works.
type clause struct {
	from, to int
	sentence int
	question bool
	doubtful bool // doubted, or told by others
	past     bool
}

// open cuts a text into tokens and finds every phrase in it.
func (r *Reader) open(text, locale string) *page {
	p := &page{reader: r, lang: r.language, text: text, locale: base(locale, r.model)}
	p.tokens = p.lang.tokens(text, p.locale)
	p.taken = make([]bool, len(p.tokens))
	p.keys = make([][]string, len(p.tokens))
	seen := map[string]int{}
	for i := range p.tokens {
		t := &p.tokens[i]
		if first, ok := seen[t.text]; ok && !t.number {
			*t = token{from: t.from, to: t.to, text: t.text, glued: t.glued, mark: t.mark, alts: p.tokens[first].alts,
				parts: p.tokens[first].parts}
			p.keys[i] = p.keys[first]
			continue
		}
		p.keys[i] = p.spell(t)
		seen[t.text] = i
	}
	p.find()
	p.main = p.mostly()
	p.speak()
	p.measure()
	return p
}

// base is the locale of the model's texts that serve the locale.
func base(locale string, m *knowledge.Model) string {
	if t := m.Text(locale); t != nil {
		return t.Locale
	}
	return locale
}

// spell tells how a token shows itself in the tree of phrases: as it is written, by its stem in each language, by the
// parts of which it is made up, or by the words that it may be a misspelling of.
func (p *page) spell(t *token) []string {
	if t.mark {
		return []string{t.text}
	}
	keys := []string{"=" + t.text}
	if t.number {
		if !t.odd {
			keys = append(keys, "#")
			w := strconv.FormatFloat(t.value, 'f', -1, 64)
			if w != t.text {
				keys = append(keys, "="+w)
			}
			for _, in := range p.lang.tongues {
				keys = append(keys, in.key(w))
				if w != t.text {
					keys = append(keys, in.key(t.text))
				}
			}
		}
		return keys
	}
	whole := p.lang.known[t.text]
	for _, in := range p.lang.tongues {
		keys = append(keys, in.key(t.text))
		whole = whole || in.stems[in.stem(t.text)]
	}
	if whole {
		return keys
	}
	for _, in := range p.lang.tongues {
		if parts := p.lang.parts(t.text, in); parts != nil {
			t.parts = len(parts)
			for _, w := range parts {
				keys = append(keys, in.key(w))
			}
			return keys
		}
	}
	t.alts = p.lang.misspelt(t.text)
	if len(t.alts) == 0 {
		for _, in := range p.lang.tongues {
			if tail := in.tail(t.text); tail != "" {
				t.parts = 2
				return append(keys, in.key(tail))
			}
		}
	}
	for _, a := range t.alts {
		keys = append(keys, "="+a)
		for _, in := range p.lang.tongues {
			if in.own[a] {
				keys = append(keys, in.key(a))
			}
		}
	}
	return keys
}

func (p *page) filler(i int) bool {
	return i >= 0 && i < len(p.tokens) && p.lang.fillers[p.tokens[i].text]
}

// How many words a phrase passes over: small ones between any two of its words, others where it has a gap.
const (
	maxFillers = 3
	maxGap     = 6
)

// find collects every phrase that fits somewhere.
func (p *page) find() {
	for i := range p.tokens {
		p.starts = append(p.starts, len(p.hits))
		if !p.tokens[i].mark {
			w := walker{page: p, start: i, first: len(p.hits)}
			w.word(p.lang.root, i)
		}
	}
	p.starts = append(p.starts, len(p.hits))
}

// walker follows the tree of phrases from one token on.
type walker struct {
	*page
	start, first int
	on           [10]int
	n            int
}

// word takes token i as the next word of every phrase that can go on with it.
func (w *walker) word(at *node, i int) {
	if i >= len(w.tokens) || w.n == len(w.on) {
		return
	}
	w.on[w.n] = i
	w.n++
	for k, key := range w.keys[i] {
		if next := at.next[key]; next != nil && !slices.Contains(w.keys[i][:k], key) {
			w.after(next, i)
		}
	}
	if t := &w.tokens[i]; at.any != nil && !t.mark && (!t.number || !t.digits) {
		w.after(at.any, i)
	}
	w.n--
	for _, on := range at.on {
		w.word(on, i)
	}
}

// after goes on behind token i.
func (w *walker) after(at *node, i int) {
	for _, e := range at.ends {
		w.hit(e, i+1)
	}
	if at.next != nil || at.any != nil {
		for j, skipped := i+1, 0; j < len(w.tokens); j, skipped = j+1, skipped+1 {
			w.word(&node{next: at.next, any: at.any}, j)
			if skipped == maxFillers || !w.filler(j) {
				break
			}
		}
	}
	if at.gap != nil {
		for j, skipped := i+1, 0; j < len(w.tokens) && skipped <= maxGap && !w.tokens[j].mark; j, skipped = j+1, skipped+1 {
			w.word(at.gap, j)
		}
	}
	for _, on := range at.on {
		w.after(on, i)
	}
}

func (w *walker) hit(e *entry, to int) {
	for i := w.first; i < len(w.hits); i++ {
		h := &w.hits[i]
		if h.role == e.role && h.name == e.name && h.in == e.in && h.to == to && slices.Equal(h.on, w.on[:w.n]) {
			return
		}
	}
	w.hits = append(w.hits, hit{entry: e, from: w.start, to: to, on: slices.Clone(w.on[:w.n])})
}

// begin lists the phrases that begin in a stretch of tokens.
func (p *page) begin(from, to int) []hit {
	from, to = max(from, 0), min(to, len(p.tokens))
	if from >= to {
		return nil
	}
	return p.hits[p.starts[from]:p.starts[to]]
}

// hitsOf lists the phrases of a role, in the order of the text.
func (p *page) hitsOf(r role) []hit {
	var out []hit
	for _, h := range p.hits {
		if h.role == r {
			out = append(out, h)
		}
	}
	return out
}

// mostly tells of each token in which language most words of its sentence are; where that is not plain, it is the one
// that was asked for.
func (p *page) mostly() []*tongue {
	out := make([]*tongue, len(p.tokens))
	asked := p.lang.tongues[0]
	for _, in := range p.lang.tongues {
		if in.locale == p.locale {
			asked = in
		}
	}
	for from := 0; from < len(p.tokens); {
		to := from
		for to < len(p.tokens) && (!p.tokens[to].mark || p.tokens[to].text == ",") {
			to++
		}
		best, most := asked, p.own(asked, from, to)
		for _, in := range p.lang.tongues {
			if n := p.own(in, from, to); n > most && 2*n > 3*p.own(asked, from, to) {
				best, most = in, n
			}
		}
		for to = min(to+1, len(p.tokens)); from < to; from++ {
			out[from] = best
		}
	}
	return out
}

// own counts the words of a stretch that are of a language.
func (p *page) own(in *tongue, from, to int) int {
	n := 0
	for i := from; i < to; i++ {
		if t := &p.tokens[i]; !t.mark && !t.number && in.own[t.text] {
			n++
		}
	}
	return n
}

// foreign reports whether a phrase of another language stands on words that mean something else in its sentence's own.
func (p *page) foreign(h hit) bool {
	in := p.main[h.from]
	if h.in == in || h.role != speaks && h.role != place && h.role != unit {
		return false
	}
	for _, i := range h.on {
		if t := &p.tokens[i]; !t.number && !t.mark && in.own[t.text] {
			return true
		}
	}
	return false
}

// speak keeps of the phrases that speak of things those that are no part of a longer phrase, whatever that does.
func (p *page) speak() {
	p.hits = slices.DeleteFunc(p.hits, p.foreign)
	p.starts = p.starts[:0]
	for i, at := 0, 0; i <= len(p.tokens); i++ {
		for at < len(p.hits) && p.hits[at].from < i {
			at++
		}
		p.starts = append(p.starts, at)
	}
	for _, h := range p.hits {
		if h.role != speaks {
			continue
		}
		longer, same := p.within(h)
		if longer == nil {
			p.spoken = append(p.spoken, h)
		} else if longer.role == speaks && !same {
			h.inner = true
			p.spoken = append(p.spoken, h)
		}
	}
}

// within is a longer phrase that uses all of a phrase's words and more, if there is one; same reports whether one of
// them speaks of the same. Phrases that do something else in the sentence come before those that speak of things.
func (p *page) within(h hit) (longer *hit, same bool) {
	near := p.begin(h.from-2*maxGap, h.to)
	for i := range near {
		o := &near[i]
		if len(o.on) <= len(h.on) || o.role == place || o.role == unit || o.to < h.to ||
			slices.ContainsFunc(h.on, func(i int) bool { return !slices.Contains(o.on, i) }) {
			continue
		}
		if longer == nil || o.role != speaks {
			longer = o
		}
		same = same || o.role == speaks && o.id == h.id
	}
	return longer, same
}

// What stands between two words, as a distance.
const (
	wordCost     = 1.0
	fillerCost   = 0.4
	commaCost    = 1.5
	joinCost     = 0.8
	breakCost    = 1.5
	sentenceCost = 14.0
	pronounGain  = 10.0 // where the next sentence begins with a pronoun
)

// measure lays out how far apart things stand.
func (p *page) measure() {
	p.costs, p.cuts = make([]float64, len(p.tokens)+1), make([]int, len(p.tokens)+1)
	for i, t := range p.tokens {
		c := wordCost
		switch {
		case t.mark && t.text == ",":
			c = commaCost
		case t.mark:
			c = sentenceCost
			for j := i + 1; j < min(i+3, len(p.tokens)); j++ {
				if p.lang.pronouns[p.tokens[j].text] {
					c = sentenceCost - pronounGain
				}
			}
		case p.lang.breaks[t.text]:
			c = breakCost
		case p.lang.joins[t.text], p.lang.or[t.text]:
			c = joinCost
		case p.lang.fillers[t.text]:
			c = fillerCost
		}
		p.costs[i+1], p.cuts[i+1] = p.costs[i]+c, p.cuts[i]
		if t.mark || p.lang.breaks[t.text] || p.lang.joins[t.text] {
			p.cuts[i+1]++
		}
	}
}

// longest keeps of overlapping phrases the longest; of equally long ones the first.
func (p *page) longest(hits []hit) []hit {
	slices.SortStableFunc(hits, func(a, b hit) int {
		return cmp.Or(cmp.Compare(len(b.on), len(a.on)), cmp.Compare(a.from, b.from))
	})
	var out []hit
	used := make([]bool, len(p.tokens))
	for _, h := range hits {
		if slices.ContainsFunc(h.on, func(i int) bool { return used[i] }) {
			continue
		}
		for _, i := range h.on {
			used[i] = true
		}
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b hit) int { return cmp.Compare(a.from, b.from) })
	return out
}

// misspelt reports whether any of some tokens was read through a typing error.
func (p *page) misspelt(on []int) bool {
	return slices.ContainsFunc(on, func(i int) bool { return len(p.tokens[i].alts) > 0 })
}

// part cuts the text into clauses: at punctuation, and before words that begin a new thought, unless they are part of
// what something means.
func (p *page) part() {
	p.clauses, p.clauseOf = nil, make([]int, len(p.tokens))
	current := clause{}
	finish := func(at int) {
		current.to = at
		p.clauses = append(p.clauses, current)
		current = clause{from: at, sentence: current.sentence}
	}
	for i, t := range p.tokens {
		if !t.mark && !p.taken[i] && (p.lang.joins[t.text] || p.lang.breaks[t.text]) && i > current.from {
			finish(i)
		}
		p.clauseOf[i] = len(p.clauses)
		if !t.mark || p.taken[i] {
			continue
		}
		current.question = t.text == "?"
		finish(i + 1)
		if t.text != "," {
			current.sentence++
		}
	}
	finish(len(p.tokens))
}

// free reports whether none of the tokens is used up.
func (p *page) free(from, to int) bool { return !slices.Contains(p.taken[from:to], true) }

func (p *page) consume(from, to int) {
	for i := from; i < to; i++ {
		p.taken[i] = true
	}
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
