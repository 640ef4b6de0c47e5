package api

import (
	"os"
	"slices"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// What people type brings out the danger that it speaks of, or is asked back at once as one that may.
func TestSentencesBringOutTheirDanger(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	text, err := os.ReadFile("../../testdata/danger_sentences.yaml")
	require.NoError(t, err)
	var rows []struct {
		Say, Locale, Danger string
		Asks                bool
	}
	require.NoError(t, yaml.UnmarshalWithOptions(text, &rows, yaml.Strict()))
	require.Greater(t, len(rows), 30)
	r := startWith(t, m)
	for _, row := range rows {
		read, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: row.Say, Locale: row.Locale})
		require.NoError(t, err)
		told := &lightoffv1.AssessRequest{Locale: row.Locale}
		add := func(o *lightoffv1.Observation) {
			same := func(x *lightoffv1.Observation) bool { return x.GetId() == o.GetId() }
			told.Observations = slices.DeleteFunc(told.Observations, same)
			told.Observations = append(told.Observations, o)
		}
		for _, x := range read.GetReadings() {
			add(x.GetObservation())
		}
		asked := false
		for _, x := range read.GetSuggestions() {
			asked = asked || x.GetDanger()
			add(x.GetReading().GetObservation())
		}
		a, err := r.Assess(r.ctx, told)
		require.NoError(t, err, row.Say)
		stands := slices.ContainsFunc(a.GetDangers(), func(d *lightoffv1.Danger) bool { return d.GetId() == row.Danger })
		asked = asked || len(read.GetUnclear()) > 0
		assert.True(t, stands || row.Asks && asked, "%s (%s): %s does not stand: %v", row.Say, row.Locale, row.Danger, read)
	}
}
