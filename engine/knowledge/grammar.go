package knowledge

import (
	"slices"
	"strings"
)

// Grammar is what the reader of texts must know of a language, besides what people say of the heater.
type Grammar struct {
	NegateNext   []*Phrase // deny what follows: no, without
	NegateLast   []*Phrase // deny what stands before: "bubbles: none"
	NegateEither []*Phrase // deny what they touch, first of all what stands before
	Doubt        []*Phrase // maybe, I think
	Past         []*Phrase // used to: true once, perhaps no more
	Or           []string  // join alternatives
	Joins        []string  // begin a new clause that stands by itself: and, but
	Breaks       []string  // begin a clause that depends on another: because, when
	Fillers      []string  // may stand between the words of a phrase and change nothing
	Degrees      []string  // say how much; to deny one denies not the thing: not strongly
	Short        []string  // shortened words whose full stop ends no sentence
	Earlier      []*Phrase // a code beside it is an earlier one
	Now          []*Phrase // a code beside it is the present one
	Code         []*Phrase // announce a code
	CodeMarks    []string  // may stand between that and the code
	CodeLetters  []string  // with a number, are a code
	OtherLetters []string  // with a number, look like a code of another kind
	NotCode      []*Phrase // make what looks like a code doubtful
	Tables       map[string][]*Phrase
	Yes, No      []*Phrase
	Numbers      map[string]float64
	Point, Minus []string // between whole number and decimals; before a negative number
	Joint        string   // joins units and tens: ein-und-zwanzig
	Thousands    string   // separates thousands
	Units        map[string][]*Phrase
	Places       map[string][]*Phrase // how it is told where or when a number was read
	Known        []string             // words that are no misspelling of another
}

// Measure says by which unit and which places a number in a text is known to be a reading of something.
type Measure struct {
	ID       string
	Unit     string   // a name of the grammars
	At       []string // places that must all be told
	Unless   []string // places that must not
	Bare     bool     // it may be told without its unit
	Asks     bool     // a number in this unit whose place is not told is asked back
	Min, Max float64  // for telling it from others, in the text's unit; no limits where equal
	Scale    float64  // from the text's unit to the model's: multiply, then add Offset
	Offset   float64
	Bands    []MeasureBand
}

// MeasureBand is the state that numbers below Below stand for; the last has no bound.
type MeasureBand struct {
	State string
	Below float64
}

// readGrammar reads a language's grammar file.
func (f *files) readGrammar(t *Texts, root node) {
	g := &Grammar{Tables: map[string][]*Phrase{}, Numbers: map[string]float64{}, Units: map[string][]*Phrase{}, Places: map[string][]*Phrase{}}
	t.Grammar = g
	phrases := map[string]*[]*Phrase{"negate_next": &g.NegateNext, "negate_last": &g.NegateLast, "negate_either": &g.NegateEither,
		"doubt": &g.Doubt, "past": &g.Past, "earlier": &g.Earlier, "now": &g.Now, "code": &g.Code, "not_code": &g.NotCode, "yes": &g.Yes, "no": &g.No}
	words := map[string]*[]string{"or": &g.Or, "joins": &g.Joins, "breaks": &g.Breaks, "fillers": &g.Fillers, "degrees": &g.Degrees, "short": &g.Short,
		"code_marks": &g.CodeMarks, "code_letters": &g.CodeLetters, "other_letters": &g.OtherLetters, "point": &g.Point, "minus": &g.Minus, "known": &g.Known}
	named := map[string]map[string][]*Phrase{"tables": g.Tables, "units": g.Units, "places": g.Places}
	for _, p := range root.pairs() {
		switch {
		case phrases[p.id] != nil:
			*phrases[p.id] = p.val.phrases()
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
	m := n.fields("id", "unit", "at", "unless", "bare", "asks", "min", "max", "scale", "offset", "bands")
	x := Measure{ID: m["id"].text(), Unit: m["unit"].text(), At: m["at"].texts(), Unless: m["unless"].texts(), Bare: m["bare"].flag(),
		Asks: m["asks"].flag(), Min: m["min"].numberOr(0), Max: m["max"].numberOr(0), Scale: m["scale"].numberOr(1), Offset: m["offset"].numberOr(0)}
	for _, b := range m["bands"].items() {
		q := b.fields("state", "below")
		x.Bands = append(x.Bands, MeasureBand{q["state"].text(), q["below"].numberOr(0)})
	}
	f.model.Measures = append(f.model.Measures, x)
	f.measured = append(f.measured, n)
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
				if len(g.Places[place]) == 0 {
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
	for i, b := range x.Bands {
		f.state(at, x.ID, b.State)
		if i > 0 && i < len(x.Bands)-1 && b.Below <= x.Bands[i-1].Below {
			at.errorf("the bands of %s do not rise", x.ID)
		}
	}
}
