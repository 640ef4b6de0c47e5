package diagnosis_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

func repairOf(m *knowledge.Model, id string) knowledge.Repair {
	return m.Repairs[slices.IndexFunc(m.Repairs, func(r knowledge.Repair) bool { return r.ID == id })]
}

func checkPlan(m *knowledge.Model, r diagnosis.Request, a *diagnosis.Assessment) (problem string) {
	fixed, spent := 0.0, 0.0
	for i, s := range a.Plan.Steps {
		switch held := s.Fixed == 0; {
		case held && s.HeldBack == "" && s.Danger == "":
			return "a step that does nothing is not held back"
		case held:
			continue
		case s.Fixed < fixed-1e-12 || s.Fixed > 1:
			return "the chance that all is well falls"
		case s.ExpectedCost < spent:
			return "the cost falls"
		case s.Together && i == 0:
			return "the first step is together with none"
		}
		fixed, spent = s.Fixed, s.ExpectedCost
		for _, d := range a.Dangers {
			k := slices.IndexFunc(m.Dangers, func(k knowledge.Danger) bool { return k.ID == d.ID })
			if m.Dangers[k].Forbids.Overlaps(repairOf(m, s.RepairID).Gates) && !m.Dangers[k].Permits(s.RepairID) {
				return s.RepairID + " is planned although " + d.ID + " forbids it"
			}
		}
		if gates := repairOf(m, s.RepairID).Gates; r.Willing > 0 && r.Willing < 3 && gates.OpensBurner && s.HeldBack == "" {
			return s.RepairID + " opens the burner for somebody who does not"
		}
	}
	if e := a.Plan.Ending; e != nil && (e.After > len(a.Plan.Steps) || e.Text == "" || !(e.Probability > 0)) {
		return "the ending makes no sense"
	}
	for _, c := range a.NextChecks {
		if !(c.Saving >= 0 && c.Saving < 1e5) {
			return "saving of " + c.ObservationID
		}
	}
	return ""
}

func TestPlansMakeSense(t *testing.T) {
	m, e := engineModel(t), engine(t)
	rapid.Check(t, func(t *rapid.T) {
		r := anything(m, 10).Draw(t, "told")
		r.EurosPerMinute = rapid.Float64Range(0, 5).Draw(t, "rate")
		r.Willing = rapid.IntRange(0, 3).Draw(t, "willing")
		a, err := e.Assess(r)
		if err != nil {
			t.Fatal(err)
		}
		if problem := checkPlan(m, r, a); problem != "" {
			t.Fatalf("%s: %+v", problem, a.Plan)
		}
	})
}

// Common practice, no source: with bubbles and a soft hose the line is renewed, before which one looks into the tank.
func TestPlanLooksBeforeItMends(t *testing.T) {
	a := assess(t, "fault_code=E-08", "bubbles=many", "line_type=soft")
	assert.Equal(t, "tank_level", a.Plan.NextCheck)
	assert.Equal(t, "renew_fuel_line", a.Plan.Steps[0].RepairID)
	require.NotNil(t, a.Plan.Ending)
	assert.Equal(t, knowledge.Licensed, a.Plan.Ending.Kind, "a new heater keeps the old hose")
	i := slices.IndexFunc(a.NextChecks, func(c diagnosis.AdvisedCheck) bool { return c.ObservationID == "tank_level" })
	assert.Greater(t, a.NextChecks[i].Saving, a.NextChecks[i].Minutes)
}

// Whose time is dear calls for help sooner.
func TestDearMinutesShortenThePlan(t *testing.T) {
	r := request("fault_code=E-08", "bubbles=many", "line_type=soft", "tank_level=half")
	before := func(rate float64) int {
		r.EurosPerMinute = rate
		a, err := engine(t).Assess(r)
		require.NoError(t, err)
		require.NotNil(t, a.Plan.Ending)
		return a.Plan.Ending.After
	}
	assert.Equal(t, 2, before(0.2))
	assert.Equal(t, 0, before(5))
}

// Who opens nothing is led to somebody who does.
func TestPlanKeepsToWhatTheOwnerDoes(t *testing.T) {
	r := request("fault_code=E-03", "+hand_tools", "fuel_in_exhaust=no")
	r.Willing = 1
	a, err := engine(t).Assess(r)
	require.NoError(t, err)
	assert.NotContains(t, repairs(a), "renew_plug_and_screen")
	for _, id := range checks(a) {
		if o, ok := engineModel(t).Observation(id); ok {
			assert.LessOrEqual(t, o.Difficulty, 1, id)
		}
	}
}

func TestBadExchangeRateIsRefused(t *testing.T) {
	for _, r := range []diagnosis.Request{{EurosPerMinute: -1}, {EurosPerMinute: 2000}, {Willing: 4}, {Willing: -1}} {
		_, err := engine(t).Assess(r)
		var bad *diagnosis.InputError
		assert.ErrorAs(t, err, &bad)
	}
}
