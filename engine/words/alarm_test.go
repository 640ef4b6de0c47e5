package words_test

import (
	"os"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/words"
)

// alarming is a sentence of the table that the page's own finder is held to as well.
type alarming struct {
	Lang, Say   string
	Warns, Asks []string
}

func TestAlarms(t *testing.T) {
	table, err := os.ReadFile("testdata/alarms.yaml")
	require.NoError(t, err)
	var sentences []alarming
	require.NoError(t, yaml.Unmarshal(table, &sentences))
	require.NotEmpty(t, sentences)
	m, err := heater.Model()
	require.NoError(t, err)
	reader := words.New(m)
	for _, s := range sentences {
		t.Run(s.Say, func(t *testing.T) {
			var warns, asks []string
			for _, h := range reader.Alarms(s.Say) {
				if h.Doubtful {
					asks = append(asks, h.ID)
				} else {
					warns = append(warns, h.ID)
				}
				assert.Contains(t, s.Say, h.Words)
			}
			assert.ElementsMatch(t, s.Warns, warns, "warns")
			assert.ElementsMatch(t, s.Asks, asks, "asks")
		})
	}
}
