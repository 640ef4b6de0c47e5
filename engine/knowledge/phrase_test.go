package knowledge

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// fits tells how many of a text's words, from the first on, a phrase takes; "um" and "er" are fillers.
func fits(t *testing.T, phrase, text string) int {
	p, err := ParsePhrase(phrase)
	require.NoError(t, err, phrase)
	said := strings.Fields(Fold(text))
	is := func(i int, w string) bool {
		switch {
		case i >= len(said):
			return false
		case w == "_":
			return true
		case strings.HasPrefix(w, "*"):
			return strings.HasSuffix(said[i], w[1:])
		case strings.HasSuffix(w, "*"):
			return strings.HasPrefix(said[i], w[:len(w)-1])
		}
		return said[i] == w
	}
	return p.Match(0, is, func(i int) bool { return i < len(said) && (said[i] == "um" || said[i] == "er") })
}

func TestPhrasesFit(t *testing.T) {
	for _, tt := range []struct {
		phrase, text string
		words        int
	}{
		{"white smoke", "white smoke", 2},
		{"white smoke", "White smoke outside", 2},
		{"white smoke", "smoke", -1},
		{"white smoke", "white um er smoke", 4},
		{"white smoke", "white um er um er smoke", -1}, // more than three fillers
		{"white smoke", "um white smoke", -1},          // fillers stand between, not before
		{"(white|grey) smoke", "grey smoke", 2},
		{"thick? (white)? smoke", "smoke", 1},
		{"thick? (white)? smoke", "thick white smoke", 3},
		{"white (smoke)?", "white smoke", 2}, // the longest
		{"(very|really)* thick", "very really very thick", 4},
		{"(very|really)* thick", "thick", 1},
		{"_ smoke", "purple smoke", 2},
		{"*pumpe tickt", "Dosierpumpe tickt", 2},
		{"läuft weiß", "laeuft weiss", 2},
		{"won't start", "won’t start", 2},
		{"a|b c|d", "b c", 2},
	} {
		require.Equal(t, tt.words, fits(t, tt.phrase, tt.text), "%s on %s", tt.phrase, tt.text)
	}
}

func TestBadPhrases(t *testing.T) {
	for phrase, want := range map[string]string{
		"":             "a word is missing",
		"(a|b":         "not closed",
		"a)":           "not opened",
		"a||b":         "a word is missing",
		"?":            "follows no word",
		"a?":           "at least one word",
		"(a|b)*":       "at least one word",
		"ab*":          "three letters",
		"smo*ke":       "stands at an end",
		"smoke & fire": "cannot stand",
	} {
		_, err := ParsePhrase(phrase)
		require.ErrorContains(t, err, want, phrase)
	}
}

func TestFirstAndAllWords(t *testing.T) {
	p, err := ParsePhrase("(no|not any)? smoke|Qualm, bitte")
	require.NoError(t, err)
	require.Equal(t, []string{"no", "not", "qualm", "smoke"}, p.First())
	require.Equal(t, []string{",", "any", "bitte", "no", "not", "qualm", "smoke"}, p.Words())
}

func FuzzParsePhrase(f *testing.F) {
	for _, s := range []string{"(a|b)? c*", "läuft (#|_) ,? nicht", "((a)*)* b", "a?b"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePhrase(s)
		if err != nil || len(s) > 40 {
			return
		}
		n := p.Match(0, func(i int, w string) bool { return i < 60 }, func(int) bool { return false })
		require.GreaterOrEqual(t, n, 1, "a phrase takes at least one word")
		require.NotEmpty(t, p.First())
	})
}

// A grammar's mistakes are told with their places, like those of any model file.
func TestGrammarMistakesAreLocated(t *testing.T) {
	measures := "measures:\n  - {id: water_at_tap, unit: litre, bands: [{state: none, below: 0.1}, {state: plenty}]}\n"
	grammar := "negate_next: [no, not]\nunits: {litre: [litre, litres]}\nplaces: {tap: [\"at the tap\"]}\n"
	for _, tt := range []struct{ name, file, old, new, want string }{
		{"unknown entry", "text/en/grammar.yaml", "negate_next", "negates", `text/en/grammar.yaml:1:1: unknown entry "negates" of a grammar`},
		{"bad phrase", "text/en/grammar.yaml", "[no, not]", `[no, "not ("]`, "text/en/grammar.yaml:1:19: not a phrase"},
		{"no words for a unit", "text/en/grammar.yaml", "litre:", "gallon:", "no words for the unit litre"},
		{"no words for a place", "measures.yaml", "unit: litre", "unit: litre, at: [hose]", "no words for the place hose"},
		{"measure of nothing", "measures.yaml", "water_at_tap", "fire_at_tap", "measures.yaml:2:6: fire_at_tap is no observation or setup fact"},
		{"unknown band", "measures.yaml", "state: plenty", "state: torrent", `water_at_tap has no state "torrent"`},
		{"no bands", "measures.yaml", ", bands: [{state: none, below: 0.1}, {state: plenty}]", "", "say which numbers mean which"},
		{"table of nothing", "text/en/grammar.yaml", "places:", "tables: {blinks: [blinks]}\nplaces:", "the code table blinks"},
		{"two words", "text/en/grammar.yaml", "places:", "fillers: [the, \"of the\"]\nplaces:", "is not a single word"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			files := good(t)
			files["measures.yaml"] = &fstest.MapFile{Data: []byte(measures)}
			files["text/en/grammar.yaml"] = &fstest.MapFile{Data: []byte(grammar)}
			replace(t, files, tt.file, tt.old, tt.new)
			_, err := Load(files, nil)
			require.ErrorContains(t, err, tt.want)
		})
	}
	files := good(t)
	files["measures.yaml"] = &fstest.MapFile{Data: []byte(measures)}
	files["text/en/grammar.yaml"] = &fstest.MapFile{Data: []byte(grammar)}
	m, err := Load(files, nil)
	require.NoError(t, err)
	require.Len(t, m.Measures, 1)
	require.Len(t, m.Text("en").Grammar.NegateNext, 2)
}
