package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every repair of the model comes up in some plan: after one finding, after what makes its cause lead (leading, in
// trade_test.go), after the findings that point to it, or once a lesser repair of the same cause has been made.
func TestEveryRepairComesUp(t *testing.T) {
	m := engineModel(t)
	seen := map[string]bool{}
	note := func(told []string, mended ...string) {
		r := request(told...)
		r.Mended = mended
		a, err := engine(t).Assess(r)
		require.NoError(t, err)
		for _, id := range repairs(a) {
			seen[id] = true
		}
	}
	for _, o := range m.Observations {
		for _, state := range o.States {
			note([]string{o.ID + "=" + state})
		}
	}
	for _, row := range leading {
		note(row.told)
	}
	note([]string{"fault_code=E-01", "rest_voltage=11.6", "charging_now=solar"})
	note([]string{"fault_code=E-01", "feed_point=power_station"})
	note([]string{"battery_chemistry=lithium", "ambient_temperature=15", "display=blank", "fails_when=during_glow"})
	note([]string{"fault_code=E-08", "runs_while_driving=yes", "fails_when=while_driving", "tank_level=half"})
	note([]string{"fault_code=none", "intake_from=living_space"})
	note([]string{"smell_exhaust_inside=yes", "fumes_now=past", "exhaust_smell_from=outside", "installation=portable_box"})
	note([]string{"smell_exhaust_inside=yes", "fumes_now=past", "exhaust_smell_from=warm_air_outlet",
		"running_hours=over_500"})
	note([]string{"fault_code=E-10", "exhaust_path=blocked", "smoke=black"}, "clear_exhaust")
	note([]string{"smell_exhaust_inside=yes", "fumes_now=past", "exhaust_joints=loose"}, "remake_exhaust_joints")
	note([]string{"smell_fuel=yes", "wet_joint=yes"}, "remake_fuel_joints")
	note([]string{"burner_look=coked"}, "decoke_burner")
	for _, r := range m.Repairs {
		assert.True(t, seen[r.ID], "%s comes up in none of the plans: add to leading (trade_test.go) what makes a cause "+
			"lead that it mends (%v), or note here the findings after which it is the one to make", r.ID, r.Mends)
	}
}
