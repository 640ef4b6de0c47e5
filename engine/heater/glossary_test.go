package heater_test

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
)

// term is an entry of a language's glossary: the word for a thing, and patterns of words that must not stand in its
// place.
type term struct {
	Term  string   `yaml:"term"`
	Never []string `yaml:"never"`
}

// glossary reads a language's terms; a pattern is matched in upper and lower case alike.
func glossary(t *testing.T, locale string) map[string][]*regexp.Regexp {
	t.Helper()
	data, err := fs.ReadFile(heater.Files(), "text/"+locale+"/glossary.yaml")
	require.NoError(t, err)
	var terms []term
	require.NoError(t, yaml.UnmarshalWithOptions(data, &terms, yaml.Strict()))
	out := map[string][]*regexp.Regexp{}
	for _, x := range terms {
		require.NotEmpty(t, x.Term)
		require.NotEmpty(t, x.Never, x.Term)
		require.NotContains(t, out, x.Term, "said twice")
		for _, pattern := range x.Never {
			out[x.Term] = append(out[x.Term], regexp.MustCompile("(?i)"+pattern))
		}
	}
	return out
}

// pageTexts are the page's words of a language, as a person reads them: file/key → words.
func pageTexts(t *testing.T, locale string) map[string]string {
	t.Helper()
	out := map[string]string{}
	files, err := filepath.Glob("../../webui/static/*/" + locale + ".json")
	require.NoError(t, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var words map[string]string
		require.NoError(t, json.Unmarshal(data, &words), file)
		for key, text := range words {
			out[filepath.ToSlash(file)+" "+key] = text
		}
	}
	require.Greater(t, len(out), 300)
	return out
}

// One thing has one word: no text and no key of the page says it in a word that the glossary rules out.
func TestTextsKeepToTheGlossary(t *testing.T) {
	for _, locale := range load(t).Locales() {
		terms := glossary(t, locale)
		require.Greater(t, len(terms), 15, locale)
		all := texts(t, locale)
		for at, text := range pageTexts(t, locale) {
			all[at] = text
		}
		for at, text := range all {
			for use, never := range terms {
				for _, pattern := range never {
					if found := pattern.FindString(text); found != "" {
						t.Errorf("%s: %s: say %q for %q in: %s", locale, at, use, found, text)
					}
				}
			}
		}
	}
}

// What a glossary rules out would be found: each pattern fits at least one word of its kind, and none fits the term
// itself.
func TestGlossariesRuleOutNoTermOfTheirOwn(t *testing.T) {
	for _, locale := range load(t).Locales() {
		terms := glossary(t, locale)
		for use := range terms {
			for other, never := range terms {
				i := slices.IndexFunc(never, func(p *regexp.Regexp) bool { return p.MatchString(strings.ToLower(use)) })
				assert.Negative(t, i, "%s: %q rules out %q", locale, other, use)
			}
		}
	}
	found := map[string]string{"de": "Wie weit gehen Sie selbst?", "en": "It is well with 83 %"}
	for locale, text := range found {
		n := 0
		for _, never := range glossary(t, locale) {
			for _, p := range never {
				if p.MatchString(text) {
					n++
				}
			}
		}
		assert.Equal(t, 1, n, "%s: %s", locale, text)
	}
}
