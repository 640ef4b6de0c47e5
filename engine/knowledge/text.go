package knowledge

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"
)

// textFile reports whether a path is a language's text file: text/<locale>/<what>.yaml.
func textFile(p string) (locale, what string, ok bool) {
	parts := strings.Split(p, "/")
	for i, part := range parts {
		if part == "text" && len(parts) == i+3 {
			return parts[i+1], strings.TrimSuffix(path.Base(p), ".yaml"), true
		}
	}
	return "", "", false
}

func (f *files) readTexts(locale, what string, root node) {
	t := f.model.texts[locale]
	if t == nil {
		t = &Texts{Locale: locale, Causes: map[string]CauseText{}, Observations: map[string]ObservationText{},
			Repairs: map[string]RepairText{}, Dangers: map[string]DangerText{}, Tools: map[string]string{},
			Phrases: map[string]string{}}
		f.model.texts[locale] = t
	}
	switch what {
	case "lexicon":
		f.readLexicon(t, root)
		return
	case "grammar":
		f.readGrammar(t, root)
		return
	case "alarms":
		f.readAlarms(t, root)
		return
	case "gates":
		f.readGateWords(t, root)
		return
	case glossary: // for whoever writes the texts
		return
	}
	for _, p := range root.pairs() {
		if what != "phrases" {
			f.worded = append(f.worded, worded{what, p.id, p.key})
		}
		switch what {
		case "causes":
			m := p.val.fields("title", "sentence", "explain")
			t.Causes[p.id] = CauseText{m["title"].text(), m["sentence"].text(), m["explain"].text()}
		case "observations":
			m := p.val.fields("title", "question", "how", "normal", "why", "cautions", "states")
			o := ObservationText{Title: m["title"].text(), Question: m["question"].text(), How: m["how"].text(),
				Normal: m["normal"].text(), Why: m["why"].text(), Cautions: m["cautions"].cautions(), States: map[string]string{}}
			for _, s := range m["states"].pairs() {
				o.States[s.id] = s.val.text()
			}
			t.Observations[p.id] = o
		case "repairs":
			m := p.val.fields("title", "parts", "steps", "cautions", "proof", "prevention")
			t.Repairs[p.id] = RepairText{m["title"].text(), m["parts"].texts(), m["steps"].texts(), m["cautions"].cautions(),
				m["proof"].text(), m["prevention"].text()}
		case "dangers":
			m := p.val.fields("title", "text", "steps", "way_out")
			t.Dangers[p.id] = DangerText{m["title"].text(), m["text"].text(), m["steps"].texts(), m["way_out"].texts()}
		case "tools":
			t.Tools[p.id] = p.val.text()
		case "phrases":
			t.Phrases[p.id] = p.val.text()
		default:
			root.errorf("unknown text file %s; known are causes, observations, repairs, dangers, tools, phrases, lexicon, "+
				"grammar, alarms, gates", what)
			return
		}
	}
}

// glossary is the file of a language for whoever writes its texts.
const glossary = "glossary"

// worded is an identifier that a text file has words for.
type worded struct {
	what, id string
	at       node
}

// checkLeftover finds words for what the model does not have: a misspelt identifier, or a leaving. It comes last, since
// whatever else is wrong may be why the model does not have it.
func (f *files) checkLeftover() {
	kinds := map[string][]refKind{"causes": {refCause}, "observations": {refObservation, refSetup}, "repairs": {refRepair}}
	for _, w := range f.worded {
		known := slices.Contains(kinds[w.what], f.model.byID[w.id].kind)
		switch w.what {
		case "dangers":
			_, known = f.places["danger/"+w.id]
		case "tools":
			known = slices.Contains(f.model.Tools, w.id)
		}
		if !known {
			w.at.errorf("words for %s, which the model does not have", w.id)
		}
	}
}

// checkTexts finds words that a language lacks. English must be complete; so must every other language that is begun.
func (f *files) checkTexts() {
	m := f.model
	if m.texts["en"] == nil {
		f.errs.add("text/en", 0, 0, "the English texts are missing")
		return
	}
	f.checkPairs()
	f.checkGrammars()
	f.checkAlarms()
	for _, locale := range m.locales {
		f.checkLanguage(locale)
	}
}

// checkLanguage names a file that English has and this language lacks once, and in the files that it has every entry.
func (f *files) checkLanguage(locale string) {
	m := f.model
	t := m.texts[locale]
	for _, file := range slices.Sorted(maps.Keys(f.textFiles)) {
		if what, ok := strings.CutPrefix(file, "en/"); ok && !f.textFiles[locale+"/"+what] {
			f.errs.add("text/"+locale+"/"+what+".yaml", 0, 0,
				"the file is missing; a language must have all files of text/en, with words for the same ids")
		}
	}
	missing := func(what, id, lacks string) {
		file := "text/" + locale + "/" + what + ".yaml"
		if locale != "en" && !f.textFiles[locale+"/"+what] {
			return // the whole file is missing, as has been said
		}
		name, _, _ := strings.Cut(id, " ")
		line, column := f.wordsAt(file, name)
		f.errs.add(file, line, column, "no words for %s%s; %s", id, f.definedAt(what, name), lacks)
	}
	for _, c := range m.Causes {
		x := t.Causes[c.ID]
		if x.Title == "" || x.Explain == "" {
			missing("causes", c.ID, "write title, sentence and explain")
		} else if len(m.Parts) > 0 && x.Sentence == "" {
			missing("causes", c.ID+" as a sentence", "write sentence")
		}
	}
	for _, o := range m.Observations {
		f.checkObservationText(t, o.ID, o.States, missing)
	}
	for _, s := range m.Setup {
		var states []string
		if s.Unit == "" {
			for _, st := range s.States {
				states = append(states, st.ID)
			}
		}
		f.checkObservationText(t, s.ID, states, missing)
	}
	for _, r := range m.Repairs {
		if t.Repairs[r.ID].Title == "" {
			missing("repairs", r.ID, "write title, parts, steps, cautions, proof and prevention")
		}
	}
	for _, d := range m.Dangers {
		if x := t.Dangers[d.ID]; x.Title == "" || x.Text == "" {
			missing("dangers", d.ID, "write title, text, steps and way_out")
		}
	}
	for _, tool := range m.Tools {
		if t.Tools[tool] == "" {
			missing("tools", tool, "write its name")
		}
	}
}

// wordsAt says where a text file speaks of an identifier; zero if it does not.
func (f *files) wordsAt(file, id string) (line, column int) {
	for _, w := range f.worded {
		if w.id == id && w.at.file == file {
			return w.at.position()
		}
	}
	return 0, 0
}

// definedAt says where something that lacks words is defined.
func (f *files) definedAt(what, id string) string {
	at, ok := f.seen[id]
	if what == "dangers" {
		at, ok = f.places["danger/"+id]
	}
	if !ok {
		return ""
	}
	line, _ := at.position()
	return fmt.Sprintf("; it is defined in %s:%d", at.file, line)
}

func (f *files) checkObservationText(t *Texts, id string, states []string, missing func(what, id, lacks string)) {
	x, ok := t.Observations[id]
	if !ok || x.Title == "" || x.Question == "" {
		lacks := "write title and question"
		if len(states) > 0 {
			lacks += ", and states with a word for " + strings.Join(states, ", ")
		}
		missing("observations", id, lacks)
		return
	}
	for _, s := range states {
		if x.States[s] == "" {
			missing("observations", id+" in state "+s, "write it under states")
		}
	}
}
