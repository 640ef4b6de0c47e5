package diagnosis_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
)

// Two conversations of thirty answers in the order in which they came: one with air in the fuel line, one with a
// starved supply. Readings stand where somebody has a meter, states in their place where nobody does. Invented.
var (
	airInLine = recorded(
		`people_unwell=no complaint=wont_start fault_code=E-10 failed_starts=three_or_more installation=van
		tank_level=half pump_ticks=regular bubbles=many|bubbles=many fails_when=no_flame primed=no fuel_in_exhaust=no
		just_installed=no ran_dry=no smoke=none line_type=soft fuel_per_100_strokes=1.4|fuel_at_burner=spurts
		flame_sound=none exhaust_warms=no pickup=own_tank tank_position=below outlet_heat=cold rest_voltage=12.6|stops_when_off=yes
		glow_voltage_heater=11.4|lights_dim_on_start=no running_hours=50_to_500 pump_arrow=right fuel_kind=winter_diesel
		wet_joint=no glow_plug_resistance=0.7|glow_plug_look=clean fan_runs=yes stood_over_summer=no`)
	starvedSupply = recorded(
		`people_unwell=no fault_code=E-01 battery_age=8 installation=boat complaint=wont_start display=restarts
		fails_when=during_glow feed_point=battery rest_voltage=12.1|lights_dim_on_start=yes battery_chemistry=flooded
		panel_voltage_glow=9.2|display=restarts glow_voltage_battery=9.8|charging_now=none drop_positive=1.4|joint_warm=yes
		drop_negative=0.4|connectors=dry cable_area=2.5 cable_length=6 fuse=intact just_installed=no recent_work=no
		failed_starts=one_or_two outlet_heat=cold exhaust_warms=no smoke=none flame_sound=none tank_level=half pump_ticks=none
		running_hours=over_500 fan_runs=no nominal_voltage=12 mostly_low_setting=no start_current=6|stood_over_summer=no fuel_kind=winter_diesel`)
)

// answer is what is told with a meter, and what without.
type answer struct{ meter, plain string }

func recorded(text string) (list []answer) {
	for _, s := range strings.Fields(text) {
		meter, plain, two := strings.Cut(s, "|")
		if !two {
			plain = meter
		}
		list = append(list, answer{meter, plain})
	}
	return list
}

// after is the request once so many answers were given.
func after(list []answer, n int, meters bool) diagnosis.Request {
	told := []string{"+hand_tools"}
	if meters {
		told = append(told, "+multimeter", "+test_lamp")
	}
	for _, a := range list[:n] {
		s := a.plain
		if meters {
			s = a.meter
		}
		if id, _, _ := strings.Cut(s, "="); !slices.ContainsFunc(told,
			func(t string) bool { return strings.HasPrefix(t, id+"=") }) {
			told = append(told, s)
		}
	}
	return request(told...)
}

var lengths = []int{1, 7, 17, 30}

func forms(b *testing.B, run func(b *testing.B, n int, meters bool)) {
	for _, meters := range []bool{false, true} {
		for _, n := range lengths {
			b.Run(fmt.Sprintf("findings=%d/meters=%v", n, meters), func(b *testing.B) { run(b, n, meters) })
		}
	}
}

// BenchmarkAssess assesses two different heaters in turn, so that nothing found of one is left for the next.
func BenchmarkAssess(b *testing.B) {
	e := benchEngine(b)
	forms(b, func(b *testing.B, n int, meters bool) {
		both := []diagnosis.Request{after(airInLine, n, meters), after(starvedSupply, n, meters)}
		for i := 0; b.Loop(); i++ {
			_, err := e.Assess(both[i%2])
			require.NoError(b, err)
		}
	})
}

// BenchmarkConversation guides through a whole recorded conversation, one answer after the other; time is for one
// answer.
func BenchmarkConversation(b *testing.B) {
	e := benchEngine(b)
	for _, meters := range []bool{false, true} {
		b.Run(fmt.Sprintf("meters=%v", meters), func(b *testing.B) {
			n := 0
			for b.Loop() {
				list := [][]answer{airInLine, starvedSupply}[n/30%2]
				_, err := e.Assess(after(list, 1+n%30, meters))
				require.NoError(b, err)
				n++
			}
		})
	}
}

func benchEngine(b *testing.B) *diagnosis.Engine {
	m, err := heater.Model()
	require.NoError(b, err)
	return diagnosis.New(m)
}
