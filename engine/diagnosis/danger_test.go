package diagnosis_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

// The triggers are the project's safety rules; common practice, no source.
func TestDangersStandWhileTheirTriggerDoes(t *testing.T) {
	for _, tt := range []struct {
		danger   string
		severity diagnosis.Severity
		told     []string
	}{
		{"exhaust_inside", diagnosis.LeaveNow, []string{"smell_exhaust_inside=yes"}},
		{"exhaust_inside", diagnosis.LeaveNow, []string{"co_alarm=sounding"}},
		{"exhaust_inside", diagnosis.LeaveNow, []string{"people_unwell=yes"}},
		{"fire_inside", diagnosis.LeaveNow, []string{"flames_or_smoke_inside=yes"}},
		{"runaway_burn", diagnosis.Urgent, []string{"stops_when_off=no"}},
		{"burning_smell", diagnosis.Urgent, []string{"smell_burning=yes"}},
		{"wrong_fuel", diagnosis.Urgent, []string{"petrol_suspected=yes"}},
		{"flooded_burner", diagnosis.NoStart, []string{"fuel_in_exhaust=yes"}},
		{"flooded_burner", diagnosis.NoStart, []string{"primed=well_beyond", "failed_starts=one_or_two"}},
		{"flooded_burner", diagnosis.NoStart, []string{"failed_starts=three_or_more"}},
		{"flooded_burner", diagnosis.NoStart, []string{"bang_on_lighting=yes"}},
		{"flooded_burner", diagnosis.NoStart, []string{"smoke=white_thick", "fault_code=E-10"}},
		{"loose_fuel", diagnosis.NoStart, []string{"smell_fuel=yes"}},
		{"loose_fuel", diagnosis.NoStart, []string{"wet_joint=yes"}},
		{"exhaust_obstructed", diagnosis.NoStart, []string{"exhaust_path=snow_or_ice"}},
		{"exhaust_joint_inside", diagnosis.NoStart, []string{"exhaust_joints=loose"}},
		{"intake_inside", diagnosis.NoStart, []string{"intake_from=living_space"}},
		{"no_tested_alarm", diagnosis.Caution, []string{"co_alarm_fitted=no"}},
		{"no_tested_alarm", diagnosis.Caution, []string{"co_alarm=silent_untested"}},
		{"cold_night", diagnosis.Caution, []string{"ambient_temperature=-4"}},
		{"under_way", diagnosis.Caution, []string{"runs_while_driving=yes"}},
	} {
		a := assess(t, tt.told...)
		i := slices.IndexFunc(a.Dangers, func(d diagnosis.Danger) bool { return d.ID == tt.danger })
		require.GreaterOrEqual(t, i, 0, "%v: %v", tt.told, dangers(a))
		d := a.Dangers[i]
		assert.Equal(t, tt.severity, d.Severity, tt.danger)
		assert.NotEmpty(t, d.Text)
		assert.Subset(t, ids(tt.told), d.Triggers)
		assert.True(t, slices.IsSortedFunc(a.Dangers,
			func(a, b diagnosis.Danger) int { return int(b.Severity - a.Severity) }))
		// Withdrawn, it no longer stands.
		assert.NotContains(t, dangers(assess(t, tt.told[1:]...)), tt.danger)
	}
}

func ids(told []string) []string {
	var out []string
	for _, s := range told {
		out = append(out, observation(s).ID)
	}
	return out
}

// Every tool at hand, so that only hazard keeps a check away.
var everyTool = []string{"+multimeter", "+clamp_meter", "+test_lamp", "+hand_tools", "+measuring_jar", "+spare_battery",
	"+spare_fuel_can", "+spare_panel", "+spare_board"}

func TestHazardIsAGate(t *testing.T) {
	m := engineModel(t)
	for _, told := range [][]string{
		{"fault_code=E-08", "smell_fuel=yes"},
		{"fault_code=E-10", "fuel_in_exhaust=yes"},
		{"fault_code=E-05", "exhaust_joints=sooty"},
		{"fault_code=E-10", "primed=until_full", "bubbles=none", "smoke=white_thick"},
		{"fault_code=E-01", "co_alarm=sounding"},
	} {
		a := assess(t, append(told, everyTool...)...)
		for _, id := range checks(a) {
			if o, ok := m.Observation(id); ok {
				assert.False(t, o.Gates.NeedsStart, "%v: %s starts the heater", told, id)
			}
		}
		for _, s := range a.Plan.Steps {
			i := slices.IndexFunc(m.Repairs, func(r knowledge.Repair) bool { return r.ID == s.RepairID })
			assert.False(t, m.Repairs[i].Gates.NeedsStart && s.HeldBack == "", "%v: %s", told, s.RepairID)
		}
	}
	free := checks(assess(t, append([]string{"fault_code=E-01"}, everyTool...)...))
	assert.Contains(t, free, "glow_voltage_heater", "without danger the best test is offered")
}

// A flooded burner that is probable enough forbids a start before anybody has seen fuel: the limit, not the rule.
func TestProbableFloodingForbidsAStart(t *testing.T) {
	a := assess(t, append([]string{"fault_code=E-10", "primed=until_full", "bubbles=none", "fails_when=no_flame",
		"smell_fuel=no", "smoke=blue_grey"}, everyTool...)...)
	require.Greater(t, probability(t, a, "burner_flooded"), 0.30)
	require.NotContains(t, dangers(a), "flooded_burner")
	for _, id := range checks(a) {
		if o, ok := engineModel(t).Observation(id); ok {
			assert.False(t, o.Gates.NeedsStart, id)
		}
	}
}

func TestPeopleBeforeHeaters(t *testing.T) {
	a := assess(t, append([]string{"fault_code=E-08", "people_unwell=yes"}, everyTool...)...)
	assert.Empty(t, a.Plan.Steps)
	assert.NotEmpty(t, a.Plan.Note)
	for _, id := range checks(a) {
		if o, ok := engineModel(t).Observation(id); ok {
			assert.True(t, o.Recalled, "%s sends somebody back in", id)
		}
	}
	assert.True(t, a.Dangers[0].CallEmergency)
}

func TestChecksNeedTheirTool(t *testing.T) {
	without, with := checks(assess(t, "fault_code=E-01")), checks(assess(t, "fault_code=E-01", "+multimeter"))
	assert.NotContains(t, without, "rest_voltage")
	assert.Contains(t, with, "rest_voltage")
	// Told all the same, a reading counts.
	leads(t, "battery_low", "fault_code=E-01", "rest_voltage=11.5")
}

// What from memory may well bring out a danger is asked before any check (dangers come before diagnosis).
func TestConversationAsksFirstWhatMayBringOutADanger(t *testing.T) {
	var c diagnosis.Conversation
	say := func(id, state string) {
		c.Told = append(c.Told, diagnosis.Told{Observation: diagnosis.Observation{ID: id, State: state}})
	}
	for _, o := range engineModel(t).Observations {
		if o.SafetyCard && o.ID != "co_alarm" {
			say(o.ID, "no")
		}
	}
	say("fault_code", "E-10")
	say("co_alarm_fitted", "no")
	asked := map[string]bool{}
	for range 4 {
		g, err := engine(t).Guide(c)
		require.NoError(t, err)
		require.Len(t, g.Next, 1)
		asked[g.Next[0]] = true
		if g.Next[0] == "failed_starts" {
			break
		}
		c.Told = append(c.Told, diagnosis.Told{Observation: diagnosis.Observation{ID: g.Next[0],
			Kind: diagnosis.UnknownValue}})
	}
	require.True(t, asked["failed_starts"], "%v", asked)
	for id := range asked {
		o, _ := engineModel(t).Observation(id)
		require.True(t, o.Recalled, "%s before what may be remembered of dangers", id)
	}
}
