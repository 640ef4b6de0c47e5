package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every repair of the model comes up in some plan: after one finding, after what makes its cause lead (leading, in
// trade_test.go), after the findings that point to it, or once a lesser repair of the same cause has been made. And all
// but two come first in one: a bigger source stands behind feeding from the battery, and sloping an exhaust behind a
// boat's outlet that is too low, which water points to as well.
func TestEveryRepairComesUp(t *testing.T) {
	m := engineModel(t)
	seen, led := map[string]bool{}, map[string]bool{}
	note := func(told []string, mended ...string) {
		r := request(told...)
		r.Mended = mended
		a, err := engine(t).Assess(r)
		require.NoError(t, err)
		for i, id := range repairs(a) {
			seen[id] = true
			led[id] = led[id] || i == 0
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
	for _, told := range [][]string{
		{"fault_code=E-01", "rest_voltage=12.7", "glow_voltage_battery=9.9"},
		{"fault_code=E-01", "feed_point=battery", "cable_area=1.5", "cable_length=6", "rest_voltage=12.7",
			"glow_voltage_battery=12.1", "drop_positive=1", "drop_negative=1"},
		{"fault_code=E-01", "feed_point=mains_supply", "installation=building"},
		{"fault_code=none", "complaint=fan_unasked", "blows_cold_unasked=no", "power_cut_when_hot=yes"},
		{"fault_code=E-02", "nominal_voltage=12", "rest_voltage=25.3"},
		{"fault_code=blank_display", "battery_chemistry=lithium", "ambient_temperature=-10", "rest_voltage=1", "fuse=intact"},
		{"battery_chemistry=lithium", "ambient_temperature=15", "display=blank", "fails_when=during_glow",
			"feed_point=battery", "cable_area=6", "rest_voltage=13.2"},
		{"fault_code=E-08", "pickup=teed_engine_line", "fails_when=at_engine_start"},
		{"fault_code=E-10", "pump_ticks=none", "pump_pulses=yes", "pump_coil_resistance=10", "fuel_kind=kerosene",
			"fuel_in_exhaust=no"},
		{"fault_code=E-04", "pump_coil_resistance=9000000", "pump_connector=firm"},
		{"fault_code=none", "altitude=2500", "smoke=black", "complaint=smoke_or_smell"},
		{"fault_code=E-05", "duct_bends=5", "duct_length=6"},
		{"fault_code=E-05", "inlet_clearance=1"},
		{"fault_code=E-07", "controller_changed=no", "controller_swap=cured", "connectors=dry"},
		{"fault_code=none", "smell_exhaust_inside=yes", "fumes_now=past", "exhaust_smell_from=warm_air_outlet"},
	} {
		note(told)
	}
	note([]string{"fault_code=E-05", "duct_bends=5", "duct_length=6"}, "clear_warm_air")
	note([]string{"smell_exhaust_inside=yes", "fumes_now=past", "exhaust_smell_from=warm_air_outlet",
		"running_hours=over_500", "exhaust_joints=tight"},
		"remake_exhaust_joints")
	note([]string{"battery_chemistry=lithium", "ambient_temperature=15", "fault_code=blank_display",
		"fails_when=during_glow", "feed_point=battery",
		"cable_area=6", "cable_length=2", "fuse=intact"}, "charge_battery", "clean_electrical_joints")
	note([]string{"fault_code=E-08", "pickup=teed_engine_line", "fails_when=at_engine_start", "tank_level=full"})
	note([]string{"installation=boat", "exhaust_path=water", "fails_when=while_driving", "runs_while_driving=yes"},
		"clear_exhaust", "slope_exhaust")
	for _, r := range m.Repairs {
		assert.True(t, seen[r.ID], "%s comes up in none of the plans: add to leading (trade_test.go) what makes a cause "+
			"lead that it mends (%v), or note here the findings after which it is the one to make", r.ID, r.Mends)
		assert.True(t, led[r.ID] || r.ID == "bigger_source" || r.ID == "slope_exhaust", "%s comes first in none of "+
			"the plans: add to leading (trade_test.go) what makes a cause lead that it mends (%v), or "+
			"note here the findings after which it is the one to make", r.ID, r.Mends)
	}
}
