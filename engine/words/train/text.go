package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/goccy/go-yaml"

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

type written struct {
	Locale string `yaml:"locale"`
	Text   string `yaml:"text"`
	Asked  string `yaml:"asked"`
	Said   []struct {
		ID     string   `yaml:"id"`
		State  string   `yaml:"state"`
		Number *float64 `yaml:"number"`
	} `yaml:"said"`
}

// readTexts reads a file of labelled sentences.
func readTexts(path string) ([]*text, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var in []written
	if err := yaml.Unmarshal(data, &in); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var out []*text
	for _, w := range in {
		x := &text{words: w.Text, locale: w.Locale, asked: w.Asked, said: map[label]bool{}, whole: len(w.Said) == 1}
		for _, s := range w.Said {
			if s.Number != nil || strings.HasPrefix(s.State, "E-") {
				s.State = words.NumberSaid
			}
			x.said[label{s.ID, s.State}] = true
		}
		out = append(out, x)
	}
	return out, nil
}
