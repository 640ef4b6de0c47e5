package knowledge

import (
	"slices"
	"strings"
)

// Grammar is what the reader of texts must know of a language, besides what people say of the heater.
type Grammar struct {
	Stemmer      string               // name of the Snowball stemmer; empty for none
	Roles        map[string][]*Phrase // by what they do in a sentence, one of grammarRoles
	Or           []string             // join alternatives
	Joins        []string             // begin a new clause that stands by itself: and, but
	Breaks       []string             // begin a clause that depends on another: because, when
	Definite     []string             // behind a "no" show that it denies nothing: no, the lights go dim
	Vague        []string             // behind an "or" show that no other is meant: or so
	Articles     []string             // with a unit, one of it: an hour
	Of           []string             // between a fraction and its unit: a quarter of an hour
	Ranges       []string             // between the bounds of a number: five to ten
	Pronouns     []string             // stand for what was named before: it
	Fillers      []string             // may stand between the words of a phrase and change nothing
	Degrees      []string             // say how much; to deny one denies not the thing: not strongly
	Short        []string             // shortened words whose full stop ends no sentence
	CodeMarks    []string             // may stand between what announces a code and the code
	CodeLetters  []string             // with a number, are a code
	OtherLetters []string             // with a number, look like a code of another kind
	Tables       map[string][]*Phrase
	Numbers      map[string]float64
	Point, Minus []string // between whole number and decimals; before a negative number
	Joint        string   // joins units and tens: ein-und-zwanzig
	Linking      []string // letters that join the parts of a compound
	Thousands    string   // separates thousands
	Units        map[string][]*Phrase
	Places       map[string][]*Phrase // how it is told where or when a number was read
	Known        []string             // words that are no misspelling of another
}

// grammarRoles are what phrases of a grammar can do.
var grammarRoles = []string{
	"negate_next",   // denies what follows: no, without
	"negate_last",   // denies what stands before: "bubbles: none"
	"negate_either", // denies what it touches, first of all what stands before
	"negate_thing",  // says that a thing is not there, and so nothing of it: no, without
	"doubt",         // maybe, I think
	"hearsay",       // what others say
	"wonders",       // asks, without a question mark
	"asks",          // the same, where a sentence begins with it
	"presumes",      // asks of what is so: why does it
	"supposes",      // sets a condition, up to the end of its sentence
	"past",          // true once, perhaps no more: used to
	"mended",        // what was said before it is so no more: ok now
	"earlier",       // a code beside it is an earlier one
	"now",           // a code beside it is the present one
	"turns",         // two codes beside it come in turn
	"code",          // announces a code
	"shows",         // may announce one
	"not_code",      // makes what looks like a code doubtful
	"yes", "no",
	"unknown",   // cannot be told
	"as_before", // as it was told before
	"instead",   // corrects what was said before
}

// Measure says by which unit and which places a number in a text is known to be a reading of something.
type Measure struct {
	ID       string
	Unit     string   // a name of the grammars
	At       []string // places that must all be told
	Unless   []string // places that must not
	Bare     bool     // it may be told without its unit
	Asks     bool     // a number in this unit whose place is not told is offered as this
	Offer    bool     // even with its places it is only offered
	Spread   bool     // two numbers with a word like "to" between them are one
	Min, Max float64  // for telling it from others, in the text's unit; no limits where equal
	Scale    float64  // from the text's unit to the model's: multiply, then add Offset
	Offset   float64
	Bands    []MeasureBand
	Also     string // an observation that the number tells as well
	AlsoIn   []MeasureBand
}

// MeasureBand is the state that numbers below Below stand for; the last has no bound.
type MeasureBand struct {
	State string
	Below float64
}

// readGrammar reads a language's grammar file.
func (f *files) readGrammar(t *Texts, root node) {
	g := &Grammar{Roles: map[string][]*Phrase{}, Tables: map[string][]*Phrase{}, Numbers: map[string]float64{},
		Units: map[string][]*Phrase{}, Places: map[string][]*Phrase{}}
	t.Grammar = g
	words := map[string]*[]string{"or": &g.Or, "joins": &g.Joins, "breaks": &g.Breaks, "pronouns": &g.Pronouns,
		"articles": &g.Articles, "definite": &g.Definite, "vague": &g.Vague, "of": &g.Of, "ranges": &g.Ranges,
		"fillers": &g.Fillers, "degrees": &g.Degrees, "short": &g.Short,
		"code_marks": &g.CodeMarks, "code_letters": &g.CodeLetters, "other_letters": &g.OtherLetters, "point": &g.Point,
		"minus":   &g.Minus,
		"linking": &g.Linking, "known": &g.Known}
	named := map[string]map[string][]*Phrase{"tables": g.Tables, "units": g.Units, "places": g.Places}
	for _, p := range root.pairs() {
		switch {
		case slices.Contains(grammarRoles, p.id):
			g.Roles[p.id] = p.val.phrases()
		case words[p.id] != nil:
			*words[p.id] = p.val.foldedWords()
		case named[p.id] != nil:
			for _, q := range p.val.pairs() {
				named[p.id][q.id] = q.val.phrases()
			}
		case p.id == "numbers":
			for _, q := range p.val.pairs() {
				g.Numbers[Fold(q.id)] = q.val.number()
			}
		case p.id == "stemmer":
			g.Stemmer = p.val.text()
		case p.id == "joint":
			g.Joint = Fold(p.val.text())
		case p.id == "thousands":
			g.Thousands = p.val.text()
		default:
			p.key.errorf("unknown entry %q of a grammar", p.id)
		}
	}
	f.grammars = append(f.grammars, worded{"grammar", t.Locale, root})
}

// phrases reads a list of phrases, each located by itself.
func (n node) phrases() []*Phrase {
	var out []*Phrase
	for _, it := range n.items() {
		p, err := ParsePhrase(it.text())
		if err != nil {
			it.errorf("not a phrase: %v", err)
			continue
		}
		out = append(out, p)
	}
	return out
}

// foldedWords reads a list of single words.
func (n node) foldedWords() []string {
	var out []string
	for _, it := range n.items() {
		w := Fold(it.text())
		if w == "" || strings.ContainsAny(w, " |()?*#_") {
			it.errorf("%q is not a single word", it.text())
			continue
		}
		out = append(out, w)
	}
	return out
}

// measure reads how a reading is known in a text.
func (f *files) measure(n node) {
	m := n.fields("id", "unit", "at", "unless", "bare", "asks", "offer", "spread", "min", "max", "scale", "offset",
		"bands", "also", "also_in")
	x := Measure{ID: m["id"].text(), Unit: m["unit"].text(), At: m["at"].texts(), Unless: m["unless"].texts(),
		Bare: m["bare"].flag(),
		Asks: m["asks"].flag(), Offer: m["offer"].flag(), Spread: m["spread"].flag(), Min: m["min"].numberOr(0),
		Max: m["max"].numberOr(0), Scale: m["scale"].numberOr(1), Offset: m["offset"].numberOr(0)}
	x.Bands, x.Also, x.AlsoIn = m["bands"].bands(), m["also"].text(), m["also_in"].bands()
	f.model.Measures = append(f.model.Measures, x)
	f.measured = append(f.measured, n)
}

func (n node) bands() []MeasureBand {
	var out []MeasureBand
	for _, b := range n.items() {
		q := b.fields("state", "below")
		out = append(out, MeasureBand{q["state"].text(), q["below"].numberOr(0)})
	}
	return out
}

// checkGrammars finds measures of what the model does not have and names that a language has no words for.
func (f *files) checkGrammars() {
	m := f.model
	for i, x := range m.Measures {
		f.checkMeasure(f.measured[i], x)
	}
	for _, w := range f.grammars {
		g := m.texts[w.id].Grammar
		for table := range g.Tables {
			if !slices.ContainsFunc(m.CodeTables, func(t CodeTable) bool { return t.ID == table }) {
				w.at.errorf("words for the code table %s, which the model does not have", table)
			}
		}
		for _, x := range m.Measures {
			if len(g.Units[x.Unit]) == 0 {
				w.at.errorf("no words for the unit %s, in which %s is told", x.Unit, x.ID)
			}
			for _, place := range slices.Concat(x.At, x.Unless) {
				if l := m.texts[w.id].Lexicon; place != CodeShown && len(g.Places[place]) == 0 &&
					(l == nil || len(l.Things[place])+len(l.Says[place]) == 0) {
					w.at.errorf("no words for the place %s, by which %s is known", place, x.ID)
				}
			}
		}
	}
}

func (f *files) checkMeasure(at node, x Measure) {
	r, ok := f.model.byID[x.ID]
	if !ok || r.kind != refObservation && r.kind != refSetup {
		at.errorf("%s is no observation or setup fact", x.ID)
		return
	}
	_, unit, _, _ := f.model.allowed(r)
	switch {
	case unit != "" && len(x.Bands) > 0:
		at.errorf("%s is a number; it is not told in states", x.ID)
	case unit == "" && len(x.Bands) == 0:
		at.errorf("%s is told in states; say which numbers mean which", x.ID)
	}
	for _, b := range x.AlsoIn {
		if b.State != "" {
			f.state(at, x.Also, b.State)
		}
	}
	for i, b := range x.Bands {
		f.state(at, x.ID, b.State)
		if i > 0 && i < len(x.Bands)-1 && b.Below <= x.Bands[i-1].Below {
			at.errorf("the bands of %s do not rise", x.ID)
		}
	}
}
