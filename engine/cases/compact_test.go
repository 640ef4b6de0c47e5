package cases_test

import (
	"encoding/json"
	"testing"

	"lightoff/engine/cases"
	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"

	"github.com/stretchr/testify/require"
)

// A browser thinks with the compact model and the server with the files. To every case they say the same, byte for
// byte: with the built-in numbers, and with learnt ones.
func TestCompactModelAssessesAlike(t *testing.T) {
	built, err := heater.Model()
	require.NoError(t, err)
	numbers := built.Numbers()
	numbers.Rates = map[string]float64{"soft_line_air": numbers.Rates["soft_line_air"] * 1.2}
	overlay := built.Overlay(numbers)
	learned, err := knowledge.LoadWith(heater.Files(), overlay, heater.Binding())
	require.NoError(t, err)
	suite, err := cases.Read(heater.Cases())
	require.NoError(t, err)
	for _, version := range []struct {
		model   *knowledge.Model
		overlay []byte
		step    int // of how many cases one is looked at
	}{{built, nil, 1}, {learned, overlay, 20}} {
		if raceDetector {
			version.step = 60
		}
		compact, err := heater.Compact(version.overlay, version.model)
		require.NoError(t, err)
		expanded, err := heater.Expand(compact)
		require.NoError(t, err)
		require.Equal(t, version.model.Version, expanded.Version)
		require.Equal(t, version.model.LearntFrom, expanded.LearntFrom)
		require.Equal(t, version.model.FitError(), expanded.FitError())
		here, there := diagnosis.New(version.model), diagnosis.New(expanded)
		for i := 0; i < len(suite.Cases); i += version.step {
			c := suite.Cases[i]
			r := c.Request()
			r.Locale = []string{"en", "de"}[i%2]
			require.Equal(t, assessed(t, here, r), assessed(t, there, r), c.ID)
		}
	}
}

func assessed(t *testing.T, e *diagnosis.Engine, r diagnosis.Request) string {
	a, err := e.Assess(r)
	require.NoError(t, err)
	text, err := json.Marshal(a)
	require.NoError(t, err)
	return string(text)
}

func TestCompactModelReadsAlike(t *testing.T) {
	built, err := heater.Model()
	require.NoError(t, err)
	compact, err := heater.Compact(nil, built)
	require.NoError(t, err)
	expanded, err := heater.Expand(compact)
	require.NoError(t, err)
	here, there := words.New(built), words.New(expanded)
	for _, said := range []string{
		"It clicks twice, the pump ticks but no flame, 11.3 V while it glows",
		"E-08, lots of bubbles in the clear line, new filter last year, no smoke at all",
		"Riecht nach Abgas im Bus und der CO-Melder piept", "Pumpe tickt nicht, Sicherung ist heil, 24 V",
	} {
		for _, locale := range []string{"en", "de"} {
			c := words.Context{Locale: locale}
			require.Equal(t, here.Read(said, c), there.Read(said, c), said)
		}
	}
}

// What was cut short or is something else is refused, and breaks nothing.
func TestBrokenCompactModels(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	compact, err := heater.Compact(nil, m)
	require.NoError(t, err)
	again, err := heater.Compact(nil, m)
	require.NoError(t, err)
	require.Equal(t, compact, again, "the same model is the same bytes")
	for cut := 0; cut < len(compact); cut += 1 + len(compact)/40 {
		_, err := heater.Expand(compact[:cut])
		require.ErrorIs(t, err, knowledge.ErrCompact, cut)
	}
	_, err = heater.Expand(append(compact[:len(compact):len(compact)], 0))
	require.ErrorIs(t, err, knowledge.ErrCompact)
}
