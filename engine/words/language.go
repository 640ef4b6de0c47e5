package words

import (
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

// language is what the reader knows of all languages of the model together, for owners mix them.
type language struct {
	numbers    map[string]float64
	joints     []string
	multiples  []string // number words that other numbers multiply, longest first
	point      map[string]bool
	minus      map[string]bool
	short      map[string]bool
	fillers    map[string]bool
	degrees    map[string]bool
	joins      map[string]bool
	breaks     map[string]bool
	or         map[string]bool
	codeMarks  map[string]bool
	letters    map[string]bool
	others     map[string]bool
	thousands  map[string]string // by locale
	phrases    *index
	vocabulary map[byte][]string // words that misspellings are matched with, by first letter
	known      map[string]bool   // words that are no misspellings
}

// role is what a phrase does in a sentence.
type role int

const (
	says role = iota // a saying
	negateNext
	negateLast
	negateEither
	doubts
	past
	earlier
	now
	codeWord
	notCode
	table // names a code table
	yes
	no
	unit
	place
)

// entry is a phrase with what it does.
type entry struct {
	phrase *knowledge.Phrase
	role   role
	saying *knowledge.Saying
	name   string // of the table, unit or place
	locale string
}

// index finds phrases by the words with which they can begin.
type index struct {
	exact map[string][]*entry
	loose []*entry // begin with a part of a word, any word or any number
}

func (x *index) add(e *entry) {
	loose := false
	for _, w := range e.phrase.First() {
		if strings.ContainsAny(w, "*_#") {
			loose = true
			continue
		}
		x.exact[w] = append(x.exact[w], e)
	}
	if loose {
		x.loose = append(x.loose, e)
	}
}

// newLanguage gathers the grammars and sayings of all the model's languages.
func newLanguage(m *knowledge.Model) *language {
	set := func() map[string]bool { return map[string]bool{} }
	l := &language{numbers: map[string]float64{}, point: set(), minus: set(), short: set(), fillers: set(), degrees: set(), joins: set(), breaks: set(), or: set(),
		codeMarks: set(), letters: set(), others: set(), thousands: map[string]string{}, phrases: &index{exact: map[string][]*entry{}},
		vocabulary: map[byte][]string{}, known: set()}
	var targets []string
	for _, locale := range m.Locales() {
		t := m.Text(locale)
		for i := range t.Sayings {
			l.phrases.add(&entry{phrase: t.Sayings[i].Pattern, role: says, saying: &t.Sayings[i], locale: locale})
			targets = append(targets, t.Sayings[i].Pattern.Words()...)
		}
		if g := t.Grammar; g != nil {
			targets = append(targets, l.grammar(g, locale)...)
		}
		l.learn(t)
	}
	l.multiples = slices.DeleteFunc(slices.Sorted(mapKeys(l.numbers)), func(w string) bool { return l.numbers[w] != 100 && l.numbers[w] != 1000 })
	slices.SortFunc(l.multiples, func(a, b string) int { return int(l.numbers[b] - l.numbers[a]) })
	l.spell(targets)
	return l
}

// grammar takes up a language's grammar and returns the words of its phrases.
func (l *language) grammar(g *knowledge.Grammar, locale string) (targets []string) {
	add := func(r role, name string, phrases []*knowledge.Phrase) {
		for _, p := range phrases {
			l.phrases.add(&entry{phrase: p, role: r, name: name, locale: locale})
			targets = append(targets, p.Words()...)
		}
	}
	add(negateNext, "", g.NegateNext)
	add(negateLast, "", g.NegateLast)
	add(negateEither, "", g.NegateEither)
	add(doubts, "", g.Doubt)
	add(past, "", g.Past)
	add(earlier, "", g.Earlier)
	add(now, "", g.Now)
	add(codeWord, "", g.Code)
	add(notCode, "", g.NotCode)
	add(yes, "", g.Yes)
	add(no, "", g.No)
	for r, named := range map[role]map[string][]*knowledge.Phrase{table: g.Tables, unit: g.Units, place: g.Places} {
		for _, name := range slices.Sorted(mapKeys(named)) {
			add(r, name, named[name])
		}
	}
	for set, words := range map[*map[string]bool][]string{&l.point: g.Point, &l.minus: g.Minus, &l.short: g.Short, &l.fillers: g.Fillers, &l.degrees: g.Degrees, &l.joins: g.Joins,
		&l.breaks: g.Breaks, &l.or: g.Or, &l.codeMarks: g.CodeMarks, &l.letters: g.CodeLetters, &l.others: g.OtherLetters, &l.known: g.Known} {
		for _, w := range words {
			(*set)[w] = true
			l.known[w] = true
		}
	}
	for w, v := range g.Numbers {
		l.numbers[w] = v
		l.known[w] = true
	}
	if g.Joint != "" {
		l.joints = append(l.joints, g.Joint)
	}
	l.thousands[locale] = g.Thousands
	return targets
}

// learn takes every word of the language's own texts for one that is spelt as meant.
func (l *language) learn(t *knowledge.Texts) {
	var all []string
	for _, o := range t.Observations {
		all = append(all, o.Title, o.Question, o.How, o.Normal, o.Why)
		all = append(all, o.Cautions...)
		for _, s := range o.States {
			all = append(all, s)
		}
	}
	for _, c := range t.Causes {
		all = append(all, c.Title, c.Explain)
	}
	for _, r := range t.Repairs {
		all = append(all, r.Title, r.Proof, r.Prevention)
		all = append(append(all, r.Parts...), r.Cautions...)
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
