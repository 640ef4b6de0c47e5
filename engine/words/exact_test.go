package words_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What is read, to the last reading and in the order of the text: nothing follows from half of what it follows from,
// and a code is one however it is announced.
func TestReadsExactly(t *testing.T) {
	r := reader(t)
	for _, tt := range []struct {
		text, asked, locale string
		want                []string
	}{
		{"it won't start", "", "en", []string{"complaint=wont_start"}},
		{"the pump ticks regularly", "", "en", []string{"pump_ticks=regular"}},
		{"it won't start, the pump ticks regularly", "", "en",
			[]string{"complaint=wont_start", "pump_ticks=regular", "fails_when=no_flame"}},
		{"the outlet air is lukewarm", "", "en", []string{"outlet_heat=lukewarm", "complaint=little_heat"}},
		{"lukewarm at the outlet and hardly any air comes out", "", "en",
			[]string{"outlet_heat=lukewarm", "complaint=little_heat", "outlet_flow=weak"}},
		{"it runs for ten minutes and then stops", "", "en", []string{"complaint=starts_then_stops", "minutes_to_fail=10",
			"fails_when=after_running"}},
		{"pump ticks, fan runs, no smoke, no bubbles, screen clean", "", "en", []string{"pump_ticks=regular", "fan_runs=yes",
			"smoke=none", "bubbles=none", "line_see_through=yes", "screen_look=clean"}},
		{"code number 8", "", "en", []string{"fault_code=E-08"}},
		{"error code is now 8", "", "en", []string{"fault_code=E-08"}},
		{"fault code no. 8", "", "en", []string{"fault_code=E-08"}},
		{"code is number 10", "", "en", []string{"fault_code=E-10"}},
		{"Fehler Nr. 8", "", "de", []string{"fault_code=E-08"}},
		{"Fehlercode ist jetzt 8", "", "de", []string{"fault_code=E-08"}},
		{"error: E: 8", "", "en", []string{"fault_code=E-08"}},
		{"EO8", "", "en", []string{"fault_code=E-08"}},
		{"Q7", "fault_code", "en", []string{"fault_code=other"}},
		{"Q7", "smoke", "en", nil},
		{"shows Q7", "", "en", nil},
		{"no smoke at all, and the pump, it does not tick", "", "en", []string{"smoke=none", "pump_ticks=none"}},
		{"12.6 resting, no, 12.4", "", "en", []string{"rest_voltage=12.4"}},
	} {
		t.Run(tt.text, func(t *testing.T) {
			got, _ := read(r, tt.text, tt.asked, tt.locale)
			var said []string
			for _, g := range got {
				said = append(said, plain(g))
			}
			require.Equal(t, tt.want, said)
		})
	}
}
