package words

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"lightoff/engine/knowledge"
)

// page is a text while it is being read.
type page struct {
	reader   *Reader
	lang     *language
	text     string
	locale   string
	tokens   []token
	hits     []hit // in the order in which they begin
	starts   []int // of each token, and of the end: the first hit that begins there or later
	clauses  []clause
	clauseOf []int  // of each token
	taken    []bool // tokens that sayings have used up
	mentions []mention
	idle     []int // tokens of negations that deny nothing known
}

// hit is a phrase found in the text.
type hit struct {
	*entry
	from, to int // tokens
}

// clause is a stretch of tokens within which a negation or a doubt works.
type clause struct {
	from, to int
	sentence int
	question bool
	doubtful bool
}

// open cuts a text into tokens and finds every phrase in it.
func (r *Reader) open(text, locale string) *page {
	p := &page{reader: r, lang: r.language, text: text, locale: base(locale, r.model)}
	p.tokens = p.lang.tokens(text, p.locale)
	p.taken = make([]bool, len(p.tokens))
	spelt := map[string][]string{}
	for i := range p.tokens {
		t := &p.tokens[i]
		if t.number || t.mark {
			continue
		}
		alts, ok := spelt[t.text]
		if !ok {
			alts = p.lang.misspelt(t.text)
			spelt[t.text] = alts
		}
		t.alts = alts
	}
	p.find()
	return p
}

// base is the locale of the model's texts that serve the locale.
func base(locale string, m *knowledge.Model) string {
	if t := m.Text(locale); t != nil {
		return t.Locale
	}
	return locale
}

// is tells whether token i can be read as a word of a phrase.
func (p *page) is(i int, w string) bool {
	if i >= len(p.tokens) {
		return false
	}
	t := &p.tokens[i]
	switch {
	case t.mark:
		return t.text == w
	case w == "#":
		return t.number && !t.odd
	case w == "_":
		return !t.number || !t.digits
	case t.text == w || slices.Contains(t.alts, w):
		return true
	case t.number && !t.odd && w[0] >= '0' && w[0] <= '9':
		return w == strconv.FormatFloat(t.value, 'f', -1, 64)
	case strings.HasPrefix(w, "*"):
		return strings.HasSuffix(t.text, w[1:])
	case strings.HasSuffix(w, "*"):
		return strings.HasPrefix(t.text, w[:len(w)-1])
	}
	return false
}

func (p *page) filler(i int) bool {
	return i >= 0 && i < len(p.tokens) && p.lang.fillers[p.tokens[i].text]
}

// find collects every phrase that fits somewhere.
func (p *page) find() {
	for i := range p.tokens {
		p.starts = append(p.starts, len(p.hits))
		for _, e := range p.candidates(i) {
			if to := e.phrase.Match(i, p.is, p.filler); to > i {
				p.hits = append(p.hits, hit{e, i, to})
			}
		}
	}
	p.starts = append(p.starts, len(p.hits))
}

// begin lists the phrases that begin in a stretch of tokens.
func (p *page) begin(from, to int) []hit {
	from, to = max(from, 0), min(to, len(p.tokens))
	if from >= to {
		return nil
	}
	return p.hits[p.starts[from]:p.starts[to]]
}

// candidates are the phrases that can begin with token i, each once.
func (p *page) candidates(i int) []*entry {
	t := p.tokens[i]
	if t.mark {
		return nil
	}
	out := slices.Clone(p.lang.phrases.loose)
	out = append(out, p.lang.phrases.exact[t.text]...)
	for _, a := range t.alts {
		out = append(out, p.lang.phrases.exact[a]...)
	}
	if t.number && !t.odd {
		if w := strconv.FormatFloat(t.value, 'f', -1, 64); w != t.text {
			out = append(out, p.lang.phrases.exact[w]...)
		}
	}
	return out
}

// of lists the phrases of a role, in the order of the text.
func (p *page) of(r role) []hit {
	var out []hit
	for _, h := range p.hits {
		if h.role == r {
			out = append(out, h)
		}
	}
	return out
}

// longest keeps of overlapping phrases the longest; of equally long ones the first, and that of the page's language.
func (p *page) longest(hits []hit) []hit {
	slices.SortStableFunc(hits, func(a, b hit) int {
		return cmp.Or(cmp.Compare(b.to-b.from, a.to-a.from), cmp.Compare(a.from, b.from), cmp.Compare(p.foreign(a), p.foreign(b)))
	})
	var out []hit
	used := make([]bool, len(p.tokens))
	for _, h := range hits {
		if slices.Contains(used[h.from:h.to], true) {
			continue
		}
		for i := h.from; i < h.to; i++ {
			used[i] = true
		}
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b hit) int { return cmp.Compare(a.from, b.from) })
	return out
}

func (p *page) foreign(h hit) int {
	if h.locale == p.locale {
		return 0
	}
	return 1
}

// sayings finds what the model's texts list as things that people say.
func (p *page) sayings() []mention {
	var out []mention
	for _, h := range p.longest(p.of(says)) {
		for i := h.from; i < h.to; i++ {
			p.taken[i] = true
		}
		s := h.saying
		out = append(out, mention{from: h.from, to: h.to, saying: s, vague: s.State == "", reading: Reading{ID: s.ID, State: s.State}})
	}
	return out
}

// misspelt tells whether a stretch was read through a typing error.
func (p *page) misspelt(from, to int) bool {
	return slices.ContainsFunc(p.tokens[from:to], func(t token) bool { return len(t.alts) > 0 })
}

// part cuts the text into clauses: at punctuation, and before words that begin a new thought, unless a saying uses them.
func (p *page) part() {
	p.clauseOf = make([]int, len(p.tokens))
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

// free tells whether no saying has used any of the tokens.
func (p *page) free(from, to int) bool { return !slices.Contains(p.taken[from:to], true) }
