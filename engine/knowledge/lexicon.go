package knowledge

import (
	"slices"
	"strconv"
	"strings"
)

// Lexicon holds a language's words for the things that people speak of and for what they say of them. The names of
// both are the same in all languages; the pairs tell what they mean together.
type Lexicon struct {
	Things map[string][]*Phrase // parts, places, fluids, people, signs
	Says   map[string][]*Phrase // states, events, qualities, amounts
}

// Pair says what a thing and what is said of it mean together, in any language.
type Pair struct {
	When    [][]string // every one of these must be said, in any order; each is a choice of names
	Unless  []string   // none of these close by
	Means   []Finding  // what it means; nothing where only its denial means something
	Either  bool       // it means one of these and not all: what is likelier stands first
	Denied  []Finding  // what it means when it is denied
	Implies []Finding  // what it means as well, unless something else is said of that
	Past    bool       // it speaks of what has been, so words of the past make it no less true
	Offer   bool       // likely, but not enough to be believed
	Last    bool       // only where nothing else is made of its words; then it is asked
	Needs   bool       // a thing named in another sentence does not count
}

// CodeShown names a code that was read in a text, as a thing that pairs and measures can speak of.
const CodeShown = "code_shown"

// Answer says what yes and no mean as the answer to a question whose states are others.
type Answer struct {
	ID      string
	Yes, No string // states; empty where the word answers nothing
}

// Follow says what is so by definition where other things are: who says that it does not light and that the pump ticks
// has said when it fails.
type Follow struct {
	When []Finding // all of them
	Then []Finding
}

func (f *files) entailed(n node) {
	m := n.fields("when", "then")
	f.model.Follows = append(f.model.Follows, Follow{findings(m["when"].text()), findings(m["then"].text())})
	f.followed = append(f.followed, n)
}

// readLexicon reads a language's lexicon file.
func (f *files) readLexicon(t *Texts, root node) {
	if t.Lexicon == nil {
		t.Lexicon = &Lexicon{Things: map[string][]*Phrase{}, Says: map[string][]*Phrase{}}
	}
	for _, p := range root.pairs() {
		into := map[string]map[string][]*Phrase{"things": t.Lexicon.Things, "says": t.Lexicon.Says}[p.id]
		if into == nil {
			p.key.errorf("unknown entry %q of a lexicon; known are things and says", p.id)
			continue
		}
		for _, q := range p.val.pairs() {
			into[q.id] = append(into[q.id], q.val.phrases()...)
		}
	}
	f.lexica = append(f.lexica, worded{"lexicon", t.Locale, root})
}

// pair reads what things and sayings mean together: {when: "pump tick", means: "pump_ticks=regular", denied:
// "pump_ticks=none"}.
func (f *files) pair(n node) {
	m := n.fields("when", "unless", "means", "denied", "implies", "past", "offer", "last", "needs", "either")
	x := Pair{Unless: strings.Fields(m["unless"].text()), Past: m["past"].flag(), Offer: m["offer"].flag(),
		Last: m["last"].flag(), Needs: m["needs"].flag()}
	for _, w := range strings.Fields(m["when"].text()) {
		x.When = append(x.When, strings.Split(w, "|"))
	}
	x.Means, x.Denied = findings(m["means"].text()), findings(m["denied"].text())
	x.Implies = findings(m["implies"].text())
	x.Either = strings.Contains(m["means"].text(), "|") || m["either"].flag()
	if len(x.When) == 0 || len(x.Means)+len(x.Denied)+len(x.Implies) == 0 {
		n.errorf("a pair needs when, and what that means")
	}
	f.model.Pairs = append(f.model.Pairs, x)
	f.paired = append(f.paired, n)
}

// findings reads "id=state id=state", or "id=state|state" for a choice.
func findings(s string) []Finding {
	var out []Finding
	for _, w := range strings.Fields(s) {
		id, states, _ := strings.Cut(w, "=")
		for _, state := range strings.Split(states, "|") {
			out = append(out, Finding{ID: id, State: state})
		}
	}
	return out
}

func (f *files) answer(n node) {
	m := n.fields("id", "yes", "no")
	a := Answer{m["id"].text(), m["yes"].text(), m["no"].text()}
	f.model.Answers = append(f.model.Answers, a)
	f.answered = append(f.answered, n)
}

// checkPairs finds pairs of what no language has words for, and of observations or states that the model does not
// have. A pair may give a number.
func (f *files) checkPairs() {
	m := f.model
	for i, x := range m.Follows {
		for _, c := range slices.Concat(x.When, x.Then) {
			f.state(f.followed[i], c.ID, c.State)
		}
	}
	for i, a := range m.Answers {
		for _, s := range []string{a.Yes, a.No} {
			if s != "" {
				f.state(f.answered[i], a.ID, s)
			}
		}
	}
	for i := range m.Pairs {
		x, at := &m.Pairs[i], f.paired[i]
		for j := range x.Means {
			f.settlePair(at, &x.Means[j])
		}
		for j := range x.Denied {
			f.settlePair(at, &x.Denied[j])
		}
		for j := range x.Implies {
			f.settlePair(at, &x.Implies[j])
		}
	}
	for _, w := range f.lexica {
		l := m.texts[w.id].Lexicon
		for i, x := range m.Pairs {
			for _, name := range append(slices.Concat(x.When...), x.Unless...) {
				if name != CodeShown && len(l.Things[name])+len(l.Says[name]) == 0 {
					w.at.errorf("no words for %s, which a pair of line %d speaks of", name, f.lineOf(f.paired[i]))
				}
			}
		}
	}
}

func (f *files) lineOf(n node) int {
	line, _ := n.position()
	return line
}

// settlePair checks one finding of a pair. A number is given as one, or as max for a reading beyond the meter's end.
func (f *files) settlePair(at node, x *Finding) {
	r, ok := f.model.byID[x.ID]
	if !ok || r.kind != refObservation && r.kind != refSetup {
		at.errorf("%s is no observation or setup fact", x.ID)
		return
	}
	_, unit, _, most := f.model.allowed(r)
	if unit == "" {
		f.state(at, x.ID, x.State)
		return
	}
	v, err := strconv.ParseFloat(x.State, 64)
	switch {
	case x.State == "max":
		x.IsNumber, x.Number, x.State = true, most, ""
	case err == nil:
		x.IsNumber, x.Number, x.State = true, v, ""
	default:
		f.state(at, x.ID, x.State)
	}
}
