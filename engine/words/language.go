package words

import (
	"slices"
	"strings"

	"github.com/blevesearch/snowballstem"

	"lightoff/engine/knowledge"
)

// language is what the reader knows of all languages of the model together, for owners mix them.
type language struct {
	tongues   []*tongue
	numbers   map[string]float64
	joints    []string
	linking   []string
	multiples []string // number words that other numbers multiply, longest first
	point     map[string]bool
	minus     map[string]bool
	short     map[string]bool
	fillers   map[string]bool
	degrees   map[string]bool
	joins     map[string]bool
	breaks    map[string]bool
	or        map[string]bool
	pronouns  map[string]bool
	articles  map[string]bool
	definite  map[string]bool
	vague     map[string]bool
	of        map[string]bool
	ranges    map[string]bool
	codeMarks map[string]bool
	letters   map[string]bool
	others    map[string]bool
	thousands map[string]string // by locale

	root       *node
	names      map[string]int    // of things and sayings, numbered
	things     map[int]bool      // which of them are things
	vocabulary map[byte][]string // words that misspellings are matched with, by first letter
	known      map[string]bool   // words that are no misspellings
	usual      map[string]bool   // others that are written too often to be any

}

// tongue is one language.
type tongue struct {
	locale  string
	stemmer func(*snowballstem.Env) bool
	small   map[string]bool // those of its grammar
	own     map[string]bool // its small words, and all that its phrases are made of
	stems   map[string]bool // of its lexicon
	nouns   map[string]bool // stems of the things that one word names

	compounds bool // words are written together
}

// role is what a phrase does in a sentence.
type role int

const (
	speaks role = iota // of a thing, or says something of one
	negateNext
	negateLast
	negateEither
	negateThing
	doubts
	hearsay
	wonders
	asks
	presumes
	supposes
	past
	mended
	earlier
	now
	turns // of codes that come in turn
	codeWord
	shows
	notCode
	table // names a code table
	yes
	no
	unknown
	asBefore
	instead
	unit
	place
)

var roleNames = []struct {
	name string
	role role
}{
	{"negate_next", negateNext}, {"negate_last", negateLast}, {"negate_either", negateEither}, {"negate_thing",
		negateThing}, {"doubt", doubts}, {"shows", shows},
	{"hearsay", hearsay}, {"wonders", wonders}, {"asks", asks}, {"presumes", presumes}, {"supposes", supposes},
	{"past", past}, {"mended", mended}, {"earlier", earlier}, {"now", now}, {"turns", turns},
	{"code", codeWord}, {"not_code", notCode}, {"yes", yes}, {"no", no}, {"unknown", unknown}, {"as_before",
		asBefore}, {"instead", instead},
}

// entry is what a run of words does or speaks of.
type entry struct {
	role  role
	name  string // of the thing, saying, table, unit or place
	id    int    // of the thing or saying
	thing bool
	in    *tongue
}

// node is a place in the tree of all phrases. Its branches are words as tokens show themselves: by stem, or as
// written.
type node struct {
	next map[string]*node
	gap  *node // some words that say nothing of their own
	any  *node
	on   []*node // without another word
	ends []*entry
}

func (n *node) step(key string) *node {
	if n.next == nil {
		n.next = map[string]*node{}
	}
	if n.next[key] == nil {
		n.next[key] = &node{}
	}
	return n.next[key]
}

// newLanguage gathers the grammars and lexica of all the model's languages.
func newLanguage(m *knowledge.Model) *language {
	set := func() map[string]bool { return map[string]bool{} }
	l := &language{numbers: map[string]float64{}, point: set(), minus: set(), short: set(), fillers: set(),
		degrees: set(), joins: set(),
		breaks: set(), or: set(), pronouns: set(), articles: set(),
		definite: set(), vague: set(), of: set(), ranges: set(), codeMarks: set(), letters: set(), others: set(),
		thousands: map[string]string{},
		root:      &node{}, names: map[string]int{}, things: map[int]bool{}, vocabulary: map[byte][]string{}, known: set(),
		usual: set()}
	var targets []string
	for _, locale := range m.Locales() {
		t := m.Text(locale)
		g := t.Grammar
		if g == nil {
			g = &knowledge.Grammar{}
		}
		in := &tongue{locale: locale, stemmer: stemmers[g.Stemmer], own: set(), small: set(), stems: set(), nouns: set(),
			compounds: len(g.Linking) > 0}
		l.tongues = append(l.tongues, in)
		targets = append(targets, l.grammar(g, in)...)
		if t.Lexicon != nil {
			targets = append(targets, l.lexicon(t.Lexicon, in)...)
		}
		l.learn(t)
	}
	l.things[l.name(knowledge.CodeShown)] = true
	l.multiples = slices.DeleteFunc(slices.Sorted(mapKeys(l.numbers)),
		func(w string) bool { return l.numbers[w] != 100 && l.numbers[w] != 1000 })
	slices.SortFunc(l.multiples, func(a, b string) int { return int(l.numbers[b] - l.numbers[a]) })
	l.spell(targets)
	return l
}

// name numbers a thing or saying.
func (l *language) name(s string) int {
	id, ok := l.names[s]
	if !ok {
		id = len(l.names) + 1
		l.names[s] = id
	}
	return id
}

// add takes up a phrase and returns its words.
func (l *language) add(e *entry, phrase *knowledge.Phrase) (words []string) {
	step := func(at *node, w string) *node {
		switch plain, exact := strings.CutPrefix(w, "="); {
		case w == "~":
			if at.gap == nil {
				at.gap = &node{}
			}
			return at.gap
		case w == "_":
			if at.any == nil {
				at.any = &node{}
			}
			return at.any
		case exact:
			words = append(words, plain)
			e.in.own[plain] = true
			return at.step("=" + plain)
		case w == "#" || w == ",":
			return at.step(w)
		case e.role != speaks || e.in.small[w]: // small words differ by their endings
			words = append(words, w)
			e.in.own[w] = true
			e.in.small[w] = e.in.small[w] || e.role >= negateNext && e.role <= doubts
			return at.step("=" + w)
		default:
			words = append(words, w)
			e.in.own[w] = true
			e.in.stems[e.in.stem(w)] = true
			return at.step(e.in.key(w))
		}
	}
	join := func(ends ...*node) *node {
		out := &node{}
		for _, end := range ends {
			end.on = append(end.on, out)
		}
		return out
	}
	end := knowledge.Walk(phrase, l.root, step, join)
	end.ends = append(end.ends, e)
	return words
}

// key is how a word of this language shows itself in the tree of phrases.
func (l *tongue) key(word string) string { return l.locale + ":" + l.stem(word) }

func (l *language) lexicon(x *knowledge.Lexicon, in *tongue) (targets []string) {
	for _, part := range []struct {
		phrases map[string][]*knowledge.Phrase
		thing   bool
	}{{x.Things, true}, {x.Says, false}} {
		for _, name := range slices.Sorted(mapKeys(part.phrases)) {
			id := l.name(name)
			l.things[id] = l.things[id] || part.thing
			for _, p := range part.phrases[name] {
				words := l.add(&entry{role: speaks, name: name, id: id, thing: part.thing, in: in}, p)
				if part.thing && len(words) == 1 {
					in.nouns[in.stem(words[0])] = true
				}
				targets = append(targets, words...)
			}
		}
	}
	return targets
}

// grammar takes up a language's grammar and returns the words of its phrases.
func (l *language) grammar(g *knowledge.Grammar, in *tongue) (targets []string) {
	add := func(r role, name string, phrases []*knowledge.Phrase) {
		for _, p := range phrases {
			targets = append(targets, l.add(&entry{role: r, name: name, in: in}, p)...)
		}
	}
	for _, r := range roleNames {
		add(r.role, "", g.Roles[r.name])
	}
	for _, r := range []struct {
		role  role
		named map[string][]*knowledge.Phrase
	}{{table, g.Tables}, {unit, g.Units}, {place, g.Places}} {
		for _, name := range slices.Sorted(mapKeys(r.named)) {
			add(r.role, name, r.named[name])
		}
	}
	for _, s := range []struct {
		set   map[string]bool
		words []string
	}{{l.point, g.Point}, {l.minus, g.Minus}, {l.short, g.Short}, {l.fillers, g.Fillers}, {l.degrees,
		g.Degrees}, {l.joins, g.Joins},
		{l.breaks, g.Breaks}, {l.or, g.Or}, {l.pronouns, g.Pronouns}, {l.articles, g.Articles}, {l.definite,
			g.Definite}, {l.vague, g.Vague}, {l.of, g.Of},
		{l.ranges, g.Ranges}, {l.codeMarks, g.CodeMarks}, {l.letters, g.CodeLetters},
		{l.others, g.OtherLetters}, {l.known, g.Known}} {
		for _, w := range s.words {
			s.set[w] = true
			l.known[w] = true
			in.own[w] = true
		}
	}
	for w, v := range g.Numbers {
		l.numbers[w] = v
		l.known[w] = true
	}
	if g.Joint != "" {
		l.joints = append(l.joints, g.Joint)
	}
	l.linking = append(l.linking, g.Linking...)
	l.thousands[in.locale] = g.Thousands
	return targets
}

// learn takes every word of the language's own texts for one that is spelt as meant.
func (l *language) learn(t *knowledge.Texts) {
	var all []string
	for _, o := range t.Observations {
		all = append(all, o.Title, o.Question, o.How, o.Normal, o.Why)
		all = append(all, knowledge.Cautions(o.Cautions)...)
		for _, s := range o.States {
			all = append(all, s)
		}
	}
	for _, c := range t.Causes {
		all = append(all, c.Title, c.Explain)
	}
	for _, r := range t.Repairs {
		all = append(all, r.Title, r.Proof, r.Prevention)
		all = append(append(all, r.Parts...), knowledge.Cautions(r.Cautions)...)
	}
	for _, s := range all {
		for _, w := range strings.FieldsFunc(knowledge.Fold(s), func(r rune) bool { return r < 'a' || r > 'z' }) {
			l.known[w] = true
		}
	}
}

func mapKeys[V any](m map[string]V) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}
