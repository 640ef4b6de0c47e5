package cases_test

import (
	"slices"
	"testing"

	"lightoff/engine/cases"
	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
	"lightoff/engine/knowledge"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Where two things are said to be wrong, the plan mends both, and what is said names both in either language.
func TestNamedPairsAreMended(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	e := diagnosis.New(m)
	suite, err := cases.Read(heater.Cases())
	require.NoError(t, err)
	named := 0
	for i := range suite.Cases {
		c := &suite.Cases[i]
		if c.Kept || len(c.Causes) < 2 || raceDetector && i%5 > 0 {
			continue
		}
		run, err := suite.Run(m, e, c)
		require.NoError(t, err)
		request := c.Request()
		for _, id := range run.Asked {
			request.Observations = append(request.Observations, suite.Answer(c, id))
		}
		for _, locale := range []string{"en", "de"} {
			request.Locale = locale
			a, err := e.Assess(request)
			require.NoError(t, err)
			if a.LikelyPair == nil || len(a.Plan.Steps) == 0 {
				continue
			}
			named++
			assert.GreaterOrEqual(t, a.LikelyPair.Several, 0.3)
			for _, cause := range a.LikelyPair.CauseIDs {
				assert.Contains(t, a.LikelyPair.Text, m.Text(locale).Causes[cause].Title, c.ID)
				assert.True(t, slices.ContainsFunc(a.Plan.Steps, func(s diagnosis.PlanStep) bool {
					k := slices.IndexFunc(m.Repairs, func(r knowledge.Repair) bool { return r.ID == s.RepairID })
					return slices.Contains(m.Repairs[k].Mends, cause)
				}), "%s: nothing mends %s in %v", c.ID, cause, a.Plan.Steps)
			}
			says := m.Text(locale).Phrases["pair"]
			if a.LikelyPair.Several < 0.5 {
				says = m.Text(locale).Phrases["pair_perhaps"]
			}
			assert.Contains(t, a.LikelyPair.Text, says)
		}
	}
	if !raceDetector {
		require.GreaterOrEqual(t, named, 10)
	}
}
