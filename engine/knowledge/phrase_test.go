package knowledge

import (
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// runs lists the runs of words that a phrase stands for, those of one word first.
func runs(t *testing.T, phrase string) []string {
	p, err := ParsePhrase(phrase)
	require.NoError(t, err, phrase)
	type place struct{ said []string }
	step := func(at *place, w string) *place {
		out := &place{}
		for _, s := range at.said {
			out.said = append(out.said, strings.TrimSpace(s+" "+w))
		}
		return out
	}
	join := func(ends ...*place) *place {
		out := &place{}
		for _, e := range ends {
			out.said = append(out.said, e.said...)
		}
		return out
	}
	said := Walk(p, &place{[]string{""}}, step, join).said
	slices.Sort(said)
	return slices.Compact(said)
}

func TestPhrasesStandForRunsOfWords(t *testing.T) {
	for phrase, want := range map[string][]string{
		"white smoke":           {"white smoke"},
		"(white|grey) smoke":    {"grey smoke", "white smoke"},
		"thick? (white)? smoke": {"smoke", "thick smoke", "thick white smoke", "white smoke"},
		"white (smoke)?":        {"white", "white smoke"},
		"geht ~ aus":            {"geht ~ aus"},
		"=lights _ on # 3/4":    {"=lights _ on # 3/4"},
		"läuft weiß":            {"laeuft weiss"},
		"won't start":           {"wont start"},
		"a|b c|d":               {"a", "b c", "d"},
		"(very)* thick": {"thick", "very thick", "very very thick", "very very very thick",
			"very very very very thick"},
		"(in|at) ((the|a) house)?": {"at", "at a house", "at the house", "in", "in a house", "in the house"},
	} {
		slices.Sort(want)
		require.Equal(t, want, runs(t, phrase), phrase)
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

func TestAllWords(t *testing.T) {
	p, err := ParsePhrase("(no|not any)? smoke|Qualm, bitte")
	require.NoError(t, err)
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
		words := 0
		shortest := Walk(p, 0, func(at int, _ string) int { words++; return at + 1 },
			func(ends ...int) int { return slices.Min(ends) })
		require.GreaterOrEqual(t, shortest, 1, "a phrase takes at least one word")
		require.NotZero(t, words)
	})
}

// A grammar's mistakes are told with their places, like those of any model file.
func TestGrammarMistakesAreLocated(t *testing.T) {
	measures := "measures:\n  - {id: water_at_tap, unit: litre, bands: [{state: none, below: 0.1}, {state: plenty}]}\n"
	grammar := "negate_next: [no, not]\nunits: {litre: [litre, litres]}\nplaces: {tap: [\"at the tap\"]}\n"
	for _, tt := range []struct{ name, file, old, new, want string }{
		{"unknown entry", "text/en/grammar.yaml", "negate_next", "negates",
			`text/en/grammar.yaml:1:1: unknown entry "negates" of a grammar`},
		{"bad phrase", "text/en/grammar.yaml", "[no, not]", `[no, "not ("]`, "text/en/grammar.yaml:1:19: not a phrase"},
		{"no words for a unit", "text/en/grammar.yaml", "litre:", "gallon:", "no words for the unit litre"},
		{"no words for a place", "measures.yaml", "unit: litre", "unit: litre, at: [hose]", "no words for the place hose"},
		{"measure of nothing", "measures.yaml", "water_at_tap", "fire_at_tap",
			"measures.yaml:2:6: fire_at_tap is no observation or setup fact"},
		{"unknown band", "measures.yaml", "state: plenty", "state: torrent", `water_at_tap has no state "torrent"`},
		{"no bands", "measures.yaml", ", bands: [{state: none, below: 0.1}, {state: plenty}]", "",
			"say which numbers mean which"},
		{"table of nothing", "text/en/grammar.yaml", "places:", "tables: {blinks: [blinks]}\nplaces:",
			"the code table blinks"},
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
	require.Len(t, m.Text("en").Grammar.Roles["negate_next"], 2)
}
