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

// GatesOf names the gates of which the words of a check or repair speak in this language, each with the sentence.
func (t *Texts) GatesOf(id string) map[string]string {
	if x, ok := t.Observations[id]; ok {
		return t.GatesNamed(x.work()...)
	}
	return t.GatesNamed(t.Repairs[id].work()...)
}
