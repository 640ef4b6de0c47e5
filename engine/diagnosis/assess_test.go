package diagnosis_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

// anything draws up to n observations and setup facts with values that pass the check, sensible or not.
func anything(m *knowledge.Model, n int) *rapid.Generator[diagnosis.Request] {
	return rapid.Custom(func(t *rapid.T) diagnosis.Request {
		var r diagnosis.Request
		picked := map[string]bool{}
		for range rapid.IntRange(0, n).Draw(t, "count") {
			o := observationOf(m, t)
			if !picked[o.ID] {
				picked[o.ID] = true
				r.Observations = append(r.Observations, o)
			}
		}
		r.Tools = m.Tools[:rapid.IntRange(0, len(m.Tools)).Draw(t, "tools")]
		return r
	})
}

func observationOf(m *knowledge.Model, t *rapid.T) diagnosis.Observation {
	id, unit, low, high := "", "", 0.0, 0.0
	var states []string
	if k := rapid.IntRange(0, len(m.Observations)+len(m.Setup)-1).Draw(t, "which"); k < len(m.Observations) {
		o := m.Observations[k]
		id, unit, low, high, states = o.ID, o.Unit, o.Min, o.Max, o.States
	} else {
		s := m.Setup[k-len(m.Observations)]
		id, unit, low, high = s.ID, s.Unit, s.Min, s.Max
		for _, st := range s.States {
			states = append(states, st.ID)
		}
	}
	if unit != "" {
		return diagnosis.Observation{ID: id, Kind: diagnosis.NumberValue, Number: rapid.Float64Range(low, high).Draw(t, id)}
	}
	return diagnosis.Observation{ID: id, State: rapid.SampledFrom(states).Draw(t, id)}
}

func TestNoAnswerMakesACauseCertainOrImpossible(t *testing.T) {
	m, e := engineModel(t), engine(t)
	rapid.Check(t, func(t *rapid.T) {
		r := anything(m, 12).Draw(t, "told")
		a, err := e.Assess(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range a.Causes {
			if !(c.Probability > 0 && c.Probability < 1) {
				t.Fatalf("%s is %v", c.ID, c.Probability)
			}
		}
		if math.IsNaN(a.Conflict) || math.IsInf(a.Conflict, 0) {
			t.Fatalf("conflict %v", a.Conflict)
		}
		if !slices.IsSortedFunc(a.Causes, func(a, b diagnosis.RankedCause) int {
			if a.Probability > b.Probability {
				return -1
			}
			return 1
		}) {
			t.Fatal("the ranking is out of order")
		}
	})
}

func TestTheOrderOfTellingNeverMatters(t *testing.T) {
	m, e := engineModel(t), engine(t)
	rapid.Check(t, func(t *rapid.T) {
		r := anything(m, 8).Draw(t, "told")
		// Another engine's scratch holds what was asked before; neither that nor the order may show.
		other := r
		other.Observations = rapid.Permutation(r.Observations).Draw(t, "order")
		want, err := diagnosis.New(m).Assess(r)
		if err != nil {
			t.Fatal(err)
		}
		got, err := e.Assess(other)
		if err != nil {
			t.Fatal(err)
		}
		for i := range want.Causes {
			if want.Causes[i].ID != got.Causes[i].ID || want.Causes[i].Probability != got.Causes[i].Probability {
				t.Fatalf("%+v, then %+v", want.Causes[i], got.Causes[i])
			}
		}
		if len(want.NextChecks) > 0 && fmt.Sprint(want.NextChecks[0]) != fmt.Sprint(got.NextChecks[0]) {
			t.Fatalf("%+v, then %+v", want.NextChecks[0], got.NextChecks[0])
		}
	})
}

func TestWhatCannotBeToldIsNoEvidence(t *testing.T) {
	with, without := assess(t, "fault_code=E-08", "bubbles=?", "line_type=?"), assess(t, "fault_code=E-08")
	for i := range with.Causes {
		assert.Equal(t, without.Causes[i].Probability, with.Causes[i].Probability)
	}
	assert.Equal(t, []string{"bubbles", "line_type"}, []string{with.Unused[0].ID, with.Unused[1].ID})
	assert.NotContains(t, checks(with), "bubbles", "it is not asked again")
}

func TestWeightsOfEvidenceSayWhatSpeaksForAndAgainst(t *testing.T) {
	a := assess(t, "fault_code=E-08", "bubbles=many", "tank_level=full", "line_type=soft")
	require.Equal(t, "soft_line_air", a.Causes[0].ID)
	bits := map[string]float64{}
	for _, w := range a.Causes[0].Weights {
		bits[w.ObservationID] = w.Bits
		assert.NotEmpty(t, w.Text)
	}
	assert.Greater(t, bits["bubbles"], 1.0)
	assert.Greater(t, bits["line_type"], 0.5)
	// By its definition (Good 1985, from memory): the log odds that it is active, with it less those without.
	active := func(told ...knowledge.Finding) float64 {
		in := engineModel(t).NewInquiry()
		in.Enter(told)
		p, err := in.Cause(slices.IndexFunc(engineModel(t).Causes,
			func(c knowledge.Cause) bool { return c.ID == "soft_line_air" }))
		require.NoError(t, err)
		return math.Log2(p / (1 - p))
	}
	rest := []knowledge.Finding{{ID: "fault_code", State: "E-08"}, {ID: "line_type", State: "soft"},
		{ID: "tank_level", State: "full"}}
	with := append(slices.Clone(rest), knowledge.Finding{ID: "bubbles", State: "many"})
	assert.InDelta(t, active(with...)-active(rest...), bits["bubbles"], 1e-9)
	x, err := engine(t).Explain(request("fault_code=E-08", "bubbles=many", "tank_level=full"), "tank_low")
	require.NoError(t, err)
	i := slices.IndexFunc(x.Cause.Weights,
		func(w diagnosis.WeightOfEvidence) bool { return w.ObservationID == "tank_level" })
	assert.Less(t, x.Cause.Weights[i].Bits, -1.0, "a full tank speaks against an empty one")
}

// What an explanation says would happen is what happens.
func TestWouldChangeComesTrue(t *testing.T) {
	told := []string{"fault_code=E-08", "line_type=soft"}
	x, err := engine(t).Explain(request(told...), "soft_line_air")
	require.NoError(t, err)
	require.NotEmpty(t, x.WouldChange)
	for _, w := range x.WouldChange {
		if o, _ := engineModel(t).Observation(w.ObservationID); o.Unit != "" {
			continue // a band is told as a number somewhere in it
		}
		after := assess(t, append(told, w.ObservationID+"="+w.State)...)
		assert.InDelta(t, w.After, probability(t, after, "soft_line_air"), 1e-9, "%s=%s", w.ObservationID, w.State)
	}
}

func TestBadInputIsRefusedByField(t *testing.T) {
	for _, tt := range []struct {
		told  []diagnosis.Observation
		tools []string
		field string
	}{
		{[]diagnosis.Observation{{ID: "colour", State: "red"}}, nil, "observations[0].id"},
		{[]diagnosis.Observation{{ID: "battery_low", State: "yes"}}, nil, "observations[0].id"},
		{[]diagnosis.Observation{{ID: "smoke", State: "none"}, {ID: "bubbles", State: "purple"}}, nil,
			"observations[1].state"},
		{[]diagnosis.Observation{{ID: "bubbles", Kind: diagnosis.NumberValue, Number: 3}}, nil, "observations[0].number"},
		{[]diagnosis.Observation{{ID: "rest_voltage", State: "low"}}, nil, "observations[0].state"},
		{[]diagnosis.Observation{{ID: "rest_voltage", Kind: diagnosis.NumberValue, Number: 600}}, nil,
			"observations[0].number"},
		{[]diagnosis.Observation{{ID: "rest_voltage", Kind: diagnosis.NumberValue, Number: math.NaN()}}, nil,
			"observations[0].number"},
		{[]diagnosis.Observation{{ID: "ambient_temperature", Kind: diagnosis.NumberValue, Number: -300}}, nil,
			"observations[0].number"},
		{[]diagnosis.Observation{{ID: "smoke", State: "none"}, {ID: "smoke", State: "black"}}, nil, "observations[1].id"},
		{[]diagnosis.Observation{{ID: "colour", Kind: diagnosis.UnknownValue}}, nil, "observations[0].id"},
		{nil, []string{"multimeter", "crystal_ball"}, "tools[1]"},
	} {
		_, err := engine(t).Assess(diagnosis.Request{Observations: tt.told, Tools: tt.tools})
		var bad *diagnosis.InputError
		require.True(t, errors.As(err, &bad), "%v", tt)
		assert.Equal(t, tt.field, bad.Violations[0].Field)
		assert.NotEmpty(t, bad.Violations[0].Description)
	}
	_, err := engine(t).Explain(diagnosis.Request{}, "gremlins")
	var bad *diagnosis.InputError
	require.True(t, errors.As(err, &bad))
	assert.Equal(t, "cause_id", bad.Violations[0].Field)
	_, err = engine(t).Assess(request("smoke=none", "smoke=none"))
	assert.NoError(t, err, "the same said twice is no contradiction")
}

// Only the first check may say that it tells the most, and only the plan's own that it saves the most.
func TestOneCheckTellsTheMost(t *testing.T) {
	m, e := engineModel(t), engine(t)
	rapid.Check(t, func(t *rapid.T) {
		a, err := e.Assess(anything(m, 8).Draw(t, "told"))
		if err != nil {
			t.Fatal(err)
		}
		phrases := m.Text("en").Phrases
		for i, c := range a.NextChecks {
			most := strings.HasPrefix(c.Reason, phrases["reason_gain"]) || c.Reason == phrases["reason_wide"]
			saves := strings.HasPrefix(c.Reason, phrases["reason_saves_wide"])
			if saves != (c.ObservationID == a.Plan.NextCheck) || most && i > 0 || i == 0 && !most && !saves {
				t.Fatalf("check %d, %s, says: %s", i, c.ObservationID, c.Reason)
			}
		}
	})
}

func TestGuideAsksTheCardThenTheCodeThenWhatHelpsMost(t *testing.T) {
	e := engine(t)
	var events []diagnosis.Event
	add := func(ev diagnosis.Event) {
		ev.Number = int64(len(events) + 1)
		events = append(events, ev)
	}
	next := func() []string {
		g, err := e.Guide(diagnosis.Fold(events))
		require.NoError(t, err)
		assert.NotEmpty(t, g.Reason)
		return g.Next
	}
	answer := func(told ...string) {
		add(diagnosis.Event{Kind: diagnosis.Answered, Observations: request(told...).Observations})
	}
	add(diagnosis.Event{Kind: diagnosis.Opened, Locale: "en"})
	assert.ElementsMatch(t, []string{"people_unwell", "flames_or_smoke_inside", "smell_exhaust_inside", "smell_fuel",
		"smell_gas", "smell_burning", "co_alarm"}, next())
	answer("people_unwell=no", "flames_or_smoke_inside=no", "smell_exhaust_inside=no", "smell_fuel=no", "smell_gas=no",
		"smell_burning=no")
	assert.Equal(t, []string{"fault_code"}, next())
	answer("fault_code=none")
	assert.Equal(t, []string{"complaint"}, next())
	add(diagnosis.Event{Kind: diagnosis.Retracted, ObservationID: "fault_code"})
	assert.Equal(t, []string{"fault_code"}, next())
	answer("fault_code=E-08", "start_signs=none")
	first := next()
	require.Len(t, first, 1)
	add(diagnosis.Event{Kind: diagnosis.Answered, Skipped: first})
	assert.NotEqual(t, first, next(), "what is skipped is not asked again")
	assert.Equal(t, []string{"co_alarm_fitted"}, next(), "whether an alarm watches is asked once the search is under way")
	answer("co_alarm_fitted=yes")
	assert.Equal(t, []string{"co_alarm"}, next())
	add(diagnosis.Event{Kind: diagnosis.Answered, Skipped: []string{"co_alarm"}})
	assert.NotEqual(t, []string{"co_alarm"}, next())
	answer("smell_exhaust_inside=yes")
	assert.Empty(t, next(), "people are to leave, not to answer")
}

func TestFoldKeepsTheOrderOfFirstTelling(t *testing.T) {
	c := diagnosis.Fold([]diagnosis.Event{
		{Number: 1, Kind: diagnosis.Opened, Locale: "en", Tools: []string{"multimeter"}},
		{Number: 2, Kind: diagnosis.Answered, Observations: request("smoke=none", "bubbles=few").Observations},
		{Number: 3, Kind: diagnosis.Said, Text: "e8",
			Readings: []diagnosis.Reading{{Observation: observation("fault_code=E-08"), Words: "e8"}}},
		{Number: 4, Kind: diagnosis.Answered, Observations: request("smoke=black").Observations},
		{Number: 5, Kind: diagnosis.Answered, Skipped: []string{"primed"}},
		{Number: 6, Kind: diagnosis.Retracted, ObservationID: "bubbles"},
		{Number: 7, Kind: diagnosis.ToolsSet, Tools: []string{"hand_tools"}},
	})
	assert.Equal(t, int64(7), c.LastEvent)
	assert.Equal(t, []string{"hand_tools"}, c.Tools)
	var order []string
	for _, told := range c.Told {
		order = append(order, told.Observation.ID+"="+told.Observation.State)
	}
	assert.Equal(t, []string{"smoke=black", "fault_code=E-08", "primed="}, order)
	assert.Len(t, c.Request().Observations, 2, "a skipped question is no observation")
}

func TestFoldOfHelp(t *testing.T) {
	black := request("smoke=black").Observations
	events := []diagnosis.Event{
		{Number: 1, Kind: diagnosis.Opened},
		{Number: 2, Kind: diagnosis.Assigned, By: "Ines", To: "Otto"},
		{Number: 3, Kind: diagnosis.Noted, By: "Otto", Text: "rings back"},
		{Number: 4, Kind: diagnosis.Suggested, Observations: black},
		{Number: 5, Kind: diagnosis.Suggested, Observations: request("bubbles=few").Observations},
		{Number: 6, Kind: diagnosis.Closed, By: "Otto", Closing: &diagnosis.Closing{Outcome: diagnosis.NotReached}},
	}
	c := diagnosis.Fold(events)
	assert.Empty(t, c.Told, "none of it tells anything")
	assert.Equal(t, "Otto", c.AssignedTo)
	assert.Len(t, c.Notes, 1)
	assert.Len(t, c.Suggestions, 2)
	assert.Equal(t, diagnosis.NotReached, c.Closed.Closing.Outcome)
	c = diagnosis.Fold(append(events,
		diagnosis.Event{Number: 7, Kind: diagnosis.Declined, Suggestion: 5},
		diagnosis.Event{Number: 8, Kind: diagnosis.Hidden},
		diagnosis.Event{Number: 9, Kind: diagnosis.Confirmed, Suggestion: 4, Observations: black}))
	assert.Empty(t, c.Suggestions)
	assert.Equal(t, black[0], c.Told[0].Observation)
	assert.Nil(t, c.Closed, "whoever goes on opens it again")
	assert.True(t, c.Hidden)
	assert.Equal(t, int64(9), c.LastEvent)
}

// TestDangersAreThoseOfTheAssessment: what is asked at little cost is what the assessment says.
func TestDangersAreThoseOfTheAssessment(t *testing.T) {
	e := diagnosis.New(engineModel(t))
	for _, told := range [][]string{nil, {"smoke=white_thick"}, {"smell_exhaust_inside=yes", "smell_fuel=yes"},
		{"co_alarm=sounding", "smoke=black"}} {
		r := request(told...)
		v, err := e.Evidence(r)
		require.NoError(t, err)
		a, err := v.Assess()
		require.NoError(t, err)
		assert.Equal(t, a.Dangers, v.Dangers(), told)
	}
}

func TestBandsAreThoseOfTheSystem(t *testing.T) {
	m := engineModel(t)
	for nominal, want := range map[string]string{"12": "10.6–11.6 V", "24": "21.2–23.2 V"} {
		got := m.BandText("glow_voltage_battery", "band_b", []knowledge.Finding{{ID: "nominal_voltage", State: nominal}})
		assert.Equal(t, want, got)
	}
	assert.Equal(t, "< 3 cm", m.BandText("inlet_clearance", "band_a", nil))
}
