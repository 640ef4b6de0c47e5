package heater_test

import (
	"fmt"
	"io/fs"
	"maps"
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

// tongue is what a test must know of a language to hold its texts against the English ones.
type tongue struct {
	decimal, thousand string            // how its numbers are written
	same              []string          // values that may stand as they do in English
	units             map[string]string // English unit → pattern of its own, where they differ
	counts            map[string]string // English number word → pattern of its own
	safety            map[string]string // English word that must not get lost → pattern of its own
	negation          *regexp.Regexp    // its words that forbid or deny
	english           *regexp.Regexp    // words that no text of it contains
}

// The words are the dictionary's; from memory. English words that German also has (in, so, am, was, will, an, bald, arm,
// war, also, not, fast, warm) are not among the forbidden.
var tongues = map[string]tongue{
	"de": {
		decimal: ",", thousand: ".",
		same: []string{"Lithium", "Solar", "Pt1000", "Biodiesel"},
		units: map[string]string{"volt": "Volt", "volts": "Volt", "hours": "Stunden", "degrees": "Grad", "kilo-ohms": "Kiloohm",
			"ticks": "Hübe", "strokes": "Hüben?"},
		counts: map[string]string{"two": "zwei|beide", "three": "drei", "five": "fünf", "ten": "zehn", "twenty": "zwanzig",
			"hundred": "hundert", "thousandth": "tausendstel", "half": "halb|hälfte", "quarter": "viertel",
			"twice": "doppelt|zweimal", "tenths": "zehntel"},
		safety: map[string]string{"carbon monoxide": "Kohlenmonoxid", "alarm": "melder", "tested": "getestet", "emergency number": "Notruf",
			"extinguisher": "Feuerlöscher", "everybody": "alle", "asleep": "schlaf", "doctor": "Arzt", "petrol": "Benzin", "alcohol": "Alkohol",
			"flame": "flamme", "sparks?": "funke", "cigarette": "Zigarette", "fire": "feuer|brand|brenn", "gaskets?": "dichtung", "bilge": "Bilge",
			"mouth": "Mund", "local rules": "örtliche", "competent|qualified": "fach", "workshop": "werkstatt", "instructions": "anleitung",
			"outdoors": "im freien|ins freie", "doors?": "tür", "cold": "kalt|kälte|kühl|versulzt", "priming function": "Entlüftungsfunktion", "casing": "Gehäuse",
			"fuses?": "sicherung", "minus": "minus", "frozen": "gefroren", "swollen": "aufgebläht", "let the fan finish": "zu Ende laufen",
			"cut(ting)? (it off|its power|the power|its supply|the supply)": "Strom", "snow": "schnee|schnei", "closed space": "geschlossenen R"},
		negation: regexp.MustCompile(`(?i)\b(nie|niemals|nicht|nichts|kein\w*|ohne|weder|noch)\b`),
		english:  regexp.MustCompile(`(?i)\b(the|and|with|of|is|are|not in|it|its|to|for|from|on|at|by|or|if|no|do|does|don't|never|off|out|into|this|that|these|when|while|before|after|only|heater|fuel|pump|exhaust|fan|panel|plug|start it|you|your|they|there|has|have|been|must|should|than|then|which|where)\b`),
	},
}

// texts are the texts of a language, flat: file/key/field/index → value.
func texts(t *testing.T, locale string) map[string]string {
	t.Helper()
	out := map[string]string{}
	files, err := fs.Glob(heater.Files(), "text/"+locale+"/*.yaml")
	require.NoError(t, err)
	for _, file := range files {
		if slices.Contains([]string{"lexicon.yaml", "grammar.yaml", "alarms.yaml", "gates.yaml", "glossary.yaml"}, path.Base(file)) {
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
			require.Contains(t, tongues, locale, "say here how its numbers and units are written")
			known[locale] = tongues[locale]
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
			require.Equal(t, strings.HasSuffix(english[at], " "), strings.HasSuffix(text, " "), "%s: %s: what follows it needs the space", locale, at)
		}
	}
}

func TestNoTextIsLeftInEnglish(t *testing.T) {
	english := texts(t, "en")
	for locale, tongue := range others(t) {
		used := map[string]bool{}
		for at, text := range texts(t, locale) {
			if text == english[at] {
				assert.Contains(t, tongue.same, text, "%s: %s stands as in English", locale, at)
				used[text] = true
			}
			if found := tongue.english.FindString(text); found != "" {
				t.Errorf("%s: %s: English %q in: %s", locale, at, found, text)
			}
		}
		for _, s := range tongue.same {
			assert.True(t, used[s], "%s: %s need not be excused", locale, s)
		}
	}
}

// What an English text says twice in the same words, a language says twice in the same words too: one caution, one wording.
// Single labels may differ, for "None" of bubbles and "None" of starts are two words elsewhere.
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

// Each number of an English text, with its unit, stands in the other language's text, as often, and no other number does.
func TestFiguresAreTheSameInEveryLanguage(t *testing.T) {
	english := texts(t, "en")
	seen := 0
	for locale, tongue := range others(t) {
		local := strings.NewReplacer(",", tongue.thousand, ".", tongue.decimal)
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
				unit, differs := tongue.units[m[2]]
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
			for word, pattern := range tongue.counts {
				if regexp.MustCompile(`(?i)\b` + word + `\b`).MatchString(text) {
					seen[word]++
					assert.Regexp(t, `(?i)`+pattern, own[at], "%s: %s: %s", locale, at, text)
				}
			}
		}
		for word := range tongue.counts {
			assert.Positive(t, seen[word], "%s: no English text says %s", locale, word)
		}
	}
}

// What keeps people alive is named wherever English names it.
func TestNoWordOfSafetyGetsLost(t *testing.T) {
	english := texts(t, "en")
	for locale, tongue := range others(t) {
		own := texts(t, locale)
		for word, pattern := range tongue.safety {
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
		own := texts(t, locale)
		for at, text := range english {
			if n := len(forbids.FindAllString(text, -1)); warns(at) && n > 0 {
				seen++
				assert.GreaterOrEqual(t, len(tongue.negation.FindAllString(own[at], -1)), n, "%s: %s: %s | %s", locale, at, text, own[at])
			}
		}
	}
	require.Greater(t, seen, 300)
}

// warns tells whether a text is there to keep people from harm.
func warns(at string) bool {
	return strings.Contains(at, "/cautions/") || strings.HasPrefix(at, "dangers.yaml/")
}
