package heater_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
)

// TestPartsOfCauses holds some causes against where a mechanic would lay a hand on them (common practice, no source),
// and keeps each sentence short enough for two lines on a phone.
func TestPartsOfCauses(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	want := map[string]string{"battery_worn": "battery", "feed_undersized": "supply", "glow_screen_clogged": "glow",
		"soft_line_air":  "line",
		"pump_angle_air": "pump", "tank_low": "tank", "burner_flooded": "burner", "exhaust_blocked": "exhaust",
		"intake_blocked": "intake",
		"outlet_blocked": "duct", "casing_rubs_fan": "fan", "overheat_sensor_displaced": "sensor", "board_failed": "board",
		"settings_wrong": "panel", "no_fault": "none"}
	for id, part := range want {
		c, ok := m.Cause(id)
		require.True(t, ok, id)
		assert.Equal(t, part, c.Part, id)
	}
	for _, locale := range m.Locales() {
		for id, text := range m.Text(locale).Causes {
			assert.LessOrEqual(t, len([]rune(text.Sentence)), 56, "%s %s", locale, id)
			assert.NotRegexp(t, `[.!?]$`, text.Sentence, "%s %s: it stands as a heading", locale, id)
		}
	}
}
