package simulation_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"lightoff/engine/physics"
	"lightoff/engine/simulation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// published are the rows of a shared table whose item begins so, by condition: a value each (testdata/README.md).
func published(t *testing.T, table, item string) map[string]float64 {
	t.Helper()
	f, err := os.Open("../../testdata/tables/" + table)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	out := map[string]float64{}
	for _, row := range rows {
		if !strings.HasPrefix(row[0], item) {
			continue
		}
		v, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err, row)
		out[row[1]] = v
	}
	require.NotEmpty(t, out, item)
	return out
}

// A rested battery shows its charge: testdata/tables/batteries.csv, rest voltage of flooded and AGM batteries. The
// meter errs by 0.4 % and 20 mV; the chart is read at 10 °C.
func TestRestVoltageTellsTheCharge(t *testing.T) {
	for item, kind := range map[string]physics.Chemistry{"flooded 12 V lead-acid, rest voltage": physics.Flooded,
		"AGM 12 V rest voltage": physics.AGM} {
		for condition, want := range published(t, "batteries.csv", item) {
			percent, err := strconv.ParseFloat(strings.Fields(condition)[1], 64)
			require.NoError(t, err)
			h := heater(t, func(in *simulation.Installation) { in.Chemistry, in.Charge = kind, percent/100 })
			a := h.Observe("rest_voltage")
			require.True(t, a.IsNumber)
			assert.InDelta(t, want, a.Number, 0.2, "%s at %v %%", item, percent)
			twice := heater(t, func(in *simulation.Installation) { in.Chemistry, in.Charge, in.Nominal = kind, percent/100, 24 })
			assert.InDelta(t, 2*want, twice.Observe("rest_voltage").Number, 0.4)
		}
	}
}

// A resting sensor has the resistance of its curve: testdata/tables/sensors.csv, IEC 60539 B-parameter equation with
// 3950 K and IEC 60751. The meter errs by 2 %.
func TestSensorResistance(t *testing.T) {
	for kind, item := range map[physics.Sensor]string{physics.NTC10k: "NTC by B equation, R25=10k, B=3950",
		physics.NTC50k: "NTC by B equation, R25=50k, B=3950", physics.NTC100k: "NTC by B equation, R25=100k, B=3950",
		physics.Pt1000: "Pt100 resistance"} {
		for condition, want := range published(t, "sensors.csv", item) {
			celsius, err := strconv.ParseFloat(strings.Fields(condition)[0], 64)
			require.NoError(t, err)
			if celsius < -20 || celsius > 30 { // no room that a heater rests in
				continue
			}
			if kind == physics.Pt1000 {
				want *= 10
			}
			h := heater(t, func(in *simulation.Installation) { in.Sensor, in.Ambient = kind, celsius })
			assert.InEpsilon(t, want, h.Observe("sensor_resistance").Number, 0.08, "%s at %v °C", item, celsius)
		}
	}
}

// A kilogram of fuel gives its net calorific value: testdata/tables/fuels.csv, UK DESNZ 2025, for diesel, gas oil and
// burning oil.
func TestHeatOfFuels(t *testing.T) {
	for fuel, item := range map[string]string{"winter_diesel": "100 % mineral diesel: net calorific value",
		"heating_oil": "gas oil (red): net calorific value",
		"kerosene":    "burning oil (kerosene): net calorific value"} {
		want := published(t, "fuels.csv", item)[""] * 1e6
		h := heater(t, func(in *simulation.Installation) { in.Fuel = fuel })
		run(h)
		l := h.Ledger()
		require.Positive(t, l.Burnt, fuel)
		assert.InEpsilon(t, want, l.Chemical/l.Burnt, 0.01, fuel)
	}
}

// Water does not burn: fuel that is part water gives so much less heat.
func TestWaterTakesTheHeat(t *testing.T) {
	for seed := range uint64(40) {
		h, err := simulation.NewIn(plain(), seed, "fuel_contaminated")
		require.NoError(t, err)
		h.Run(simulation.Attempt{Seconds: 300})
		if l := h.Ledger(); l.Burnt > 0 {
			assert.LessOrEqual(t, l.Chemical/l.Burnt, 43.03e6)
		}
	}
}

// A stroke of 28 µL of diesel of 835 kg/m³ is 23.4 mg. What a 5 kW heater burns at full heat and 80 % is
// 5 kW / (0.8 · 43 MJ/kg) = 0.145 g/s, 0.63 litres an hour (conservation of energy), so 6.2 strokes a second. Pumps
// differ by some 5 % and fuel's density by 2 %, which the heater does not know of.
func TestFuelAnHour(t *testing.T) {
	h := heater(t, func(in *simulation.Installation) { in.Ambient = -5 })
	h.Run(simulation.Attempt{Seconds: 900})
	early := h.Ledger().Drawn
	long := heater(t, func(in *simulation.Installation) { in.Ambient = -5 })
	long.Run(simulation.Attempt{Seconds: 1500})
	rate := (long.Ledger().Drawn - early) / 600
	want := 5000 / (0.8 * 43e6)
	assert.InEpsilon(t, want, rate, 0.05+0.02)
	assert.InEpsilon(t, want, rate*28/h.Dose(), 0.02, "but for its own pump's dose")
	assert.InDelta(t, 0.63, rate*3600/0.845, 0.05, "litres an hour")
}

// Air for a kilogram of diesel: 14.5 kg (Heywood, Internal Combustion Engine Fundamentals, appendix D, from memory).
// The heater is set for an air ratio of 1.8 at the sea, as pot burners are (common practice, no source): leaner it
// loses heat, richer it soots.
func TestAirRatio(t *testing.T) {
	air, err := physics.AirForFuel(1.8)
	require.NoError(t, err)
	assert.InDelta(t, 14.5, air, 0.1)
	rec := run(heater(t, nil))
	assert.InDelta(t, 1.8, rec.LeastLambda, 0.25)
	assert.Zero(t, rec.Black)
	for fault, sooty := range map[string]bool{"intake_blocked": true, "exhaust_blocked": true, "duct_restrictive": false} {
		least := math.Inf(1)
		for seed := range uint64(6) {
			h, err := simulation.NewIn(plain(), seed, fault)
			require.NoError(t, err)
			if got := h.Run(simulation.Attempt{Seconds: 500}); got.LeastLambda > 0 {
				least = min(least, got.LeastLambda)
			}
		}
		if sooty {
			assert.Less(t, least, 1.3, "%s takes the flame's air", fault)
		} else {
			assert.Greater(t, least, 1.3, "%s takes the room's air, not the flame's", fault)
		}
	}
}

// Ohm's law along the way to the heater: the battery's terminals less the current through both cables and joints.
func TestVoltageAlongTheFeed(t *testing.T) {
	for seed := range uint64(8) {
		h, err := simulation.NewIn(plain(), seed, "joint_resistance")
		require.NoError(t, err)
		rec := h.Live()
		if rec.GlowVolts == 0 {
			continue
		}
		lost := rec.GlowBattery - rec.GlowVolts
		plus, minus := h.Observe("drop_positive"), h.Observe("drop_negative")
		if plus.IsNumber && minus.IsNumber {
			assert.InDelta(t, lost, plus.Number+minus.Number, 0.06+0.03*lost, "seed %d", seed)
		}
	}
}

// Joule: a plug of 24 V takes as many watts as one of 12 V, with half the current and four times the resistance.
func TestTwentyFourVolts(t *testing.T) {
	twelve := heater(t, nil)
	twentyfour := heater(t, func(in *simulation.Installation) { in.Nominal = 24 })
	_, watts, ohms := twelve.GlowFor(60)
	_, same, more := twentyfour.GlowFor(60)
	assert.InEpsilon(t, watts, same, 0.1)
	assert.InEpsilon(t, 4*ohms, more, 0.1)
	assert.InEpsilon(t, run(heater(t, nil)).GlowAmps/2,
		run(heater(t, func(in *simulation.Installation) { in.Nominal = 24 })).GlowAmps, 0.15)
}

// A plug only warms, and a ceramic one glows long before a metal one. A lag of first order is through nine tenths of
// its rise after ln 10 = 2.3 time constants; a plug that is fed by a voltage is there sooner, since it takes more while
// it is cold and loses less, but never before half of one.
func TestPlugsWarmWithinTheirLag(t *testing.T) {
	nine := map[physics.PlugKind]float64{} // seconds to nine tenths of the rise
	for _, kind := range []physics.PlugKind{physics.CeramicPlug, physics.MetalPlug} {
		h := heater(t, func(in *simulation.Installation) { in.Plug = kind })
		var kelvins []float64
		for range 120 {
			k, _, _ := h.GlowFor(1)
			kelvins = append(kelvins, k)
		}
		for i := range kelvins[1:] {
			require.Greater(t, kelvins[i+1], kelvins[i]-0.5)
		}
		rise := kelvins[119] - 283.15
		for kelvins[int(nine[kind])]-283.15 < 0.9*rise {
			nine[kind]++
		}
		assert.InDelta(t, kelvins[100], kelvins[119], 5)
	}
	for kind, got := range nine {
		typical, err := physics.TypicalPlug(kind, 12)
		require.NoError(t, err)
		lag := float64(typical.TimeConstant)
		assert.True(t, got > 0.5*lag && got < math.Log(10)*lag, "%v s with a time constant of %v s", got, lag)
	}
	assert.Less(t, nine[physics.CeramicPlug], nine[physics.MetalPlug])
}

// Cold air is denser, as 1/T (ideal gas), and so is cold fuel, by 0.7 kg/m³ a kelvin (testdata/tables/fuels.csv): the
// fan and the pump move volumes, so the air ratio follows both.
func TestColdMakesLean(t *testing.T) {
	cool := run(heater(t, func(in *simulation.Installation) { in.Ambient = 15 }))
	frost := run(heater(t, func(in *simulation.Installation) { in.Ambient = -15 }))
	assert.InEpsilon(t, 288.15/258.15*835/(835+30*0.7), frost.LeastLambda/cool.LeastLambda, 0.015)
}
