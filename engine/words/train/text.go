package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"

	"lightoff/engine/knowledge"
	"lightoff/engine/words"
)

// label is one thing that a sentence says.
type label struct{ id, state string }

// text is a labelled sentence.
type text struct {
	words, locale string
	asked         string
	said          map[label]bool
	whole         bool // it says one thing, and nothing but that
}

type said struct {
	ID     string   `yaml:"id"`
	State  string   `yaml:"state"`
	Number *float64 `yaml:"number"`
}

// label of what is said; numbers are all alike, and so are numbered codes.
func (s said) label() label {
	if s.Number != nil || strings.HasPrefix(s.State, "E-") {
		return label{s.ID, words.NumberSaid}
	}
	return label{s.ID, s.State}
}

// sentences is an entry of a file: one sentence with all that it says, or several ways of saying one thing.
type sentences struct {
	Locale string   `yaml:"locale"`
	Text   string   `yaml:"text"`
	Asked  string   `yaml:"asked"`
	Said   []said   `yaml:"said"`
	Texts  []string `yaml:"texts"`
	ID     string   `yaml:"id"`
	State  string   `yaml:"state"`
	Value  *float64 `yaml:"value"`
	Danger string   `yaml:"danger"`
	Warn   []string `yaml:"warn"`
}

// dangers are the model's names for those that the sentences' writers named otherwise. What is not among the model's
// dangers that forbid a start is not learnt.
var dangers = map[string]string{"bottled_gas": "gas_inside", "gas_smell": "gas_inside", "petrol_in_fuel": "wrong_fuel",
	"wrong_fuel": "wrong_fuel", "smell_burning": "burning_smell", "burning_smell": "burning_smell",
	"runaway":   "runaway_burn",
	"siphoning": "siphoning_tank", "exhaust_inside": "exhaust_inside", "exhaust_joint_inside": "exhaust_joint_inside",
	"exhaust_obstructed": "exhaust_obstructed", "fire_inside": "fire_inside", "flooded_burner": "flooded_burner",
	"intake_inside": "intake_inside", "loose_fuel": "loose_fuel"}

func (t *text) warns(danger string) {
	if d := dangers[danger]; d != "" {
		t.said[label{words.DangerSaid, d}] = true
	}
}

// readTexts reads a file of labelled sentences. Ways of saying one thing are in the language that the file's name
// begins with.
func readTexts(path string) ([]*text, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var in []sentences
	if err := yaml.Unmarshal(data, &in); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	locale, _, _ := strings.Cut(filepath.Base(path), "_")
	var out []*text
	for _, w := range in {
		if w.Text != "" {
			x := &text{words: w.Text, locale: w.Locale, asked: w.Asked, said: map[label]bool{}, whole: len(w.Said) == 1}
			for _, s := range w.Said {
				x.said[s.label()] = true
			}
			for _, d := range w.Warn {
				x.warns(d)
			}
			out = append(out, x)
			continue
		}
		for _, t := range w.Texts {
			x := &text{words: t, locale: locale, said: map[label]bool{}, whole: true}
			switch {
			case w.Danger != "":
				x.warns(w.Danger)
			case w.ID != "":
				x.said[said{w.ID, w.State, w.Value}.label()] = true
			}
			out = append(out, x)
		}
	}
	return out, nil
}

// usualFrom is in how many sentences a word stands that is taken to be spelt as meant.
const usualFrom = 4

// usualWords lists the words that stand in many sentences.
func usualWords(texts []*text) []string {
	in := map[string]int{}
	for _, t := range texts {
		seen := map[string]bool{}
		for _, w := range strings.FieldsFunc(knowledge.Fold(t.words), func(r rune) bool { return r < 'a' || r > 'z' }) {
			if len(w) >= 4 && !seen[w] {
				seen[w] = true
				in[w]++
			}
		}
	}
	for w, n := range in {
		if n < usualFrom {
			delete(in, w)
		}
	}
	return slices.Sorted(maps.Keys(in))
}
