package heater_test

import (
	"testing"

	"lightoff/engine/knowledge"

	"github.com/stretchr/testify/require"
)

func causeAfter(t *testing.T, cause string, findings ...knowledge.Finding) float64 {
	m := load(t)
	in := m.NewInquiry()
	in.Enter(findings)
	for i, c := range m.Causes {
		if c.ID == cause {
			p, err := in.Cause(i)
			require.NoError(t, err)
			return p
		}
	}
	t.Fatalf("no cause %s", cause)
	return 0
}

// What was told of a cable shifts the cause as far as it matters: a long thin one much, a short thick one a little the
// other way, a rough word less than a figure, and silence not at all (6 mm² for an extended feed: common practice, no
// source; the resistances are those of IEC 60228).
func TestCableShiftsItsCauseAsFarAsItMatters(t *testing.T) {
	silent := causeAfter(t, "feed_undersized")
	require.InDelta(t, 0.060, silent, 1e-6, "the catalogue's figure")
	longThin := causeAfter(t, "feed_undersized", measured("cable_area", 1.5), measured("cable_length", 6))
	require.Greater(t, longThin, 4*silent)
	require.Greater(t, longThin, causeAfter(t, "feed_undersized", measured("cable_area", 1.5)))
	renewed := causeAfter(t, "feed_undersized", measured("cable_area", 6), measured("cable_length", 6))
	require.Less(t, renewed, silent/2)
	rough := causeAfter(t, "feed_undersized", stated("cable_area", "thick"), measured("cable_length", 2))
	require.Less(t, rough, silent)
	require.Greater(t, rough, 0.001)
	thin := causeAfter(t, "feed_undersized", stated("cable_area", "thin"), measured("cable_length", 6))
	require.Greater(t, thin, silent)
	on24 := causeAfter(t, "feed_undersized", measured("cable_area", 1.5), measured("cable_length", 6),
		stated("nominal_voltage", "24"))
	require.Less(t, on24, longThin/2, "half the current at twice the voltage")
}

// The fuel's cold filter plugging point against the cold (EN 590 tables 2 and 3 by way of engine/physics).
func TestColdShiftsWaxing(t *testing.T) {
	cold := func(kind string, celsius float64) float64 {
		return causeAfter(t, "fuel_waxed", stated("fuel_kind", kind), measured("ambient_temperature", celsius))
	}
	require.Greater(t, cold("summer_diesel", -15), 10*cold("winter_diesel", -5))
	require.Greater(t, cold("winter_diesel", -25), 10*cold("winter_diesel", -5))
	require.Less(t, cold("winter_diesel", 10), 0.002)
	require.Less(t, cold("kerosene", -20), 0.005)
}

// Altitude thins the air by the standard atmosphere (ISO 2533): at 2,500 m some three quarters of it are left.
func TestAltitudeShiftsMixture(t *testing.T) {
	at := func(metres float64) float64 { return causeAfter(t, "altitude_rich", measured("altitude", metres)) }
	require.Less(t, at(200), 0.006)
	require.Greater(t, at(2500), 0.05)
	require.Greater(t, at(1800), at(1000))
}

func TestDuctShiftsItsCause(t *testing.T) {
	duct := func(length, bends, diameter float64) float64 {
		return causeAfter(t, "duct_restrictive", measured("duct_length", length), measured("duct_bends", bends),
			measured("duct_diameter", diameter))
	}
	require.Less(t, duct(1, 1, 75), 0.015)
	require.Greater(t, duct(8, 5, 55), 0.05)
	require.Greater(t, duct(5, 4, 60), duct(5, 4, 75))
}

// The same voltage at rest is a full battery of one chemistry and an empty one of another (published charts of rest
// voltage by charge, as engine/physics names them).
func TestRestVoltageDependsOnChemistry(t *testing.T) {
	low := func(kind string, volts float64) float64 {
		return causeAfter(t, "battery_low", stated("fault_code", "E-01"), stated("battery_chemistry", kind),
			measured("rest_voltage", volts))
	}
	require.Greater(t, low("lithium", 12.3), 0.6)
	require.Less(t, low("flooded", 12.6), 0.2)
	require.Less(t, low("lithium", 13.2), 0.2)
	require.Greater(t, low("agm", 12.0), 0.6)
	charging := causeAfter(t, "battery_low", stated("fault_code", "E-01"), stated("battery_chemistry", "flooded"),
		measured("rest_voltage", 12.8), stated("charging_now", "engine"))
	require.Greater(t, charging, low("flooded", 12.8), "while charging, a good reading says less")
}

// A reading between two states shares itself out smoothly: no step from one tenth of a volt to the next.
func TestReadingsShareThemselvesOut(t *testing.T) {
	last := -1.0
	for v := 9.5; v <= 12.6; v += 0.1 {
		p := causeAfter(t, "battery_worn", stated("fault_code", "E-01"), measured("rest_voltage", 12.7),
			measured("glow_voltage_battery", v))
		if last >= 0 {
			require.InDelta(t, last, p, 0.2, "%.1f V", v)
		}
		last = p
	}
}

// A meter on the wrong range or with a flat battery of its own must not turn the ranking over.
func TestDoubtfulReadingsAreNamed(t *testing.T) {
	m := load(t)
	in := m.NewInquiry()
	told := []knowledge.Finding{stated("fault_code", "E-08"), stated("bubbles", "many")}
	in.Enter(told)
	before, err := in.Causes(nil)
	require.NoError(t, err)
	in.Enter(append(told, measured("rest_voltage", 48)))
	require.Equal(t, knowledge.UnusedDoubtful, in.Unused()["rest_voltage"])
	after, err := in.Causes(nil)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

// A pump that never got its turn does not tick: said with a code from before the fuel phase it tells nothing.
func TestRemarksOnPartsThatHadNoTurn(t *testing.T) {
	m := load(t)
	in := m.NewInquiry()
	in.Enter([]knowledge.Finding{stated("fault_code", "E-01"), stated("pump_ticks", "none")})
	require.Equal(t, knowledge.UnusedVoid, in.Unused()["pump_ticks"])
	in.Enter([]knowledge.Finding{stated("code_table", "blinks"), stated("fault_code", "1"), stated("pump_ticks", "none")})
	require.Equal(t, knowledge.UnusedVoid, in.Unused()["pump_ticks"])
	sure := causeAfter(t, "pump_stuck", stated("fault_code", "E-10"), stated("pump_ticks", "none"))
	unsure := causeAfter(t, "pump_stuck", stated("complaint", "wont_start"), stated("pump_ticks", "none"))
	require.Greater(t, sure, 2*unsure)
	require.Greater(t, unsure, causeAfter(t, "pump_stuck", stated("complaint", "wont_start")))
}

func TestModelPassesItsLint(t *testing.T) {
	problems, err := load(t).Lint()
	require.NoError(t, err)
	require.Empty(t, problems)
}
