package knowledge

import (
	"regexp"
	"slices"
	"strings"
)

// GateWords are the words by which a language says that something involves what a gate stands for. A sentence with one
// of Not says no such thing.
type GateWords struct {
	Words, Not []*regexp.Regexp
}

// readGateWords reads a language's file of gate words.
func (f *files) readGateWords(t *Texts, root node) {
	t.GateWords = map[string]GateWords{}
	for _, p := range root.pairs() {
		if !slices.Contains(gateNames, p.id) {
			p.key.errorf("%q is no gate; known are %s", p.id, strings.Join(gateNames, ", "))
			continue
		}
		m := p.val.fields("words", "not")
		t.GateWords[p.id] = GateWords{m["words"].patterns(), m["not"].patterns()}
	}
}

// patterns reads regular expressions; the case of letters does not matter.
func (n node) patterns() (out []*regexp.Regexp) {
	for _, it := range n.items() {
		re, err := regexp.Compile("(?i)" + it.text())
		if err != nil {
			it.errorf("not a regular expression: %v", err)
			continue
		}
		out = append(out, re)
	}
	return out
}

var sentenceEnd = regexp.MustCompile(`[.!?]+(\s|$)`)

// GatesNamed names the gates of which some texts speak, each with the first sentence that does.
func (t *Texts) GatesNamed(texts ...string) map[string]string {
	out := map[string]string{}
	for _, text := range texts {
		for _, s := range sentenceEnd.Split(text, -1) {
			for gate, w := range t.GateWords {
				matches := func(re *regexp.Regexp) bool { return re.MatchString(s) }
				if out[gate] == "" && slices.ContainsFunc(w.Words, matches) && !slices.ContainsFunc(w.Not, matches) {
					out[gate] = s
				}
			}
		}
	}
	return out
}

// Texts that tell how a check is made and how a repair is. What proves a repair and what keeps the fault away come
// after it.
func (x ObservationText) work() []string {
	return append([]string{x.Question, x.How}, Cautions(x.Cautions)...)
}
func (x RepairText) work() []string {
	return slices.Concat([]string{x.Title}, x.Steps, Cautions(x.Cautions))
}

// words finds checks and repairs whose words need what no gate says, and gates of which no word speaks.
func (l *linter) words() {
	for _, locale := range l.m.Locales() {
		t := l.m.Text(locale)
		if len(t.GateWords) == 0 {
			continue
		}
		look := func(id string, g Gates, texts []string) {
			set := g.Names()
			said := t.GatesNamed(texts...)
			for _, gate := range gateNames {
				_, known := t.GateWords[gate]
				has := slices.Contains(set, gate) || gate == "needs_power" && g.NeedsStart // no start without power
				switch sentence := said[gate]; {
				case sentence != "" && !has:
					l.problem(id, "%s: its words need the gate %s (%s: %q); add the gate, or say it otherwise "+
						"(text/%s/gates.yaml has what counts)", id, gate, locale, sentence, locale)
				case known && sentence == "" && slices.Contains(set, gate):
					l.wording(locale, id, "%s: it has the gate %s, of which its words in %s say nothing; text/%s/gates.yaml "+
						"has the phrases that do, and takes more", id, gate, locale, locale)
				}
			}
		}
		for _, o := range l.m.Observations {
			look(o.ID, o.Gates, t.Observations[o.ID].work())
		}
		for _, r := range l.m.Repairs {
			look(r.ID, r.Gates, t.Repairs[r.ID].work())
		}
	}
}

// GatesOf names the gates of which the words of a check or repair speak in this language, each with the sentence.
func (t *Texts) GatesOf(id string) map[string]string {
	if x, ok := t.Observations[id]; ok {
		return t.GatesNamed(x.work()...)
	}
	return t.GatesNamed(t.Repairs[id].work()...)
}
