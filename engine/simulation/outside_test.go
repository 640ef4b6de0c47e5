package simulation_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"lightoff/engine/physics"
	"lightoff/engine/simulation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plain is a plain installation: 12 V, level, cool, at the sea.
func plain() simulation.Installation {
	in := simulation.Draw(rand.New(rand.NewPCG(1, 1)))
	in.Nominal, in.Ambient, in.Altitude, in.Charging, in.Chemistry, in.Charge = 12, 10, 0, "none", physics.AGM, 0.9
	in.BatteryAge, in.BatteryCapacity, in.Hours, in.Remote, in.Fuel = 2, 95, 100, false, "winter_diesel"
	in.Soft, in.Bore, in.LineLength, in.PumpAngle, in.Lift, in.Pickup = false, 2, 3, 60, 0.2, "own_tank"
	in.CableArea, in.CableLength, in.Plug = 4, 2, physics.CeramicPlug
	in.DuctLength, in.DuctDiameter, in.DuctBends = 1, 90, 1
	in.Power, in.Dose = 5, 28
	return in
}

func heater(t *testing.T, change func(in *simulation.Installation), faults ...string) *simulation.Heater {
	t.Helper()
	in := plain()
	if change != nil {
		change(&in)
	}
	h, err := simulation.NewIn(in, 7, faults...)
	require.NoError(t, err)
	return h
}

func run(h *simulation.Heater) simulation.Record { return h.Run(simulation.Attempt{Seconds: 900}) }

// Under load a battery's terminals lie below its rest voltage by its resistance times the current (Ohm's law): right
// away by the internal one, and never by more than that and its slow part, which is as large again.
func TestBatterySags(t *testing.T) {
	h := heater(t, nil)
	rec := run(h)
	rest, r := h.RestVolts(), h.Internal()
	sag := rest - rec.GlowBattery
	assert.Greater(t, sag, rec.GlowAmps*r)
	assert.Less(t, sag, 2.05*rec.GlowAmps*r)
	worn := run(heater(t, nil, "battery_worn"))
	assert.Less(t, worn.GlowBattery, rec.GlowBattery-0.5, "a worn battery collapses under the start's load")
}

// IEC 60228 table 3, flexible copper at 20 °C: 2.5 mm² 7.98 Ω/km, 4 mm² 4.95 Ω/km; copper changes by 0.393 % a
// kelvin.
func TestCableDrop(t *testing.T) {
	for area, perKilometre := range map[float64]float64{2.5: 7.98, 4: 4.95} {
		h := heater(t, func(in *simulation.Installation) { in.CableArea, in.CableLength = area, 3 })
		rec := h.Live()
		want := rec.GlowAmps * (3*perKilometre/1000*(1+0.00393*(10-20)) + h.Joint())
		got := h.Observe("drop_positive")
		require.True(t, got.IsNumber)
		assert.InDelta(t, want, got.Number, 0.04, "%v mm²: 1 %% and 10 mV of a meter, thrice", area)
	}
}

// A glowing wire gives off what it takes in (conservation of energy), partly as radiation with the fourth power of its
// temperature (Stefan and Boltzmann); its power is U²/R (Joule); it warms by the lag that its maker's time constant
// says.
func TestPlugHeats(t *testing.T) {
	h := heater(t, nil)
	early, _, cold := h.GlowFor(0.25)
	late, watts, hot := h.GlowFor(60)
	assert.Greater(t, hot, 1.5*cold, "a ceramic element's resistance rises as it warms")
	assert.Greater(t, late, early)
	conducted, radiated := h.PlugLosses(late)
	assert.InEpsilon(t, watts, conducted+radiated, 0.01, "at rest, what goes in goes out")
	assert.InDelta(t, 1250, late, 120, "glows bright: some 1000 °C, common practice, no source")
	weak := heater(t, func(in *simulation.Installation) { in.CableArea, in.CableLength = 1, 8 })
	starved, less, _ := weak.GlowFor(61)
	assert.Less(t, less, 0.85*watts)
	assert.Less(t, starved, late-60, "less power, less heat")
}

// ISO 2533: 74,682 Pa at 2,500 m and 101,325 Pa at the sea. The same fan moves the same volume and so, at the same
// temperature, 0.737 of the air's mass.
func TestMixtureAtAltitude(t *testing.T) {
	low := run(heater(t, nil))
	high := run(heater(t, func(in *simulation.Installation) { in.Altitude = 2500 }))
	require.Positive(t, high.LeastLambda)
	assert.InEpsilon(t, 74682.0/101325, high.LeastLambda/low.LeastLambda, 0.02)
}

// A round line of 2 mm and 4 m holds π/4 d² l = 12.57 mL (geometry); at 28 µL a stroke that is 449 strokes until
// fuel comes out of an empty one.
func TestLineVolume(t *testing.T) {
	h := heater(t, func(in *simulation.Installation) { in.LineLength = 4 })
	h.EmptyLine()
	strokes := 0
	for h.Pump(1) == 0 {
		strokes++
		require.Less(t, strokes, 2000)
	}
	want := math.Pi / 4 * 2 * 2 * 4000 / h.Dose()
	assert.InEpsilon(t, want, float64(strokes), 0.02)
}

// The heat of the fuel that was burnt, by its lower heating value (UK DESNZ 2025: 43.0 MJ/kg), and the plug's, leave as
// warm air, exhaust and casing heat or are still in the metal; some eight tenths reach the air (common practice, no
// source).
func TestEnergyBalanceOfTheBurner(t *testing.T) {
	for _, power := range []float64{2, 5, 8} {
		h := heater(t, func(in *simulation.Installation) {
			in.Power, in.Dose = power, map[float64]float64{2: 16, 5: 28, 8: 50}[power]
			in.Ambient = -5
		})
		rec := run(h)
		l := h.Ledger()
		require.Equal(t, "none", rec.Code)
		assert.InEpsilon(t, 43.027e6, l.Chemical/l.Burnt, 1e-6)
		gone := l.Warm + l.Exhaust + l.Case + h.Stored()
		assert.InEpsilon(t, l.Chemical+l.Electric, gone, 0.01)
		assert.InDelta(t, 0.78, l.Warm/l.Chemical, 0.07)
		assert.InEpsilon(t, power*1000, rec.Heat, 0.15, "gives about what it is sold for")
	}
}

// Facts of the trade, common practice, no source.
func TestFactsOfTheTrade(t *testing.T) {
	rec := run(heater(t, nil))
	assert.InDelta(t, 200, rec.Ready, 100, "a start takes a few minutes from cold")
	assert.Less(t, rec.Glow, 115.0, "the plug glows well under two minutes")
	assert.Greater(t, rec.After, 90.0, "the fan runs on after shutting down")
	assert.InDelta(t, 10, rec.GlowAmps, 4, "a 12 V heater draws some ten amperes while it glows")
	assert.InDelta(t, 95, rec.Outlet, 35, "warm air is hot to the hand, far from burning")

	dry := run(heater(t, nil, "fuel_valve_closed"))
	assert.Equal(t, "E-10", dry.Code)
	assert.Equal(t, 2, dry.Tries, "two tries before the start-failure code")
	assert.Greater(t, dry.Ended/60, 4.0)
	cut := run(heater(t, nil, "cooldown_cut"))
	assert.Greater(t, cut.MostShell, rec.MostShell+10, "heat soaks the exchanger when power goes while hot")
}
