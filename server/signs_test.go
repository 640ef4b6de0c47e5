package main

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
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
	"lightoff/webui/pagetest"
)

// theHeater opens a program with the real model.
func theHeater(t *testing.T) *Program {
	t.Helper()
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	return opened(t, p)
}

// heardBy is what a page finds in a sentence, by its own words and nothing else.
type heardBy struct{ Warns, Asks []string }

// TestThePageHearsWhatTheServiceHears holds the finder of a real browser to the table that the service's is held to
// (engine/words), with the words that came with the page.
func TestThePageHearsWhatTheServiceHears(t *testing.T) {
	table, err := os.ReadFile("../engine/words/testdata/alarms.yaml")
	require.NoError(t, err)
	var sentences []struct {
		Lang, Say   string
		Warns, Asks []string
	}
	require.NoError(t, yaml.Unmarshal(table, &sentences))
	url := strings.TrimSuffix(theHeater(t).URL(), "/")
	for _, locale := range []string{"en", "de"} {
		tab := pagetest.NewPhone(t)
		tab.Visit(url + "/?lang=" + locale)
		tab.Connected()
		for _, s := range sentences {
			if s.Lang != locale && !(s.Lang == "" && locale == "en") {
				continue
			}
			said, err := json.Marshal(s.Say)
			require.NoError(t, err)
			got := pagetest.Eval[heardBy](tab,
				fmt.Sprintf(`import(document.querySelector("[href$='signs.js']").href).then((m) => {
				const heard = m.heard(%s), ids = (doubtful) => heard.filter((h) => h.doubtful === doubtful).map((h) => h.alarm.observationId);
				return { Warns: ids(false), Asks: ids(true) }; })`, said))
			assert.ElementsMatch(t, s.Warns, got.Warns, "%s warns", s.Say)
			assert.ElementsMatch(t, s.Asks, got.Asks, "%s asks", s.Say)
		}
		// A cookie holds on every port, and so for the tests that come after.
		pagetest.Eval[string](tab, `document.cookie = "lang=; path=/; max-age=0"`)
	}
}

// TestDangersWithoutASignal types with the network cut, in both languages, and ticks every sign of the card: each warns
// at once, by the real model's rules, and the call keys can be hit all the while.
func TestDangersWithoutASignal(t *testing.T) {
	url := strings.TrimSuffix(theHeater(t).URL(), "/")
	for _, x := range []struct {
		locale string
		typed  map[string]string // sentence → danger
	}{
		{"en", map[string]string{"smells of exhaust in the cabin": "exhaust_inside",
			"the exhaust pipe has come off": "exhaust_joint_inside",
			"our CO alarm is beeping":       "exhaust_inside", "my head hurts and I feel sick": "exhaust_inside",
			"stinks of diesel": "loose_fuel", "smoke coming into the van": "fire_inside",
			"smell of burning plastic": "burning_smell"}},
		{"de", map[string]string{"riecht nach Abgas im Bus": "exhaust_inside",
			"der Auspuff ist abgefallen": "exhaust_joint_inside",
			"der CO-Melder piept":        "exhaust_inside", "mir ist schwindelig": "exhaust_inside",
			"stinkt nach Diesel":  "loose_fuel",
			"Rauch in der Kabine": "fire_inside", "es riecht verschmort": "burning_smell"}},
	} {
		for said, danger := range x.typed {
			t.Run(said, func(t *testing.T) {
				tab := pagetest.NewPhone(t)
				tab.Visit(url + "/?lang=" + x.locale)
				tab.Connected()
				tab.Offline(true)
				tab.Watch(pagetest.CallsCanBeHit)
				tab.Say(said)
				tab.There(fmt.Sprintf("#danger[open] [data-danger=%s]", danger))
				assert.True(t, tab.FillsScreen("#danger"))
				if tab.Text("#danger .calls") != "" {
					assert.True(t, tab.AtHand(`#danger a[href="tel:112"]`))
				}
				tab.Picture("offline-" + x.locale + "-" + danger)
				tab.Acknowledge()
				tab.There(fmt.Sprintf("[data-banner=%s]", danger))
				assert.Zero(t, tab.Lapses())
			})
		}
	}
	tab := pagetest.NewPhone(t)
	tab.Visit(url + "/?lang=en")
	tab.Connected()
	tab.Offline(true)
	tab.Watch(pagetest.CallsCanBeHit)
	for sign, danger := range map[string]string{"people_unwell": "exhaust_inside", "co_alarm": "exhaust_inside",
		"smell_exhaust_inside":   "exhaust_inside",
		"flames_or_smoke_inside": "fire_inside", "smell_burning": "burning_smell", "smell_fuel": "loose_fuel"} {
		box := fmt.Sprintf(`#safety [name=%q]`, sign)
		tab.Click(box)
		tab.There(fmt.Sprintf("#danger[open] [data-danger=%s]", danger))
		tab.Acknowledge()
		assert.True(t, pagetest.Eval[bool](tab, fmt.Sprintf("document.querySelector(%q).checked", box)), sign)
		tab.Click(box)
		tab.Wait(fmt.Sprintf("!document.querySelector('[data-banner=%s]')", danger))
	}
	assert.Zero(t, tab.Lapses())
}

// TestADangerOutlivesTheProgram ticks a sign while the program is away. It stands at once, and when the program is back
// the service has it too; in between it is seen at every moment.
func TestADangerOutlivesTheProgram(t *testing.T) {
	p := onPhone(t)
	p.Click(`#safety [name="smell_fuel"]`)
	p.There("#danger[open] [data-danger=loose_fuel]")
	p.Acknowledge()
	p.Saved()
	p.restart(func() {
		p.Click(`#safety [name="people_unwell"]`)
		p.There("#danger[open] [data-danger=exhaust_inside]")
		p.Watch(`document.querySelector('#safety [name="people_unwell"]').checked && ` +
			`document.querySelector("[data-banner=exhaust_inside]") && ` + pagetest.CallsCanBeHit)
		p.Acknowledge()
	})
	p.Saved()
	assert.Zero(t, p.Lapses())
	dangers := p.kept().GetAssessment().GetDangers()
	require.NotEmpty(t, dangers)
	assert.Equal(t, "exhaust_inside", dangers[0].GetId())
}

// TestWhiteSmokeIsAskedAbout types "white smoke" with and without a signal: it is asked which, and counts for nothing
// until that is answered.
func TestWhiteSmokeIsAskedAbout(t *testing.T) {
	p := onPhone(t)
	p.Click("#none")
	p.Asked("opening")
	p.Saved()
	p.Offline(true)
	p.Click("#text")
	p.Say("E-10 and white smoke for a minute when it starts")
	p.There("[data-doubt=smoke]")
	assert.False(t, p.Seen("#danger"))
	p.Picture("white-smoke")
	p.Click(`#doubt [data-means="white_thick"]`)
	p.Wait(`!document.querySelector("[data-doubt]")`)
}

// TestFirstLoadWithTheRules weighs the first load with the real model's rules: what the document holds of them, and all
// of it together.
func TestFirstLoadWithTheRules(t *testing.T) {
	url := strings.TrimSuffix(theHeater(t).URL(), "/")
	read := func(path string, packed bool) string {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url+path, nil)
		require.NoError(t, err)
		if packed {
			req.Header.Set("Accept-Encoding", "gzip")
		}
		resp, err := (&http.Transport{DisableCompression: true}).RoundTrip(req)
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return string(body)
	}
	for _, locale := range []string{"en", "de"} {
		page := read("/?lang="+locale, false)
		_, rules, _ := strings.Cut(page, `id="rules">`)
		rules, _, _ = strings.Cut(rules, "</script>")
		var packed strings.Builder
		w := gzip.NewWriter(&packed)
		_, err := w.Write([]byte(rules))
		require.NoError(t, err)
		require.NoError(t, w.Close())
		files := []string{"/?lang=" + locale}
		for _, m := range regexp.MustCompile(`"(/static/[^"]+)"`).FindAllStringSubmatch(page, -1) {
			files = append(files, m[1])
		}
		plain, sent := 0, 0
		for _, file := range slices.Compact(files) {
			plain += len(read(file, false))
			sent += len(read(file, true))
		}
		t.Logf("%s: rules %d bytes, %d packed; first load %d, %d as sent", locale, len(rules), packed.Len(), plain, sent)
		assert.NotEmpty(t, rules)
		assert.Less(t, sent, 60_000)
	}
}
