package words

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"lightoff/engine/heater"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var readerOnce = sync.OnceValue(func() *Reader {
	m, err := heater.Model()
	if err != nil {
		panic(err)
	}
	return New(m)
})

// The examples by which edit distances are taught (kitten and sitting; CA and ABC, which is 3 for optimal string
// alignment, Damerau 1964 and Wagner and Fischer 1974; from memory), and each single change by itself.
func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"kitten", "sitting", 3}, {"saturday", "sunday", 3}, {"ca", "abc", 3}, {"", "", 0}, {"pump", "pump", 0},
		{"bubles", "bubbles", 1}, {"bubblles", "bubbles", 1}, {"bobbles", "bubbles", 1}, {"bubbels", "bubbles", 1},
		{"ubbbles", "bubbles", 1},
	} {
		assert.Equal(t, tt.want, distance(tt.a, tt.b, 9), "%s, %s", tt.a, tt.b)
		assert.Equal(t, tt.want, distance(tt.b, tt.a, 9), "%s, %s", tt.b, tt.a)
		if tt.want > 0 {
			assert.Equal(t, tt.want, distance(tt.a, tt.b, tt.want-1), "it gives up one beyond the limit")
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-e]{0,8}`)
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		d := distance(a, b, 20)
		require.Equal(t, d == 0, a == b)
		require.LessOrEqual(t, d, max(len(a), len(b)))
		require.GreaterOrEqual(t, d, max(len(a)-len(b), len(b)-len(a)))
	})
}

// Short words are never taken for misspellings, long ones may have two letters wrong, and the nearest wins.
func TestMisspelt(t *testing.T) {
	l := &language{known: map[string]bool{}, vocabulary: map[byte][]string{}}
	l.spell([]string{"pump", "smoke", "smokes", "exchanger", "ticking", "tick"})
	for word, want := range map[string][]string{
		"smoke": nil, "smoka": {"smoke"}, "msoke": {"smoke"}, "smokess": {"smokes"}, "smoek": {"smoke"}, "smake": {"smoke"},
		"smaka":     nil,
		"exchnager": {"exchanger"}, "exhanter": {"exchanger"}, "echantor": nil, "pumq": nil, "tickin": {"ticking"},
		"xsmoke": nil,
		"smokex": {"smoke", "smokes"},
	} {
		assert.Equal(t, want, l.misspelt(word), word)
	}
}

// FNV-1a of 32 bits: Noll's published test vectors for "a" and "foobar" (from memory).
func TestSignsAreHashes(t *testing.T) {
	assert.Equal(t, uint32(0xe40c292c), sign('a'))
	assert.Equal(t, uint32(0xbf9cf968), sign('f', "oobar"))
	assert.Equal(t, sign('w', "a b"), sign('w', "a", "b"), "parts are parted by a space")
	assert.NotEqual(t, sign(signWord, "pump"), sign(signName, "pump"))
}

// The endings that the stemmers' authors list as examples: consign, and knack (snowball, English; from memory).
func TestStems(t *testing.T) {
	english := &tongue{stemmer: stemmers["english"]}
	for _, w := range []string{"consign", "consigned", "consigning", "consignment"} {
		assert.Equal(t, "consign", english.stem(w))
	}
	assert.Equal(t, "knack", english.stem("knacks"))
	for _, same := range []string{"go", "12v", "mm2", "e-08", strings.Repeat("a", 41)} {
		assert.Equal(t, same, english.stem(same))
	}
	assert.Equal(t, "consigned", (&tongue{}).stem("consigned"), "a language without a stemmer")
}

// Numbers as people write them, in digits and in words; what is a date, a time or may be two things is none.
func TestNumbersInTexts(t *testing.T) {
	l := readerOnce().language
	for _, tt := range []struct {
		text, locale string
		want         float64
		odd          bool
	}{
		{"12.4", "en", 12.4, false}, {"12,4", "de", 12.4, false}, {"12", "en", 12, false}, {"-3", "en", -3, false},
		{"−3.5", "en", -3.5, false},
		{"½", "en", 0.5, false}, {"¾", "en", 0.75, false}, {"⅓", "en", 1.0 / 3, false}, {"3/4", "en", 0.75, false},
		{"1,200", "en", 1200, false}, {"1.200", "de", 1200, false}, {"1.200", "en", 0, true}, {"1,200", "de", 0, true},
		{"1.2.3", "en", 0, true}, {"12:30", "en", 0, true}, {"1234567890", "en", 0, true},
		{"twelve", "en", 12, false}, {"twenty four", "en", 24, false}, {"two hundred", "en", 200, false},
		{"twelve point four five", "en", 12.45, false},
		{"minus five", "en", -5, false}, {"point nine", "en", 0.9, false}, {"zwölf komma vier", "de", 12.4, false},
		{"vierundzwanzig", "de", 24, false},
		{"zweihundert", "de", 200, false}, {"zwölfhundert", "de", 1200, false}, {"dreihundertfünfzig", "de", 350, false},
	} {
		tokens := l.tokens(tt.text, tt.locale)
		require.Len(t, tokens, 1, tt.text)
		got := tokens[0]
		assert.True(t, got.number, tt.text)
		assert.Equal(t, tt.odd, got.odd, tt.text)
		if !tt.odd {
			assert.InDelta(t, tt.want, got.value, 1e-9, tt.text)
		}
		assert.Equal(t, []int{0, len(tt.text)}, []int{got.from, got.to}, tt.text)
	}
	for text, values := range map[string][]float64{"twelve thirteen": {12, 13}, "5-8": {5, 8}, "twenty thirty": {20, 30}} {
		var got []float64
		for _, x := range l.tokens(text, "en") {
			if x.number {
				got = append(got, x.value)
			}
		}
		assert.Equal(t, values, got, text)
	}
}

// What parts clauses and what does not.
func TestMarks(t *testing.T) {
	l := readerOnce().language
	for text, want := range map[string]string{
		"a, b": ",", "a (b)": ",,", "a – b": ",", "a - b": ",", "a-b": "", "smoke. b": ".", "a; b": ".", "a!": ".",
		"a\nb": ".", "a? b": "?",
		"a / b": ",", "a/b": "", "smoke... b": "...", "don't": "", "'": "",
	} {
		got := ""
		for _, x := range l.tokens(text, "en") {
			if x.mark {
				got += x.text
			}
		}
		assert.Equal(t, want, got, text)
	}
}

// German writes words together: the parts are found with the letters that join them, the longest last one first.
func TestCompounds(t *testing.T) {
	l := &language{linking: []string{"s", "n"}}
	in := &tongue{stems: map[string]bool{"kraftstoff": true, "pumpe": true, "leitung": true, "abgas": true, "rohr": true,
		"stoff": true, "heizung": true},
		nouns: map[string]bool{"heizung": true}, compounds: true}
	assert.Equal(t, []string{"kraftstoff", "pumpe"}, l.parts("kraftstoffpumpe", in))
	assert.Equal(t, []string{"kraftstoff", "leitung", "rohr"}, l.parts("kraftstoffleitungsrohr", in))
	assert.Equal(t, []string{"heizung", "rohr"}, l.parts("heizungsrohr", in))
	assert.Nil(t, l.parts("nachbarrohr", in))
	assert.Nil(t, l.parts("pumpe", in), "one word is no compound")
	assert.Equal(t, "heizung", in.tail("nachbarsheizung"))
	assert.Empty(t, in.tail("heizung"))
	assert.Empty(t, in.tail("nachbarpumpe"))
	in.compounds = false
	assert.Empty(t, in.tail("nachbarsheizung"), "a language that does not write words together")
}

// Weights that are written are read as they were; what is cut off is damaged.
func TestHunchesRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var labels []HunchLabel
		for i := range rapid.IntRange(1, 6).Draw(t, "labels") {
			labels = append(labels, HunchLabel{ID: "observation", State: string(rune('a' + i)),
				Bias: -rapid.Int32Range(0, 500).Draw(t, "bias")})
		}
		weights := Weights{}
		for _, s := range rapid.SliceOfNDistinct(rapid.Uint32(), 0, 20, rapid.ID[uint32]).Draw(t, "signs") {
			weights[s] = map[int]int8{}
			for _, k := range rapid.SliceOfNDistinct(rapid.IntRange(0, len(labels)-1), 1, len(labels), rapid.ID[int]).Draw(t,
				"for") {
				weights[s][k] = rapid.Int8().Draw(t, "weight")
			}
		}
		h, err := readHunches(WriteHunches(labels, nil, weights))
		require.NoError(t, err)
		require.Equal(t, labels, h.Labels)
		// Each sign by itself adds its weights to the biases; all together, and one that nobody learnt, add up.
		want := make([]int32, len(labels))
		for i, l := range labels {
			want[i] = l.Bias
		}
		signs := []uint32{}
		for s, row := range weights {
			signs = append(signs, s)
			for k, w := range row {
				want[k] += int32(w)
			}
		}
		got := make([]int32, len(labels))
		h.weigh(signs, got)
		require.Equal(t, want, got)
	})
	data := WriteHunches([]HunchLabel{{ID: "smoke", State: "black", Bias: -3}}, nil, Weights{7: {0: 5}, 9: {0: -5}})
	_, err := readHunches(data[:len(data)-1])
	require.ErrorIs(t, err, errHunches)
	_, err = readHunches(append([]byte{0xff, 0xff, 0x03}, data...))
	require.ErrorIs(t, err, errHunches, "more labels than there can be")
}

// Stretches lie within their sentences, in order, and say something; the same words look the same.
func TestStretches(t *testing.T) {
	r := readerOnce()
	assert.Empty(t, r.Stretches("", "en"))
	text := "Black smoke comes, and the pump ticks. It smells of diesel."
	stretches := r.Stretches(text, "en")
	require.NotEmpty(t, stretches)
	full := strings.Index(text, ".")
	var said []string
	for _, s := range stretches {
		assert.NotEmpty(t, s.Signs)
		assert.False(t, s.From < full && s.To > full+1, "no stretch goes over a full stop: %q", text[s.From:s.To])
		said = append(said, text[s.From:s.To])
	}
	assert.Contains(t, said, "Black smoke comes")
	assert.True(t, slices.ContainsFunc(said, func(s string) bool {
		return strings.HasPrefix(s,
			"Black smoke comes, and the pump ticks")
	}), "two pieces together: %q", said)
	assert.Equal(t, r.Stretches("black smoke", "en")[0].Signs, r.Stretches("Black smoke!", "en")[0].Signs)
	assert.NotEqual(t, r.Stretches("black smoke", "en")[0].Signs, r.Stretches("no black smoke", "en")[0].Signs)
}
