package words

import (
	"github.com/blevesearch/snowballstem"
	"github.com/blevesearch/snowballstem/danish"
	"github.com/blevesearch/snowballstem/dutch"
	"github.com/blevesearch/snowballstem/english"
	"github.com/blevesearch/snowballstem/finnish"
	"github.com/blevesearch/snowballstem/french"
	"github.com/blevesearch/snowballstem/german"
	"github.com/blevesearch/snowballstem/hungarian"
	"github.com/blevesearch/snowballstem/italian"
	"github.com/blevesearch/snowballstem/norwegian"
	"github.com/blevesearch/snowballstem/portuguese"
	"github.com/blevesearch/snowballstem/romanian"
	"github.com/blevesearch/snowballstem/spanish"
	"github.com/blevesearch/snowballstem/swedish"
	"github.com/blevesearch/snowballstem/turkish"
)

// stemmers are the languages' stemmers by the names that grammars give.
var stemmers = map[string]func(*snowballstem.Env) bool{
	"danish": danish.Stem, "dutch": dutch.Stem, "english": english.Stem, "finnish": finnish.Stem, "french": french.Stem,
	"german": german.Stem, "hungarian": hungarian.Stem, "italian": italian.Stem, "norwegian": norwegian.Stem,
	"portuguese": portuguese.Stem, "romanian": romanian.Stem, "spanish": spanish.Stem,
	"swedish": swedish.Stem, "turkish": turkish.Stem,
}

// stem cuts a folded word's ending off. Words with anything but letters stay as they are.
func (l *tongue) stem(word string) string {
	if l.stemmer == nil || len(word) < 3 || len(word) > 40 {
		return word
	}
	for i := 0; i < len(word); i++ {
		if word[i] < 'a' || word[i] > 'z' {
			return word
		}
	}
	env := snowballstem.NewEnv(word)
	l.stemmer(env)
	return env.Current()
}
