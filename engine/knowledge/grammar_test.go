package knowledge

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const grammar = `stemmer: english
joint: S
thousands: ","
point: [point, dot]
or: [or]
articles: [the, a]
numbers: {three: 3, zwölf: 12}
tables: {lamps: [lamp, "the lamp(s)"]}
units: {A: [amp, amps], W: [watt]}
places: {at_plug: [plug]}
`

const measures = `measures:
  - {id: motor_current, unit: A, at: [at_plug], bare: true, min: 1, max: 15, scale: 0.5, offset: 2}
  - {id: mains, unit: W, bands: [{state: weak, below: 100}, {state: normal}], asks: true}
`

func spoken(t *testing.T) fstest.MapFS {
	files := good(t)
	files["text/en/grammar.yaml"] = &fstest.MapFile{Data: []byte(grammar)}
	files["measures.yaml"] = &fstest.MapFile{Data: []byte(measures)}
	return files
}

func TestGrammarHoldsWhatItsFileSays(t *testing.T) {
	m, err := Load(spoken(t), nil)
	require.NoError(t, err)
	g := m.Text("en").Grammar
	assert.Equal(t, "english", g.Stemmer)
	assert.Equal(t, "s", g.Joint, "folded")
	assert.Equal(t, ",", g.Thousands)
	assert.Equal(t, []string{"point", "dot"}, g.Point)
	assert.Equal(t, []string{"or"}, g.Or)
	assert.Equal(t, []string{"the", "a"}, g.Articles)
	assert.Equal(t, map[string]float64{"three": 3, "zwoelf": 12}, g.Numbers)
	assert.Len(t, g.Tables["lamps"], 2)
	assert.Len(t, g.Units["A"], 2)
	assert.Equal(t, "plug", g.Places["at_plug"][0].String())
	require.Len(t, m.Measures, 2)
	assert.Equal(t, Measure{ID: "motor_current", Unit: "A", At: []string{"at_plug"}, Unless: []string{}, Bare: true,
		Min: 1, Max: 15, Scale: 0.5, Offset: 2}, m.Measures[0])
	assert.Equal(t, 1.0, m.Measures[1].Scale, "as it is told")
	assert.Equal(t, []MeasureBand{{"weak", 100}, {"normal", 0}}, m.Measures[1].Bands)
	assert.True(t, m.Measures[1].Asks)
}

func TestBadGrammars(t *testing.T) {
	const file, other = "text/en/grammar.yaml", "measures.yaml"
	for name, tt := range map[string]struct {
		file, old, new string
		want           wanted
	}{
		"unknown entry": {file, "or: [or]", "xor: [or]", wanted{file, "xor", `unknown entry "xor" of a grammar`}},
		"not a single word": {file, "articles: [the, a]", "articles: [the, an a]",
			wanted{file, "articles", `"an a" is not a single word`}},
		"not a phrase": {file, "places: {at_plug: [plug]}", `places: {at_plug: [plug, "(plug"]}`,
			wanted{file, "places", "not a phrase"}},
		"an unknown table": {file, "tables: {lamps:", "tables: {lamp:",
			wanted{file, "stemmer", "words for the code table lamp, which the model does not have"}},
		"no words of a unit": {file, "W: [watt]", "",
			wanted{file, "stemmer", "no words for the unit W, in which mains is told"}},
		"no words of a place": {file, "places: {at_plug: [plug]}", "places: {}",
			wanted{file, "stemmer", "no words for the place at_plug, by which motor_current is known"}},
		"measure of nothing": {other, "id: motor_current", "id: motor_watts",
			wanted{other, "{id: motor_watts", "motor_watts is no observation or setup fact"}},
		"a number told in states": {other, "min: 1", "bands: [{state: x}], min: 1",
			wanted{other, "{id: motor_current", "motor_current is a number; it is not told in states"}},
		"states told in numbers": {other, ", bands: [{state: weak, below: 100}, {state: normal}]", "",
			wanted{other, "{id: mains", "mains is told in states; say which numbers mean which"}},
		"an unknown state": {other, "{state: normal}", "{state: usual}",
			wanted{other, "{id: mains", `mains has no state "usual"`}},
		"bands that fall": {other, "{state: weak, below: 100}, ", "{state: weak, below: 100}, {state: normal, below: 50}, ",
			wanted{other, "{id: mains", "the bands of mains do not rise"}},
	} {
		t.Run(name, func(t *testing.T) {
			files := spoken(t)
			replace(t, files, tt.file, tt.old, tt.new)
			_, err := Load(files, nil)
			var got *Error
			require.ErrorAs(t, err, &got)
			var messages string
			for _, p := range got.Problems {
				if p.File == tt.want.file && p.Line == lineOf(t, files, tt.want.file, tt.want.at) {
					messages += p.Message + "\n"
				}
			}
			require.Contains(t, messages, tt.want.message, "%v", err)
		})
	}
}

func TestUnknownEntryOfALexicon(t *testing.T) {
	files := good(t)
	replace(t, files, "text/en/lexicon.yaml", "says:", "sayings: {x: [y]}\nsays:")
	requireProblems(t, files, []wanted{{"text/en/lexicon.yaml", "sayings",
		`unknown entry "sayings" of a lexicon; known are things and says`}})
}

func TestNumbersNeedTheirRange(t *testing.T) {
	for name, range_ := range map[string]string{"no unit": "min: 0, max: 100, ", "no range": "unit: m, ",
		"turned round": "unit: m, min: 3, max: 3, "} {
		files := good(t)
		replace(t, files, seen, "unit: m, min: 0, max: 100, ", range_)
		_, err := Load(files, nil)
		require.ErrorContains(t, err, "length_of_hose has no states, so it needs unit, min and max", name)
	}
}

// People overlook things: no link to an observation may be sure to be noticed. An effect may be sure.
func TestNothingIsSureToBeNoticed(t *testing.T) {
	files := good(t)
	replace(t, files, seen, "      motor_worn: often\n", "      motor_worn: 1\n")
	requireProblems(t, files, []wanted{{seen, "motor_worn: 1", "hum: motor_worn is sure to be noticed; leave at least"}})
	files = good(t)
	replace(t, files, causes, "hose_split: {weak: often}", "hose_split: {weak: 1}")
	_, err := Load(files, nil)
	require.NoError(t, err)
}

// What was done changes what holds before anything was found, by its odds; undone, the kept answer serves again.
func TestBeforeFollowsWhatWasDone(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	in.Enter([]Finding{stated("hum", "rough")})
	plain := first(in.Priors())(t)
	in.ScaleOdds([]float64{3, 1, 0.1, 1})
	in.Enter([]Finding{stated("hum", "rough")})
	done := first(in.Priors())(t)
	assert.Greater(t, done[0], plain[0]+0.1)
	assert.Less(t, done[2], 0.5*plain[2])
	fresh := m.NewInquiry()
	fresh.ScaleOdds([]float64{3, 1, 0.1, 1})
	requireEqual(t, posteriors(t, fresh), done, tolerance, "nothing found")
	in.ScaleOdds([]float64{1, 3, 1, 1})
	in.Enter(nil)
	assert.Greater(t, first(in.Priors())(t)[1], plain[1]+0.1, "said anew")
	dry := []Finding{stated("dry_summer", "yes")}
	in.Enter(dry)
	fresh.ScaleOdds([]float64{1, 3, 1, 1})
	requireEqual(t, posteriors(t, fresh, dry...), first(in.Priors())(t), tolerance, "in another installation")
	in.ScaleOdds(nil)
	in.Enter(nil)
	requireEqual(t, plain, first(in.Priors())(t), tolerance)
	requireEqual(t, oracle(m.rate[0], m.rate[1], m.rate[2], m.anywayRate), plain, tolerance)
}

// Without a figure of its own the computed cause gets what the others leave: by enumeration, at the rates that were
// fitted.
func TestTheComputedCauseGetsWhatIsLeft(t *testing.T) {
	m := pump(t)
	n := m.Numbers()
	delete(n.Rates, "all_well")
	n.Rates["hose_split"] = 170
	next, err := m.WithNumbers(n)
	require.NoError(t, err)
	want := oracle(next.rate[0], next.rate[1], next.rate[2], next.anywayRate)
	assert.InDelta(t, 1000*want[3], next.Causes[3].PerThousand, 1e-6)
	assert.InDelta(t, 0.170, want[1], 1e-4, "the others keep their figures")
	assert.InDelta(t, m.anywayRate, next.anywayRate, 0, "as many complain of nothing as before")
	assert.Equal(t, m.Version+"+", next.Version)
	assert.InDelta(t, 590, m.Causes[3].PerThousand, 0, "the model itself stays")

	rates, err := m.WithNumbers(Numbers{Rows: m.Numbers().Rows})
	require.NoError(t, err)
	assert.Equal(t, m.rate, rates.rate, "without figures the base rates stay")
	_, err = m.WithNumbers(Numbers{Rows: []Row{{Of: "hum", From: "flow", State: "none", P: []float64{1, 0}}}})
	require.Error(t, err)
}
