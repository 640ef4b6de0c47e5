package knowledge

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// Alarm is something that people type that could mean a danger. It is found by words alone, the same way by the service
// and by the page without a signal: every group is said within a few words of the others, in any order.
type Alarm struct {
	ID     string      // of the observation meant
	State  string      // what it is then told to be; empty where only one of Choices can be meant
	No     string      // what it is told to be when the question is answered by no; empty: nothing is told
	Groups [][]*Phrase // of each group, one is said
	Within int         // words, from the first that belongs to it to the last
	Doubt  []*Phrase   // with any of these in its sentence, it is asked about
	Asks   bool        // it is asked about however it is said
	// Ask is the question to be put where it is in doubt, answered by yes and no or by one of Choices.
	Ask     string
	Choices []string // states of the observation
}

// AlarmGrammar is what finding alarms must know of a language. All of it is small, since a page carries it along.
type AlarmGrammar struct {
	Negate     []*Phrase // deny what they touch: no, never
	NegateLast []*Phrase // deny what stands before them, and make doubtful what stands behind: "riecht nicht"
	Spent      []*Phrase // what a negation denies instead: won't start
	Fillers    []*Phrase // may stand between a negation and what it denies
	Doubt      []*Phrase // make doubtful what is in their sentence: perhaps
	Lists      []*Phrase // carry a doubt about a negation on: and, or
	Breaks     []*Phrase // begin something new: but
}

// Expression is the phrase as a regular expression for a text in which every word is folded and followed by one space.
// It means the same in Go as in a browser's script.
func (p *Phrase) Expression() string { return p.root.expression() }

func (p piece) expression() string {
	var out string
	switch {
	case p.word == "_":
		out = "[^ ]+ "
	case p.word == "#":
		out = "[0-9]+ "
	case p.word != "":
		out = strings.ReplaceAll(p.word, "*", "[^ ]*") + " "
	default:
		var parts []string
		for _, c := range p.parts {
			parts = append(parts, c.expression())
		}
		if p.either {
			out = strings.Join(parts, "|")
		} else {
			out = strings.Join(parts, "")
		}
		if p.either && len(parts) > 1 || p.optional || p.repeats {
			out = "(?:" + out + ")"
		}
		if p.repeats {
			return out + fmt.Sprintf("{0,%d}", maxRepeats)
		}
		if p.optional {
			return out + "?"
		}
		return out
	}
	if p.optional {
		return "(?:" + out + ")?"
	}
	return out
}

// AnyOf joins phrases to one expression, those of more words first, since the first that fits is taken; empty where
// there are none.
func AnyOf(phrases []*Phrase) string {
	var out []string
	for _, p := range phrases {
		out = append(out, p.Expression())
	}
	words := func(expression string) int { return strings.Count(expression, " ") }
	slices.SortStableFunc(out, func(a, b string) int { return cmp.Compare(words(b), words(a)) })
	return strings.Join(out, "|")
}

// readAlarms reads a language's words that warn at once.
func (f *files) readAlarms(t *Texts, root node) {
	m := root.fields("grammar", "alarms")
	g := m["grammar"].fields("negate", "negate_last", "spent", "fillers", "doubt", "lists", "breaks")
	t.AlarmGrammar = AlarmGrammar{
		Negate: g["negate"].phrases(), NegateLast: g["negate_last"].phrases(),
		Spent: g["spent"].phrases(), Fillers: g["fillers"].phrases(),
		Doubt: g["doubt"].phrases(), Lists: g["lists"].phrases(), Breaks: g["breaks"].phrases(),
	}
	for _, n := range m["alarms"].items() {
		x := n.fields("id", "state", "no", "words", "within", "doubt", "asks", "ask", "choices")
		a := Alarm{ID: x["id"].text(), State: x["state"].text(), No: x["no"].text(),
			Within: int(x["within"].numberOr(defaultWithin)), Doubt: x["doubt"].phrases(),
			Asks: x["asks"].flag(), Ask: x["ask"].text(), Choices: x["choices"].texts()}
		for _, group := range x["words"].items() {
			a.Groups = append(a.Groups, group.phrases())
		}
		t.Alarms = append(t.Alarms, a)
		f.alarms = append(f.alarms, alarmPlace{n, t.Locale, a})
	}
}

// defaultWithin is how many words an alarm may be spread over, unless its file says otherwise.
const defaultWithin = 6

// alarmPlace keeps an alarm's place until the observations that it speaks of are known.
type alarmPlace struct {
	at     node
	locale string
	Alarm
}

// checkAlarms finds alarms of what the model does not have, and such as only one language has words for.
func (f *files) checkAlarms() {
	meant := map[string]map[string]bool{}
	for _, a := range f.alarms {
		if meant[a.locale] == nil {
			meant[a.locale] = map[string]bool{}
		}
		meant[a.locale][a.ID+" "+a.State] = true
		f.checkAlarm(a)
	}
	for _, a := range f.alarms {
		for locale, has := range meant {
			if !has[a.ID+" "+a.State] {
				a.at.errorf("%s: the language %s has no words that warn of it", a.ID, locale)
			}
		}
	}
}

func (f *files) checkAlarm(a alarmPlace) {
	if a.Ask == "" {
		a.at.errorf("%s: say under ask what to ask where it is in doubt", a.ID)
	}
	if len(a.Groups) == 0 || a.Within < 1 {
		a.at.errorf("%s: say under words what is said, and within how many words", a.ID)
	}
	for _, group := range a.Groups {
		if _, err := regexp.Compile(AnyOf(group)); err != nil || len(group) == 0 {
			a.at.errorf("%s: a group of words is empty or cannot be looked for", a.ID)
		}
	}
	if (a.State == "") != (len(a.Choices) > 0) {
		a.at.errorf("%s: give either a state or choices", a.ID)
	}
	for _, state := range append([]string{a.State, a.No}, a.Choices...) {
		if state != "" {
			f.state(a.at, a.ID, state)
		}
	}
	if a.State == "" && !a.Asks {
		a.at.errorf("%s: with choices it can only be asked about; say asks: true", a.ID)
	}
}
