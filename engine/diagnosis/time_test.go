package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// How long it ran tells where it failed. Two metres of line of 2 mm hold 6 mL; a heater of 2 kW burns some 4 mL a
// minute at full power: a line that was never filled burns for a minute at most, and not for four. That what stood in
// the line burns before a side that is shut starves the flame is the same sum.
func TestHowLongItRan(t *testing.T) {
	for _, tt := range []struct {
		name, cause    string
		short, longer  []string
		atLeast        float64
		likelierIfLong bool
	}{
		{"a line that was never filled", "line_not_primed", []string{"fault_code=E-08", "fails_when=no_flame"},
			[]string{"fault_code=E-08", "fails_when=after_running", "minutes_to_fail=25"}, 5, false},
		{"a tank that breathes no air starves in the end", "tank_vent_blocked",
			[]string{"fault_code=E-08", "minutes_to_fail=5"}, []string{"fault_code=E-08", "minutes_to_fail=40"}, 2, true},
		{"a warm locker takes half an hour, a blocked outlet does not", "compartment_hot",
			[]string{"fault_code=E-05", "minutes_to_fail=6"}, []string{"fault_code=E-05", "minutes_to_fail=35"}, 2, true},
		{"a blocked outlet", "outlet_blocked", []string{"fault_code=E-05", "minutes_to_fail=6"},
			[]string{"fault_code=E-05", "minutes_to_fail=35"}, 1.3, false},
		{"a flame that is lost only under way", "slosh_air", []string{"fault_code=E-08", "fails_when=after_running"},
			[]string{"fault_code=E-08", "fails_when=while_driving"}, 5, true},
		{"gusts", "ends_in_wind", []string{"fault_code=E-08", "wind_matters=no"},
			[]string{"fault_code=E-08", "wind_matters=yes"}, 8, true},
		{"frost", "fuel_waxed", []string{"fault_code=E-08", "cold_matters=no"},
			[]string{"fault_code=E-08", "cold_matters=in_cold"}, 8, true},
		{"a rest", "tank_vent_blocked", []string{"fault_code=E-08", "rest_matters=no_difference"},
			[]string{"fault_code=E-08", "rest_matters=better_after_rest"}, 4, true},
		{"a long rest lets a line drain", "joint_air_leak", []string{"fault_code=E-10", "rest_matters=no_difference"},
			[]string{"fault_code=E-10", "rest_matters=after_long_rest"}, 1.2, true},
		{"before it glows", "battery_low", []string{"fault_code=E-01", "fails_when=during_glow"},
			[]string{"fault_code=E-01", "fails_when=at_once"}, 1.2, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a, b := probability(t, assess(t, tt.short...), tt.cause), probability(t, assess(t, tt.longer...), tt.cause)
			if !tt.likelierIfLong {
				a, b = b, a
			}
			assert.Greater(t, b, tt.atLeast*a, tt.cause)
		})
	}
}
