package diagnosis_test

import (
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

// dangerRow is what a row of testdata/dangers.yaml says of a danger.
type dangerRow struct {
	ID           string
	Told         []string
	Lifts, Keeps [][2]string
}

var everyDanger = sync.OnceValues(func() (rows []dangerRow, err error) {
	text, err := os.ReadFile("testdata/dangers.yaml")
	if err == nil {
		err = yaml.UnmarshalWithOptions(text, &rows, yaml.Strict())
	}
	return rows, err
})

// eachDanger visits the rows with the model's dangers.
func eachDanger(t *testing.T, visit func(row dangerRow, d knowledge.Danger)) {
	t.Helper()
	m := engineModel(t)
	rows, err := everyDanger()
	require.NoError(t, err)
	byID := map[string]dangerRow{}
	for _, row := range rows {
		require.NotContains(t, byID, row.ID, "testdata/dangers.yaml has it twice")
		byID[row.ID] = row
	}
	for _, d := range m.Dangers {
		row, ok := byID[d.ID]
		if !ok {
			assert.Fail(t, "a danger without a row",
				"write one for %s in testdata/dangers.yaml: what brings it out, and what lifts it", d.ID)
			continue
		}
		delete(byID, d.ID)
		visit(row, d)
	}
	for id := range byID {
		assert.Fail(t, "a row without its danger", "testdata/dangers.yaml has %s, which the model does not", id)
	}
}

func stands(t *testing.T, id string, told string) bool {
	t.Helper()
	dangers := standing(t, request(strings.Fields(told)...))
	return slices.ContainsFunc(dangers, func(d diagnosis.Danger) bool { return d.ID == id })
}

// toldAfter is what was told with something told later, which replaces an earlier answer.
func toldAfter(told, later string) string {
	fields := slices.DeleteFunc(strings.Fields(told), func(s string) bool {
		id, _, _ := strings.Cut(s, "=")
		again := func(l string) bool { return strings.HasPrefix(l, id+"=") }
		return slices.ContainsFunc(strings.Fields(later), again)
	})
	return strings.Join(append(fields, later), " ")
}

// Every danger is brought out by each of its triggers and by nothing less, and lifted by what is said to lift it.
func TestEveryDangerIsBroughtOutAndLifted(t *testing.T) {
	eachDanger(t, func(row dangerRow, d knowledge.Danger) {
		for _, told := range row.Told {
			assert.True(t, stands(t, row.ID, told), "%s: %s", row.ID, told)
			fields := strings.Fields(told)
			less := strings.Join(fields[1:], " ")
			assert.False(t, stands(t, row.ID, less), "%s without %s", row.ID, fields[0])
		}
		for _, trigger := range d.Any {
			told := slices.ContainsFunc(row.Told, func(told string) bool { return meets(trigger, told) })
			assert.True(t, told, "%s: no row tells %v", row.ID, trigger)
		}
		for _, x := range row.Lifts {
			require.True(t, stands(t, row.ID, x[0]), "%s: %s", row.ID, x[0])
			assert.False(t, stands(t, row.ID, toldAfter(x[0], x[1])), "%s: %s lifts %s", row.ID, x[1], x[0])
		}
		for _, x := range row.Keeps {
			require.True(t, stands(t, row.ID, x[0]), "%s: %s", row.ID, x[0])
			assert.True(t, stands(t, row.ID, toldAfter(x[0], x[1])), "%s: %s keeps %s", row.ID, x[1], x[0])
		}
		if d.Severity > int(diagnosis.Caution) {
			require.NotEmpty(t, d.LiftedBy, row.ID)
			require.NotEmpty(t, row.Lifts, row.ID)
		}
	})
}

// What to do and the way out are led through in steps of one sentence, in every language.
func TestEveryDangerHasItsSteps(t *testing.T) {
	m := engineModel(t)
	for _, d := range m.Dangers {
		for _, locale := range m.Locales() {
			x := m.Text(locale).Dangers[d.ID]
			assert.NotEmpty(t, x.Steps, "%s: %s", d.ID, locale)
			assert.True(t, len(x.WayOut) > 0 || d.Severity == int(diagnosis.Caution), "%s: %s", d.ID, locale)
			for _, step := range slices.Concat(x.Steps, x.WayOut) {
				assert.NotContains(t, strings.TrimRight(step, ".?!"), ". ", "one sentence")
			}
		}
	}
}

// meets reports whether told has every observation of a trigger in the state that it asks for.
func meets(trigger knowledge.Trigger, told string) bool {
	for _, trip := range trigger.All {
		i := slices.IndexFunc(strings.Fields(told), func(s string) bool { return strings.HasPrefix(s, trip.ID+"=") })
		if i < 0 {
			return false
		}
		_, state, _ := strings.Cut(strings.Fields(told)[i], "=")
		if len(trip.States) > 0 && !slices.Contains(trip.States, state) {
			return false
		}
	}
	return true
}

// While a danger stands, nothing that it forbids is advised, planned or named as what would change the answer, and
// nothing whose own words need what it forbids; what it asks for is in the plan.
func TestWhatADangerForbidsIsNowhere(t *testing.T) {
	m, e := engineModel(t), engine(t)
	check := func(d knowledge.Danger, told, id, where string) {
		if o, ok := m.Observation(id); ok {
			assert.Empty(t, against(m, d, id, o.Gates), "%s: %s: %s", told, where, id)
		}
	}
	eachDanger(t, func(row dangerRow, d knowledge.Danger) {
		for _, told := range row.Told {
			r := request(append(strings.Fields(told), everyTool...)...)
			if !strings.Contains(told, "fault_code=") {
				r.Observations = append(r.Observations, observation("fault_code=E-10"))
			}
			a, err := e.Assess(r)
			require.NoError(t, err, told)
			for _, c := range a.NextChecks {
				check(d, told, c.ObservationID, "advised")
			}
			for _, s := range a.Plan.Steps {
				if x := repairOf(m, s.RepairID); s.HeldBack == "" && !d.Permits(x.ID) {
					assert.Empty(t, against(m, d, x.ID, x.Gates), "%s: planned: %s", told, x.ID)
				}
			}
			x, err := e.Explain(r, a.Causes[0].ID)
			require.NoError(t, err)
			for _, w := range x.WouldChange {
				check(d, told, w.ObservationID, "what would change it")
			}
			if a.Dangers[0].Severity == diagnosis.LeaveNow {
				assert.Empty(t, a.Plan.Steps, told)
				continue
			}
			for _, stands := range a.Dangers {
				for _, id := range stands.MendedBy {
					assert.Contains(t, repairs(a), id, "%s: what is defective is in the plan", told)
				}
			}
		}
	})
}

// against names what a check or repair involves that a danger forbids, by its gates and by its words in any language.
func against(m *knowledge.Model, d knowledge.Danger, id string, gates knowledge.Gates) (forbidden []string) {
	involved := gates.Names()
	for _, locale := range m.Locales() {
		t := m.Text(locale)
		for gate := range t.GatesOf(id) {
			involved = append(involved, gate)
		}
	}
	for _, gate := range d.Forbids.Names() {
		if slices.Contains(involved, gate) {
			forbidden = append(forbidden, gate)
		}
	}
	return forbidden
}

// What somebody says was done since counts only against what was told before it.
func TestWhatWasDoneSinceDoesNotLiftWhatComesLater(t *testing.T) {
	say := func(number int64, told ...string) diagnosis.Event {
		return diagnosis.Event{Number: number, Kind: diagnosis.Answered, Observations: request(told...).Observations}
	}
	flooded := func(events ...diagnosis.Event) bool {
		dangers := standing(t, diagnosis.Fold(events).Request())
		return slices.ContainsFunc(dangers, func(d diagnosis.Danger) bool { return d.ID == "flooded_burner" })
	}
	assert.True(t, flooded(say(1, "failed_starts=three_or_more")))
	assert.False(t, flooded(say(1, "failed_starts=three_or_more"), say(2, "burner_dried=yes")))
	assert.False(t, flooded(say(1, "failed_starts=three_or_more", "burner_dried=yes")), "said in one breath")
	assert.True(t, flooded(say(1, "failed_starts=three_or_more"), say(2, "burner_dried=yes"),
		say(3, "failed_starts=three_or_more")), "and three more since")
	assert.True(t, flooded(say(1, "burner_dried=yes"), say(2, "bang_on_lighting=yes")))
}

// White smoke is asked about at once: never taken for the dangerous kind, never dropped.
func TestWhiteSmokeIsAskedAbout(t *testing.T) {
	c := cardDenied(t, "smoke=white", "fault_code=E-10")
	g, err := engine(t).Guide(c)
	require.NoError(t, err)
	assert.Equal(t, []string{"white_smoke"}, g.Next)
	assert.NotContains(t, dangers(g.Assessment), "flooded_burner")
	thick := assess(t, "smoke=white", "white_smoke=thick_fuel_smell", "fault_code=E-10")
	assert.Contains(t, dangers(thick), "flooded_burner")
	thin := assess(t, "smoke=white", "white_smoke=thin_soon_gone", "fault_code=E-10")
	assert.NotContains(t, dangers(thin), "flooded_burner")
	g, err = engine(t).Guide(cardDenied(t, "complaint=wont_stop"))
	require.NoError(t, err)
	assert.Equal(t, []string{"runs_on"}, g.Next, "fan or flame")
}

// cardDenied is a conversation that has denied the safety card and told some more.
func cardDenied(t *testing.T, told ...string) diagnosis.Conversation {
	var no []string
	for _, o := range engineModel(t).Observations {
		if o.SafetyCard && o.ID != "co_alarm" {
			no = append(no, o.ID+"=no")
		}
	}
	events := []diagnosis.Event{{Number: 1, Kind: diagnosis.Opened, Locale: "en"},
		{Number: 2, Kind: diagnosis.Answered, Observations: request(no...).Observations}}
	more := diagnosis.Event{Number: 3, Kind: diagnosis.Answered, Observations: request(told...).Observations}
	return diagnosis.Fold(append(events, more))
}

// Whatever the code: at most one question for the sake of safety comes between the card and the first that serves the
// diagnosis, where nothing told makes a danger likelier.
func TestOneSafetyQuestionBeforeTheFirstThatDiagnoses(t *testing.T) {
	harmless := map[string]string{"start_signs": "start_signs=none", "co_alarm_fitted": "co_alarm_fitted=yes",
		"co_alarm": "co_alarm=silent_tested"}
	codes, _ := engineModel(t).Observation("fault_code")
	for _, code := range codes.States {
		told := []string{"fault_code=" + code}
		if code == "none" || code == "other" {
			told = append(told, "complaint=little_heat")
		}
		c := cardDenied(t, told...)
		c.Tools = []string{"multimeter", "hand_tools"}
		var asked []string
		for {
			g, err := engine(t).Guide(c)
			require.NoError(t, err)
			if !g.Warns {
				t.Logf("%s: %d safety questions %v, then %v%s", code, len(asked), asked, g.Next, g.Repair)
				break
			}
			asked = append(asked, g.Next...)
			require.Less(t, len(asked), 9)
			require.Contains(t, harmless, g.Next[0], code)
			answer := observation(harmless[g.Next[0]])
			c.Told = append(c.Told, diagnosis.Told{Observation: answer, Event: int64(9 + len(asked))})
		}
		assert.LessOrEqual(t, len(asked), 1, "%s: %v", code, asked)
	}
}

// Where one sign of a flooded burner was told, flames at the exhaust are asked about: they are worse, and need other
// deeds.
func TestASignOfFloodingAsksForTheWorse(t *testing.T) {
	for _, told := range [][]string{
		{"fault_code=E-01", "complaint=wont_start", "failed_starts=three_or_more", "just_installed=yes"},
		{"fault_code=E-08", "complaint=starts_then_stops", "smoke=white_thick", "fails_when=after_lighting"},
		{"fault_code=E-05", "complaint=starts_then_stops", "petrol_suspected=yes"},
	} {
		c := cardDenied(t, told...)
		var asked []string
		for {
			g, err := engine(t).Guide(c)
			require.NoError(t, err)
			if !g.Warns {
				break
			}
			asked = append(asked, g.Next...)
			require.LessOrEqual(t, len(asked), 4, "%v: %v", told, asked)
			c.Told = append(c.Told, diagnosis.Told{Observation: diagnosis.Observation{ID: g.Next[0]}, Skipped: true, Event: 9})
		}
		assert.Contains(t, asked, "exhaust_fire", told)
	}
}
