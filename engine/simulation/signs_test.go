package simulation_test

import (
	"fmt"
	"slices"
	"testing"

	"lightoff/engine/simulation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sign is what a mechanic expects to find, and in how many of ten heaters with the fault whose owners can tell. A sound
// heater hardly ever shows it, unless the sign is that something is still as it should be.
type sign struct {
	what  string
	told  func(a simulation.Answer) bool
	of    string
	ten   float64
	sound bool
}

func is(of, state string, ten float64) sign {
	return sign{of + " " + state, func(a simulation.Answer) bool { return a.State == state }, of, ten, false}
}

func below(of string, limit, ten float64) sign {
	return sign{fmt.Sprintf("%s below %v", of, limit),
		func(a simulation.Answer) bool { return a.IsNumber && a.Number < limit }, of, ten, false}
}

func above(of string, limit, ten float64) sign {
	return sign{fmt.Sprintf("%s above %v", of, limit),
		func(a simulation.Answer) bool { return a.IsNumber && a.Number > limit }, of, ten, false}
}

// still is what the fault leaves as it is in a sound heater, by which it is told from others.
func still(s sign) sign {
	s.sound = true
	return s
}

// What each fault shows. All of it common practice, no source; the heater is of 12 V, 5 kW and 28 µL a stroke.
var signs = map[string][]sign{
	"battery_low":            {below("rest_voltage", 12.2, 9)},
	"battery_worn":           {below("glow_voltage_battery", 11.8, 8)},
	"feed_undersized":        {above("drop_positive", 0.25, 9), above("drop_negative", 0.25, 9)},
	"feed_via_light_circuit": {above("drop_positive", 0.5, 9), still(below("drop_negative", 0.3, 9))},
	"source_limited": {is("complaint", "wont_start", 6), is("lights_dim_on_start", "yes", 6),
		is("display", "restarts", 4), still(is("known_good_battery", "cured", 9))},
	"cooldown_cut":     {is("complaint", "fan_unasked", 9), still(is("blows_cold_unasked", "no", 9))},
	"joint_resistance": {is("joint_warm", "yes", 5), is("complaint", "wont_start", 5)},
	"supply_open": {is("fault_code", "blank_display", 10), below("heater_rest_voltage", 0.5, 9),
		is("fuse", "blown", 4)},
	"voltage_setting_wrong": {is("fault_code", "E-01", 10), is("display_nominal", "24", 9),
		still(above("panel_voltage", 11.5, 8))},
	"supply_overvoltage": {is("fault_code", "E-02", 9), above("panel_voltage", 15.5, 9)},
	"bms_cutoff":         {is("fault_code", "blank_display", 9)},

	"glow_plug_open":      {is("fault_code", "E-03", 6), is("glow_plug_look", "broken", 2)},
	"glow_plug_weak":      {above("glow_plug_resistance", 0.7, 6), is("glow_plug_look", "coked", 5)},
	"glow_screen_clogged": {is("screen_look", "coked", 8), is("fault_code", "E-10", 6)},
	"glow_wiring_fault": {is("fault_code", "E-03", 6), is("loom_wiggle", "changes", 6),
		is("plug_lead_volts", "missing", 6)},

	"tank_low":              {is("tank_level", "near_empty", 8), still(is("temporary_can", "cured", 8))},
	"line_not_primed":       {is("fault_code", "E-10", 3)},
	"soft_line_air":         {is("bubbles", "many", 3), is("bubbles_begin", "along_hose", 6)},
	"joint_air_leak":        {is("bubbles", "many", 6), is("bubbles_begin", "at_a_joint", 6)},
	"pump_angle_air":        {is("bubbles_begin", "behind_pump", 5)},
	"slosh_air":             {is("fails_when", "while_driving", 4), is("bubbles_begin", "at_tank", 6)},
	"line_kinked":           {is("line_kink", "yes", 6)},
	"fuel_filter_blocked":   {is("filter_look", "dirty", 5)},
	"pump_strainer_blocked": {is("pump_strainer_look", "dirty", 7), is("temporary_can", "not_cured", 2)},
	"fuel_waxed":            {is("fuel_look", "cloudy", 6)},
	"fuel_contaminated":     {is("fuel_look", "water_or_dirt", 2)},
	"tank_vent_blocked":     {is("complaint", "starts_then_stops", 5), still(is("cap_loosened", "cured", 8))},
	"fuel_valve_closed": {is("fuel_valve", "closed", 9), is("fault_code", "E-10", 7), is("fuel_at_burner", "none", 9),
		still(is("pump_ticks", "regular", 8)), still(is("smoke", "none", 9))},
	"line_teed":         {is("bubbles", "many", 3), still(is("temporary_can", "cured", 8))},
	"siphon_flooding":   {is("drips_at_rest", "yes", 6), is("smell_fuel", "yes", 3)},
	"suction_lift_high": {above("pump_lift", 2, 9), is("pump_place", "far_or_high", 9)},
	"fuel_leak":         {is("wet_joint", "yes", 7), is("smell_fuel", "yes", 8)},

	"pump_unplugged":   {is("fault_code", "E-04", 10), is("pump_connector", "loose", 7)},
	"pump_stuck":       {below("fuel_per_100_strokes", 0.3, 9), is("fault_code", "E-10", 5)},
	"pump_coil_failed": {is("fault_code", "E-04", 10)},
	"pump_reversed": {is("pump_arrow", "wrong", 9), is("fuel_at_burner", "none", 9),
		still(is("pump_ticks", "regular", 8))},
	"pump_worn":          {below("fuel_per_100_strokes", 2.1, 8)},
	"pump_setting_wrong": {is("pump_match", "differs", 5)},

	"burner_flooded":        {is("smoke", "white_thick", 3)},
	"intake_blocked":        {is("intake_path", "blocked", 7)},
	"exhaust_blocked":       {is("exhaust_path", "blocked", 4)},
	"water_in_exhaust":      {is("exhaust_path", "water", 6)},
	"ends_in_wind":          {is("wind_matters", "yes", 6)},
	"assembly_fault":        {is("gasket_look", "torn_or_missing", 5)},
	"burner_coked":          {is("burner_look", "coked", 8)},
	"nozzle_coked":          {is("fuel_inlet_look", "closed", 8), still(above("fuel_per_100_strokes", 2.4, 9))},
	"wave_in_exhaust":       {is("fails_when", "while_driving", 6)},
	"altitude_rich":         {is("smoke", "black", 2)},
	"exhaust_recirculation": {is("pipe_ends", "side_by_side", 9)},
	"exhaust_leak_inside":   {is("smell_exhaust_inside", "yes", 7), is("exhaust_smell_from", "around_heater", 8)},
	"exchanger_leak":        {is("smell_exhaust_inside", "yes", 6), is("exhaust_smell_from", "warm_air_outlet", 8)},
	"exhaust_reenters":      {is("smell_exhaust_inside", "yes", 6), is("exhaust_smell_from", "outside", 8)},
	"hot_contact":           {is("smell_burning", "yes", 9), is("hot_parts_look", "scorched", 7)},
	"outlet_blocked":        {is("outlet_path", "blocked", 8)},
	"duct_restrictive":      {is("outlet_flow", "weak", 3)},
	"inlet_clearance_low":   {below("inlet_clearance", 2, 9)},
	"compartment_hot":       {is("fault_code", "E-05", 3)},

	"fan_obstructed":     {is("fan_look", "object", 7)},
	"casing_rubs_fan":    {is("fan_by_hand", "rubs", 8), is("fan_noise", "scraping", 5)},
	"fan_magnet_fault":   {is("fan_magnets", "missing_or_loose", 8), is("fault_code", "E-06", 9)},
	"fan_position_wrong": {is("fault_code", "E-06", 5)},
	"fan_motor_failed":   {is("fault_code", "E-06", 4), is("motor_direct", "still", 3)},

	"controller_mismatch": {is("controller_match", "known_wrong", 9), is("fault_code", "E-07", 9)},
	"controller_failed": {is("complaint", "wont_start", 3), still(is("controller_swap", "cured", 8)),
		is("board_swap", "not_cured", 7)},
	"board_failed": {still(is("board_swap", "cured", 8)), is("controller_swap", "not_cured", 8)},
	"data_wire_fault": {is("signal_continuity", "broken", 6), is("fault_code", "E-07", 8),
		is("loom_wiggle", "changes", 6)},
	"overheat_sensor_failed":    {is("fault_code", "E-09", 2)},
	"overheat_sensor_displaced": {is("sensor_seated", "no", 8)},
	"flame_sensor_failed": {is("flame_sensor_look", "sooty_or_loose", 4), is("fault_code", "E-10", 9),
		still(is("exhaust_warms", "yes", 9))},
	"water_ingress":         {is("connectors", "damp_or_green", 7)},
	"remote_not_paired":     {is("complaint", "remote_only", 9), still(is("works_from_panel", "yes", 8))},
	"room_sensor_misplaced": {is("room_sensor_place", "poor", 7)},
	"settings_wrong":        {is("settings_look", "not_as_wanted", 7)},
	"locked_out": {is("fault_code", "other", 10), is("failed_starts", "three_or_more", 9),
		is("lock_sign", "yes", 4)},
	"no_fault": {still(is("fault_code", "none", 10)), is("known_good_battery", "not_cured", 9)},
}

// shown is in how many of ten heaters, of those whose owners can tell, an answer has the sign.
func shown(heaters []*simulation.Heater, s sign) (ten float64, known int) {
	seen := 0
	for _, h := range heaters {
		a := h.Observe(s.of)
		if a.Unknown {
			continue
		}
		known++
		if s.told(a) {
			seen++
		}
	}
	return 10 * float64(seen) / float64(max(1, known)), known
}

// lived are heaters in the plain installation whose owners have come to ask for help, each with faults of other
// severities.
func lived(t *testing.T, n int, faults ...string) []*simulation.Heater {
	t.Helper()
	in := plain()
	in.SeeThrough = true
	if slices.Contains(faults, "line_not_primed") { // a short line fills by itself in the second try
		in.LineLength, in.Power, in.Dose = 7, 2, 16
	}
	heaters := make([]*simulation.Heater, n)
	for seed := range heaters {
		h, err := simulation.NewIn(in, uint64(seed), faults...)
		require.NoError(t, err)
		h.Live()
		heaters[seed] = h
	}
	return heaters
}

func TestEachFaultShowsWhatAMechanicExpects(t *testing.T) {
	const n = 16
	sound := lived(t, n)
	for _, fault := range simulation.Faults() {
		require.Contains(t, signs, fault, "no sign is stated")
		heaters := lived(t, n, fault)
		for _, s := range signs[fault] {
			ten, known := shown(heaters, s)
			usual, told := shown(sound, s)
			assert.GreaterOrEqual(t, known, 3, "%s: hardly anybody can tell %s", fault, s.of)
			assert.GreaterOrEqual(t, ten, s.ten, "%s: %s", fault, s.what)
			if told > 0 && !s.sound {
				assert.LessOrEqual(t, usual, min(2, ten/2), "%s tells nothing: a sound heater has it as well", s.what)
			}
			if s.sound {
				assert.GreaterOrEqual(t, usual, 8.0, "%s: %s in a sound heater", fault, s.what)
			}
		}
	}
}
