package simulation_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"lightoff/engine/physics"
	"lightoff/engine/simulation"

	"github.com/stretchr/testify/assert"
)

// What a sound heater of 12 V shows, at 10 °C, run for a quarter of an hour and switched off. Common practice, no
// source.
var usual = map[string]string{
	"fault_code": "none", "fails_when": "keeps_running", "failed_starts": "none", "primed": "no", "time_to_light": "usual",
	"people_unwell": "no", "flames_or_smoke_inside": "no", "smell_exhaust_inside": "no", "smell_fuel": "no",
	"smell_burning": "no", "smell_gas": "no",
	"smoke": "none", "bang_on_lighting": "no", "stops_when_off": "yes", "exhaust_fire": "no", "start_signs": "none",
	"runs_on":        "fan_few_minutes",
	"exhaust_joints": "tight", "fuel_in_exhaust": "no", "exhaust_warms": "yes", "exhaust_path": "clear",
	"intake_path": "clear",
	"flame_sound": "steady", "burner_look": "clean", "glow_plug_look": "clean", "screen_look": "clean",
	"gasket_look": "sound", "fuel_inlet_look": "free",
	"outlet_flow": "strong", "outlet_heat": "hot", "outlet_path": "clear", "fan_runs": "yes", "fan_by_hand": "free",
	"fan_noise": "normal",
	"fan_look":  "clear", "fan_magnets": "both", "motor_direct": "runs_free", "blows_cold_unasked": "no",
	"hot_parts_look": "clear", "wind_matters": "no",
	"joint_warm": "no", "lights_dim_on_start": "no", "fuse": "intact", "display": "steady", "display_nominal": "12",
	"connectors":       "dry",
	"panel_plug_volts": "present", "plug_lead_volts": "present", "signal_continuity": "whole", "loom_wiggle": "no_change",
	"controller_match": "known_good",
	"pump_match":       "as_stated", "pump_place": "near_tank", "pump_ticks": "regular", "pump_pulses": "yes",
	"pump_connector": "firm", "pump_arrow": "right",
	"pump_strainer_look": "clean", "fuel_valve": "open", "bubbles": "none", "line_at_rest": "full",
	"fuel_at_burner": "steady", "line_kink": "no",
	"wet_joint": "no", "filter_look": "clean", "fuel_look": "clear", "petrol_suspected": "no", "drips_at_rest": "no",
	"settings_look": "as_wanted", "sensor_seated": "yes", "lock_sign": "no", "room_sensor_place": "fair",
	"works_from_panel": "yes",
}

// The readings of the same heater: between which they lie. A rested AGM battery of nine tenths has some 12.7 V; a start
// draws ten amperes and takes some tenths of a volt; a dose of 28 µL gives 2.8 mL in a hundred strokes; a plug of half
// an ohm. Common practice, no source, but for the dose, which is arithmetic.
var usualReadings = map[string][2]float64{
	"rest_voltage": {12.4, 13}, "heater_rest_voltage": {12.4, 13}, "panel_voltage": {12.2, 13},
	"glow_voltage_battery": {11.9, 12.9},
	"glow_voltage_heater":  {11.4, 12.8}, "panel_voltage_glow": {11.2, 12.9}, "start_current": {7, 14},
	"drop_positive": {0, 0.35}, "drop_negative": {0, 0.35},
	"fuel_per_100_strokes": {2.3, 3.3}, "pump_coil_resistance": {8.5, 11.5}, "glow_plug_resistance": {0.15, 0.8},
	"pump_lift": {0, 0.5}, "panel_temperature": {3, 17},
}

func TestSoundHeatersShowWhatIsUsual(t *testing.T) {
	sound := lived(t, 24)
	for of, state := range usual {
		ten, known := shown(sound, is(of, state, 0))
		assert.GreaterOrEqual(t, known, 12, of)
		assert.GreaterOrEqual(t, ten, 7.5, "%s %s", of, state)
	}
	for of, band := range usualReadings {
		told := 0
		for _, h := range sound {
			if a := h.Observe(of); !a.Unknown {
				told++
				assert.True(t, a.Number >= band[0] && a.Number <= band[1], "%s %v", of, a.Number)
			}
		}
		assert.GreaterOrEqual(t, told, 12, of)
	}
}

// What is drawn comes in the shares stated: of 4,000, each within four standard deviations (binomial).
func TestSharesOfInstallations(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	const n = 4000
	seen := map[string]float64{}
	note := func(what string, is bool) {
		if is {
			seen[what] += 1.0 / n
		}
	}
	for range n {
		in := simulation.Draw(r)
		note("24 V", in.Nominal == 24)
		note("lithium", in.Chemistry == physics.Lithium)
		note("agm", in.Chemistry == physics.AGM)
		note("flooded", in.Chemistry == physics.Flooded)
		note("ceramic", in.Plug == physics.CeramicPlug)
		note("van", in.Place == "van")
		note("boat", in.Place == "boat")
		note("battery", in.Feed == "battery")
		note("not charging", in.Charging == "none")
		note("own tank", in.Pickup == "own_tank")
		note("below", in.Tank == "below")
		note("just fitted", in.JustInstalled)
		note("remote", in.Remote)
		note("soft", in.Soft)
		note("high", in.Altitude > 900)
		note("5 kW", in.Power == 5)
		note("pt1000", in.Sensor == physics.Pt1000)
		note("ntc", in.Sensor == physics.NTC10k)
		note("cold", in.Ambient < 0)
		note("alarm tested", in.AlarmTested)
	}
	for what, want := range map[string]float64{"24 V": 1.0 / 7, "lithium": 0.2, "agm": 0.4, "flooded": 0.4,
		"ceramic": 0.35, "van": 0.45, "boat": 0.15,
		"battery": 0.62, "not charging": 0.65, "own tank": 0.62, "below": 0.45, "just fitted": 0.12, "remote": 0.45,
		"soft": 0.5, "high": 0.12,
		"5 kW": 1.0 / 3, "pt1000": 0.25, "ntc": 0.25, "cold": 12.0 / 28, "alarm tested": 0.36} {
		assert.InDelta(t, want, seen[what], 4*math.Sqrt(want*(1-want)/n), what)
	}
}
