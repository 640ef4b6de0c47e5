package words_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/words"
)

// way is one thing that can be said, in several ways, or none where nothing may be read.
type way struct {
	ID     string   `yaml:"id"`
	State  string   `yaml:"state"`
	Value  *float64 `yaml:"value"`
	Danger string   `yaml:"danger"`
	Texts  []string `yaml:"texts"`
}

// TestWays prints what today's reader makes of the ways in which things are said: go test ./engine/words -run
// TestWays -v -misses
func TestWays(t *testing.T) {
	files, err := filepath.Glob("../../testdata/sentences/ways/*.yaml")
	require.NoError(t, err)
	m, err := heater.Model()
	require.NoError(t, err)
	r := words.New(m)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var all []way
		require.NoError(t, yaml.Unmarshal(data, &all), file)
		locale, _, _ := strings.Cut(filepath.Base(file), "_")
		said, believed, offered, other, nothing, extra := 0, 0, 0, 0, 0, 0
		for _, w := range all {
			l := label{ID: w.ID, State: w.State, Number: w.Value}
			for _, text := range w.Texts {
				out := r.Read(text, words.Context{Locale: locale})
				said++
				note := ""
				switch {
				case w.ID == "":
					if len(out.Readings) > 0 {
						extra++
						note = "extra"
					}
				case l.in(out.Readings):
					believed++
				case slices.ContainsFunc(out.Readings, func(r words.Reading) bool { return r.ID == w.ID }):
					other++
					note = "OTHER"
				case l.in(offeredReadings(out)):
					offered++
					note = "offered"
				default:
					nothing++
					note = "MISSED"
				}
				if note != "" && *misses {
					var read []string
					for _, x := range out.Readings {
						read = append(read, plain(x))
					}
					t.Logf("%s %s%s: %s  %v", note, show(l), w.Danger, text, read)
				}
			}
		}
		t.Logf("%s: %d said, %d believed, %d offered, %d with another value, %d missed; %d read where nothing is said",
			filepath.Base(file), said, believed, offered, other, nothing, extra)
	}
}
