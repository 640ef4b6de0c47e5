package diagnosis_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Of several repairs of a cause, the findings point to one (common practice, no source).
func TestRepairsFollowTheFindings(t *testing.T) {
	for _, tt := range []struct {
		name      string
		want, not string
		told      []string
	}{
		{"a lost magnet is renewed", "renew_fan_magnets", "reseat_fan",
			[]string{"fault_code=E-06", "fan_magnets=missing_or_loose"}},
		{"a warm joint is cleaned", "clean_electrical_joints", "dry_connectors",
			[]string{"fault_code=E-01", "feed_point=battery", "rest_voltage=12.7", "glow_voltage_battery=12.1",
				"glow_voltage_heater=10.0", "joint_warm=yes"}},
		{"a flat battery is charged", "charge_battery", "mend_charging",
			[]string{"fault_code=E-01", "rest_voltage=11.6", "charging_now=none"}},
		{"one that is being charged has a charging fault", "mend_charging", "charge_battery",
			[]string{"fault_code=E-01", "rest_voltage=11.6", "charging_now=solar"}},
		{"lithium that cuts off in the warm", "match_battery_protection", "wake_lithium",
			[]string{"battery_chemistry=lithium", "ambient_temperature=15", "display=blank", "fails_when=during_glow"}},
		{"water in a boat's exhaust", "slope_exhaust", "",
			[]string{"fault_code=E-10", "installation=boat", "exhaust_path=water"}},
		{"nobody fills a full tank", "", "fill_tank", []string{"fault_code=E-08", "pickup=vehicle_tank", "tank_level=full"}},
		{"a code is no normal behaviour", "", "explain_normal_behaviour", []string{"fault_code=E-09"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ids := repairs(assess(t, tt.told...))
			if tt.want != "" {
				assert.Contains(t, ids, tt.want)
			}
			if tt.not != "" {
				assert.False(t, slices.Contains(ids, tt.not), "%v", ids)
			}
		})
	}
}

// Both of two faults are named and mended where the findings show both (common practice, no source).
func TestTwoThingsAtOnceAreNamedAndMended(t *testing.T) {
	a := assess(t, "fault_code=E-04", "line_at_rest=empty", "primed=no", "pump_connector=loose",
		"just_installed=yes", "pump_arrow=right", "tank_level=full")
	require.NotNil(t, a.LikelyPair)
	assert.ElementsMatch(t, []string{"pump_unplugged", "line_not_primed"}, a.LikelyPair.CauseIDs[:])
	assert.Greater(t, a.LikelyPair.Probability, 0.5)
	assert.NotEmpty(t, a.LikelyPair.Text)
	ids := repairs(a)
	assert.Contains(t, ids, "plug_in_pump")
	assert.Contains(t, ids, "prime_line")
	assert.Nil(t, assess(t, "fault_code=E-07", "controller_changed=yes", "controller_match=known_wrong").LikelyPair)
}

// A line that was never filled doesn't burn for minutes (physics: it holds no fuel).
func TestWhatBurnedForMinutesWasPrimed(t *testing.T) {
	ran := assess(t, "fault_code=E-08", "just_installed=yes", "fails_when=after_running", "minutes_to_fail=6")
	never := assess(t, "fault_code=E-08", "just_installed=yes", "fails_when=no_flame")
	assert.NotEqual(t, "line_not_primed", ran.Causes[0].ID)
	assert.Greater(t, probability(t, never, "line_not_primed"), 3*probability(t, ran, "line_not_primed"))
	// A hot locker takes half an hour, a blocked outlet some minutes.
	soon := assess(t, "fault_code=E-05", "minutes_to_fail=6")
	late := assess(t, "fault_code=E-05", "minutes_to_fail=35")
	assert.Greater(t, probability(t, late, "compartment_hot"), 3*probability(t, soon, "compartment_hot"))
	assert.Greater(t, probability(t, soon, "outlet_blocked"), probability(t, late, "outlet_blocked"))
}
