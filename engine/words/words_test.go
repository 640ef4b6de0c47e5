package words_test

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
)

func reader(t *testing.T) *words.Reader {
	m, err := heater.Model()
	require.NoError(t, err)
	return words.New(m)
}

// read gives what is believed of a text, and what is asked back in one way or the other, in the order of the text.
func read(r *words.Reader, text, asked, locale string) (believed []words.Reading, askedBack []string) {
	out := r.Read(text, words.Context{Asked: asked, Locale: locale})
	type part struct {
		at    int
		words string
	}
	var parts []part
	for _, o := range out.Offers {
		parts = append(parts, part{o.From, o.Words})
	}
	from := 0
	for _, u := range out.Unclear {
		at := strings.Index(text[from:], u)
		from = max(from, from+at)
		parts = append(parts, part{from, u})
	}
	slices.SortStableFunc(parts, func(a, b part) int { return cmp.Compare(a.at, b.at) })
	for _, p := range parts {
		askedBack = append(askedBack, p.words)
	}
	return out.Readings, askedBack
}

func plain(r words.Reading) string {
	if r.IsNumber {
		return fmt.Sprintf("%s=%g", r.ID, r.Number)
	}
	return r.ID + "=" + r.State
}

func TestReadFindsWhatWasSaidAndNothingElse(t *testing.T) {
	r := reader(t)
	for _, tt := range []struct {
		text, asked string
		want        []string
		unclear     []string
	}{
		{"E-08", "", []string{"fault_code=E-08"}, nil},
		{"e8", "", []string{"fault_code=E-08"}, nil},
		{"E 10", "", []string{"fault_code=E-10"}, nil},
		{"error code 3", "", []string{"fault_code=E-03"}, nil},
		{"fault 7 and now", "", []string{"fault_code=E-07"}, nil},
		{"err: 6", "", []string{"fault_code=E-06"}, nil},
		{"it shows E-42", "", []string{"fault_code=other"}, nil},
		{"8", "", nil, nil},
		{"8", "fault_code", []string{"fault_code=E-08"}, nil},
		{"had e10 yesterday had E8", "", nil, []string{"e10", "E8"}},
		{"E-01 12.6 rest 10.4 glow at the heater", "",
			[]string{"fault_code=E-01", "rest_voltage=12.6", "glow_voltage_heater=10.4"}, nil},
		{"12,6 v resting", "", []string{"rest_voltage=12.6"}, nil},
		{"12.6 rest, 9.9 glowing on the battery", "", []string{"rest_voltage=12.6", "glow_voltage_battery=9.9"}, nil},
		{"10.4 glow", "", nil, []string{"10.4"}},
		{"battery 25.2", "", nil, []string{"25.2"}},
		{"12.6 V", "", nil, []string{"12.6 V"}},
		{"12,6", "rest_voltage", []string{"rest_voltage=12.6"}, nil},
		{"-3", "ambient_temperature", []string{"ambient_temperature=-3"}, nil},
		{"yes", "wet_joint", []string{"wet_joint=yes"}, nil},
		{"white smoke and it won't start", "", []string{"complaint=wont_start"}, []string{"white smoke"}},
		{"no smoke, pump's ticking", "", []string{"smoke=none", "pump_ticks=regular"}, nil},
		{"pump is not ticking", "", []string{"pump_ticks=none"}, nil},
		{"maybe black smoke", "", nil, []string{"black smoke"}},
		{"no headache", "", nil, nil},
		{"I have a headache", "", []string{"people_unwell=yes"}, nil},
		{"fed up with it for 3 weeks", "", nil, nil},
	} {
		t.Run(tt.text, func(t *testing.T) {
			got, askedBack := read(r, tt.text, tt.asked, "en")
			requireSaid(t, tt.want, got)
			for _, want := range tt.unclear {
				require.True(t, slices.ContainsFunc(askedBack,
					func(got string) bool { return strings.Contains(got, want) || strings.Contains(want, got) }),
					"%q is not asked back, only %q", want, askedBack)
			}
		})
	}
}

// anyText draws texts that are hard to read: pieces of the sentences, words of both languages, numbers and odd
// characters.
func anyText(t *rapid.T) string {
	pieces := []string{"no", "kein", "nicht", "not", "maybe", "or", "oder", "e8", "E-10", "12.4", "12,4", "minus", "point",
		"komma", "vier", "twelve", "V", "mm²", "°C", "ä", "a\u0308",
		"’", "–", "-", "?", ".", ",", "\n", "😀", "\xff", "E", "Fehler", "code", "smoke", "Rauch", "bubbles", "at rest",
		"beim Glühen", "heater", "then", "gestern", "times", "mal", "hundred", "tausend"}
	for _, s := range sentences {
		pieces = append(pieces, s.text)
	}
	drawn := rapid.SliceOfN(rapid.OneOf(rapid.SampledFrom(pieces), rapid.String()), 0, 12).Draw(t, "pieces")
	return strings.Join(drawn, rapid.SampledFrom([]string{" ", "", ", "}).Draw(t, "between"))
}

func TestReadingsStandInTheTextAndAreWhatTheModelKnows(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	r := words.New(m)
	rapid.Check(t, func(t *rapid.T) {
		text, locale := anyText(t), rapid.SampledFrom([]string{"en", "de", "de-AT", "fr", ""}).Draw(t, "locale")
		asked := rapid.SampledFrom([]string{"", "rest_voltage", "smoke", "wet_joint", "fault_code", "no such thing"}).Draw(t,
			"asked")
		readings, unclear := read(r, text, asked, locale)
		seen := map[string]bool{}
		for _, g := range readings {
			require.Equal(t, text[g.From:g.To], g.Words)
			require.NotEmpty(t, g.Words)
			require.True(t, utf8.ValidString(g.Words) || !utf8.ValidString(text))
			require.False(t, seen[g.ID], "%s is read twice", g.ID)
			seen[g.ID] = true
			field, problem := m.Check(knowledge.Finding{ID: g.ID, State: g.State, Number: g.Number, IsNumber: g.IsNumber}, "")
			require.Empty(t, field, problem)
		}
		for _, u := range unclear {
			require.Contains(t, text, u)
		}
		again, unclearAgain := read(r, text, asked, locale)
		require.Equal(t, readings, again)
		require.Equal(t, unclear, unclearAgain)
	})
}

// What is said afterwards of something else changes nothing.
func TestAnUnrelatedSentenceChangesNothing(t *testing.T) {
	r := reader(t)
	for _, more := range []string{"\nMy neighbour rides a green bicycle.", "\nMein Nachbar fährt ein grünes Fahrrad."} {
		for _, s := range sentences {
			if s.asked != "" {
				continue
			}
			readings, unclear := read(r, s.text, "", s.locale)
			then, unclearThen := read(r, s.text+more, "", s.locale)
			require.Equal(t, readings, then, s.text)
			require.Equal(t, unclear, unclearThen, s.text)
		}
	}
}

// A denied observation is never believed as it was said; a danger is never denied by what only nearly reads as a
// denial.
func TestDenyingFlipsOrRemoves(t *testing.T) {
	r := reader(t)
	said := map[string][]string{
		"en": {"white smoke", "black smoke", "bubbles", "smell of diesel", "headache", "flames inside the van", "fuel leak",
			"burning smell", "E-08", "kink in the line", "wet exhaust", "new panel"},
		"de": {"weißer Rauch", "schwarzer Rauch", "Blasen", "Dieselgeruch", "Kopfschmerzen", "Flammen im Bus", "Abgasgeruch",
			"Brandgeruch", "E-08", "Knick im Schlauch", "neues Bedienteil"},
	}
	denials := map[string][]string{"en": {"no", "without", "there is no", "I see no"},
		"de": {"kein", "keine", "ohne", "es gibt keine"}}
	slips := map[string][]string{"en": {"withuot", "niether"}, "de": {"keinre", "keinne"}}
	harmless := []string{"line_kink", "controller_changed"}
	for locale, phrases := range said {
		for _, p := range phrases {
			positive, _ := read(r, p, "", locale)
			for _, d := range denials[locale] {
				got, _ := read(r, d+" "+p, "", locale)
				for _, g := range got {
					for _, was := range positive {
						require.False(t, g.ID == was.ID && g.State == was.State && g.ID != "installation", "%s %s read as %s", d, p,
							plain(g))
					}
				}
			}
			for _, d := range slips[locale] {
				got, _ := read(r, d+" "+p, "", locale)
				for _, g := range got {
					require.True(t, g.State != "no" || slices.Contains(harmless, g.ID), "%s %s", d, p)
				}
			}
		}
	}
}

// A correction speaks of the number in what was said before, "as before" of what was told before, and who cannot tell
// says so.
func TestAnswersLeanOnWhatWasSaidBefore(t *testing.T) {
	r := reader(t)
	for _, tt := range []struct {
		text string
		c    words.Context
		want string
	}{
		{"no, I meant at rest", words.Context{Locale: "en", Before: "12.4 V"}, "rest_voltage=12.4"},
		{"ich meinte am Display in Ruhe", words.Context{Locale: "de", Before: "es sind 12,1 V"}, "panel_voltage=12.1"},
		{"same as before", words.Context{Locale: "en", Asked: "bubbles", Was: &words.Reading{ID: "bubbles", State: "few"}},
			"bubbles=few"},
		{"wie vorher", words.Context{Locale: "de", Asked: "rest_voltage",
			Was: &words.Reading{ID: "rest_voltage", Number: 12.4, IsNumber: true}}, "rest_voltage=12.4"},
		{"yes", words.Context{Locale: "en", Asked: "fuse"}, "fuse=intact"},
		{"nein", words.Context{Locale: "de", Asked: "known_good_battery"}, "known_good_battery=not_cured"},
		{"4 m", words.Context{Locale: "en", Asked: "line_length"}, "line_length=4"},
	} {
		got := r.Read(tt.text, tt.c).Readings
		require.Len(t, got, 1, tt.text)
		require.Equal(t, tt.want, plain(got[0]), tt.text)
	}
	for locale, text := range map[string]string{"en": "I don't know", "de": "keine Ahnung"} {
		got := r.Read(text, words.Context{Locale: locale, Asked: "bubbles"}).Readings
		require.Len(t, got, 1, text)
		require.True(t, got[0].Unknown, text)
	}
}

func BenchmarkRead2000Characters(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	r := words.New(m)
	var text strings.Builder
	for i := 0; text.Len() < 2000; i++ {
		text.WriteString(sentences[i%len(sentences)].text + ". ")
	}
	b.ReportAllocs()
	for b.Loop() {
		r.Read(string([]rune(text.String())[:1900]), words.Context{Locale: "en"})
	}
}

func BenchmarkRead40Words(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	r := words.New(m)
	text := "So the heater in our old camper fires up fine, runs for about ten minutes and then dies with E-08, pump " +
		"ticks away, no smoke, " +
		"battery 12.6 at rest and 11.2 at the heater while glowing, the tank nearly empty"
	require.Len(b, strings.Fields(text), 40)
	b.ReportAllocs()
	for b.Loop() {
		r.Read(text, words.Context{Locale: "en"})
	}
}

func FuzzReadNeverPanicsAndReadsOnlyWhatTheModelKnows(f *testing.F) {
	m, err := heater.Model()
	if err != nil {
		f.Fatal(err)
	}
	r := words.New(m)
	for _, s := range []string{"E-08", "12.6 rest 10.4 glow", "e8 again, no smoke", "’–, 12,", "24 v truck err 99"} {
		f.Add(s, "fault_code")
	}
	f.Fuzz(func(t *testing.T, text, asked string) {
		readings, _ := read(r, text, asked, "en")
		for _, g := range readings {
			_, observed := m.Observation(g.ID)
			_, setup := m.SetupFact(g.ID)
			if !observed && !setup {
				t.Fatalf("%q read as %s, which the model does not know", text, g.ID)
			}
		}
	})
}
