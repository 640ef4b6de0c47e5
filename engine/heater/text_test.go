package heater_test

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
)

// tongue is what a test must know of a language to hold its texts against the English ones:
// testdata/languages/<locale>.yaml.
type tongue struct {
	Decimal, Thousand string            // how its numbers are written
	Same              []string          // values that may stand as they do in English
	Units             map[string]string // English unit → pattern of its own, where they differ
	Counts            map[string]string // English number word → pattern of its own
	Safety            map[string]string // English pattern that must not get lost → pattern of its own
	Negation          string            // pattern of its words that forbid or deny
	English           string            // pattern of words that no text of it contains
}

// texts are the texts of a language, flat: file/key/field/index → value.
func texts(t *testing.T, locale string) map[string]string {
	t.Helper()
	out := map[string]string{}
	files, err := fs.Glob(heater.Files(), "text/"+locale+"/*.yaml")
	require.NoError(t, err)
	for _, file := range files {
		if slices.Contains([]string{"lexicon.yaml", "grammar.yaml", "alarms.yaml", "gates.yaml", "glossary.yaml"},
			path.Base(file)) {
			continue // these are no translations: each language says it in its own way
		}
		data, err := fs.ReadFile(heater.Files(), file)
		require.NoError(t, err)
		var root map[string]any
		require.NoError(t, yaml.Unmarshal(data, &root), file)
		flatten(out, path.Base(file), root)
	}
	return out
}

func flatten(out map[string]string, at string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			flatten(out, at+"/"+k, x)
		}
	case []any:
		for i, x := range v {
			flatten(out, fmt.Sprintf("%s/%d", at, i), x)
		}
	default:
		out[at] = fmt.Sprint(v)
	}
}

// others are the languages besides English; each must be known here, so that none comes in unchecked.
func others(t *testing.T) map[string]tongue {
	t.Helper()
	known := map[string]tongue{}
	for _, locale := range load(t).Locales() {
		if locale != "en" {
			text, err := os.ReadFile("testdata/languages/" + locale + ".yaml")
			require.NoError(t, err, "say there how its numbers and units are written")
			var own tongue
			require.NoError(t, yaml.Unmarshal(text, &own), locale)
			known[locale] = own
		}
	}
	require.NotEmpty(t, known)
	return known
}

// Every language has each text that English has, in the same place, cautions and parts one by one, and none besides.
func TestEveryLanguageHasTheSameTexts(t *testing.T) {
	english := texts(t, "en")
	require.Greater(t, len(english), 1500)
	for locale := range others(t) {
		own := texts(t, locale)
		require.Equal(t, slices.Sorted(maps.Keys(english)), slices.Sorted(maps.Keys(own)), locale)
		for at, text := range own {
			require.NotEmpty(t, strings.TrimSpace(text), "%s: %s", locale, at)
			require.Equal(t, strings.HasSuffix(english[at], " "), strings.HasSuffix(text, " "),
				"%s: %s: what follows it needs the space", locale, at)
		}
	}
}

func TestNoTextIsLeftInEnglish(t *testing.T) {
	english := texts(t, "en")
	for locale, tongue := range others(t) {
		used, foreign := map[string]bool{}, regexp.MustCompile(tongue.English)
		for at, text := range texts(t, locale) {
			if text == english[at] {
				assert.Contains(t, tongue.Same, text, "%s: %s stands as in English", locale, at)
				used[text] = true
			}
			if found := foreign.FindString(text); found != "" {
				t.Errorf("%s: %s: English %q in: %s", locale, at, found, text)
			}
		}
		for _, s := range tongue.Same {
			assert.True(t, used[s], "%s: %s need not be excused", locale, s)
		}
	}
}

// What an English text says twice in the same words, a language says twice in the same words too: one caution, one
// wording. Single labels may differ, for "None" of bubbles and "None" of starts are two words elsewhere.
func TestTheSameCautionHasTheSameWords(t *testing.T) {
	english := texts(t, "en")
	for locale := range others(t) {
		own, first := texts(t, locale), map[string]string{}
		for _, at := range slices.Sorted(maps.Keys(english)) {
			if !strings.Contains(at, "/cautions/") {
				continue
			}
			if before, ok := first[english[at]]; ok {
				assert.Equal(t, own[before], own[at], "%s: %s and %s", locale, before, at)
			} else {
				first[english[at]] = at
			}
		}
	}
}

var (
	digits   = regexp.MustCompile(`\d[\d.,]*\d|\d`)
	withUnit = regexp.MustCompile(`(\d[\d.,]*\d|\d)[ -]?(mm²|°C|µL|mL|(?:kW|mm|V|A|m|volts?|hours|degrees|kilo-ohms|ticks|strokes)\b)`)
)

// Each number of an English text, with its unit, stands in the other language's text, as often, and no other number
// does.
func TestFiguresAreTheSameInEveryLanguage(t *testing.T) {
	english := texts(t, "en")
	seen := 0
	for locale, tongue := range others(t) {
		local := strings.NewReplacer(",", tongue.Thousand, ".", tongue.Decimal)
		own := texts(t, locale)
		for at, text := range english {
			var want []string
			for _, n := range digits.FindAllString(text, -1) {
				want = append(want, local.Replace(n))
			}
			got := digits.FindAllString(own[at], -1)
			slices.Sort(want)
			slices.Sort(got)
			assert.Equal(t, want, got, "%s: %s: %s", locale, at, own[at])
			for _, m := range withUnit.FindAllStringSubmatch(text, -1) {
				seen++
				unit, differs := tongue.Units[m[2]]
				if !differs {
					unit = m[2]
				}
				assert.Regexp(t, regexp.QuoteMeta(local.Replace(m[1]))+`[ -]?(?:`+unit+`)`, own[at], "%s: %s: %s", locale, at, m[0])
			}
		}
	}
	require.Greater(t, seen, 40)
}

// Numbers written as words: how often to try, how long to wait.
func TestCountsAreTheSameInEveryLanguage(t *testing.T) {
	english := texts(t, "en")
	seen := map[string]int{}
	for locale, tongue := range others(t) {
		own := texts(t, locale)
		for at, text := range english {
			for word, pattern := range tongue.Counts {
				if regexp.MustCompile(`(?i)\b` + word + `\b`).MatchString(text) {
					seen[word]++
					assert.Regexp(t, `(?i)`+pattern, own[at], "%s: %s: %s", locale, at, text)
				}
			}
		}
		for word := range tongue.Counts {
			assert.Positive(t, seen[word], "%s: no English text says %s", locale, word)
		}
	}
}

// What keeps people alive is named wherever English names it.
func TestNoWordOfSafetyGetsLost(t *testing.T) {
	english := texts(t, "en")
	for locale, tongue := range others(t) {
		own := texts(t, locale)
		for word, pattern := range tongue.Safety {
			in, as, seen := regexp.MustCompile(`(?i)\b(?:`+word+`)\b`), regexp.MustCompile(`(?i)`+pattern), 0
			for at, text := range english {
				if !warns(at) || !in.MatchString(text) {
					continue
				}
				seen++
				assert.Regexp(t, as, own[at], "%s: %s: %s", locale, at, text)
			}
			assert.Positive(t, seen, "%s: no English text says %s", locale, word)
		}
	}
}

// A text that forbids still forbids, as many times.
func TestNoProhibitionGetsLost(t *testing.T) {
	english := texts(t, "en")
	forbids := regexp.MustCompile(`(?i)\b(never|not|no|don't|nor|nothing|none|nobody|without)\b`)
	seen := 0
	for locale, tongue := range others(t) {
		own, negation := texts(t, locale), regexp.MustCompile(tongue.Negation)
		for at, text := range english {
			if n := len(forbids.FindAllString(text, -1)); warns(at) && n > 0 {
				seen++
				assert.GreaterOrEqual(t, len(negation.FindAllString(own[at], -1)), n, "%s: %s: %s | %s", locale, at, text, own[at])
			}
		}
	}
	require.Greater(t, seen, 300)
}

// warns reports whether a text is there to keep people from harm.
func warns(at string) bool {
	return strings.Contains(at, "/cautions/") || strings.HasPrefix(at, "dangers.yaml/")
}
