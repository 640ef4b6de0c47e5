package physics_test

import (
	"testing"

	"lightoff/engine/physics"

	"github.com/stretchr/testify/assert"
)

// Facts of the trade: common practice, no source. They are bounds and orders, not digits.

// underVoltage is where panels of 12 V heaters give up: 10 to 10.8 V.
const underVoltage, surelyFine physics.Volt = 10, 10.8

func glowing(t *testing.T, rest physics.Volt, internal physics.Ohm, area physics.SquareMetre,
	length physics.Metre) physics.GlowVoltage {
	plug := good[physics.Plug](t)(physics.TypicalPlug(physics.MetalPlug, 12))
	cable := physics.Conductor{Construction: physics.Class5, Area: area}
	return good[physics.GlowVoltage](t)(physics.VoltageWhileGlowing(physics.Supply{OpenCircuit: rest, Internal: internal,
		Runs: physics.OutAndBack(cable, length), Temperature: 15, Plug: plug.Hot, Running: 1.5}))
}

// fair is a flooded battery of some years and three quarters charge on a cold morning.
func fair(t *testing.T) (physics.Volt, physics.Ohm) {
	b := physics.Battery{Chemistry: physics.Flooded, Nominal: 12, Capacity: 80 * physics.AmpereHour, Age: 4 * physics.Year,
		Temperature: 0}
	rest := good[physics.Volt](t)(physics.RestVoltage(b.Chemistry, 12, 0.75, b.Temperature))
	return rest, good[physics.Band[physics.Ohm]](t)(physics.InternalResistance(b, 0.75)).Value
}

// A thin, long feed from a fair battery comes near to the threshold or below it; with 6 mm² the same is well above.
func TestTradeThinFeedComesNearTheThreshold(t *testing.T) {
	rest, internal := fair(t)
	thin := glowing(t, rest, internal, 1.5*physics.SquareMillimetre, 6)
	assert.Less(t, thin.AtHeater, surelyFine)
	assert.Greater(t, thin.AtHeater, underVoltage-0.5)
	thick := glowing(t, rest, internal, 6*physics.SquareMillimetre, 6)
	assert.Greater(t, thick.AtHeater, surelyFine+0.5)
	assert.Greater(t, thin.AtBattery, physics.Volt(11.9)) // a meter on the battery sees nothing of it
}

// A worn battery reads well at rest and collapses under the start; a fair one of the same reading does not.
func TestTradeWornBatteryCollapses(t *testing.T) {
	const rest = 12.6
	s := good[physics.Band[physics.Share]](t)(physics.StateOfCharge(physics.Flooded, 12, rest, 20))
	assert.Greater(t, s.Value, physics.Share(0.9))
	_, internal := fair(t)
	assert.Greater(t, glowing(t, rest, internal, 6*physics.SquareMillimetre, 2).AtHeater, physics.Volt(12))
	worn := glowing(t, rest, 0.15, 6*physics.SquareMillimetre, 2)
	assert.Less(t, worn.AtBattery, surelyFine+0.2)
	assert.Less(t, worn.DropPositive+worn.DropNegative, physics.Volt(0.25)) // and the cables are not to blame
}

// A 12 V heater takes about 12 A more at the start; a 24 V one of the same power about half.
func TestTradeStartCurrent(t *testing.T) {
	for _, kind := range []physics.PlugKind{physics.MetalPlug, physics.CeramicPlug} {
		for nominal, amperes := range map[physics.Volt]float64{12: 12, 24: 6} {
			plug := good[physics.Plug](t)(physics.TypicalPlug(kind, nominal))
			s := physics.Supply{OpenCircuit: nominal * 1.04, Internal: 0.005,
				Runs: physics.OutAndBack(physics.Conductor{Area: 4 * physics.SquareMillimetre}, 2), Temperature: 20, Plug: plug.Hot,
				Running: 1}
			c := good[physics.StartCurve](t)(physics.CurveOfStart(s, plug, 60, 60))
			mean := 0.0
			for _, p := range c.Points {
				mean += float64(p.Current-s.Running) / float64(len(c.Points))
			}
			assert.InEpsilon(t, amperes, mean, 0.2, "%v %v V", kind, nominal)
			assert.Greater(t, c.Points[0].Current, c.Points[60].Current)
		}
	}
}

// A cold metal plug for 12 V measures half an ohm to an ohm, and more when it glows.
func TestTradePlugResistance(t *testing.T) {
	plug := good[physics.Plug](t)(physics.TypicalPlug(physics.MetalPlug, 12))
	assert.True(t, 0.5 <= plug.Cold && plug.Cold <= 1 && plug.Hot > plug.Cold)
	g := good[physics.Glow](t)(physics.GlowPower(12, plug.Hot))
	assert.True(t, 80 < g.Power && g.Power < 180)
}

// An extended feed wants 6 mm².
func TestTradeExtendedFeed(t *testing.T) {
	c := good[physics.Cable](t)(physics.SmallestCable(physics.Feed{Length: 6, Load: 13, Nominal: 12, Drop: 0.05,
		Construction: physics.Class5, Temperature: 30, Ambient: 25}))
	assert.InDelta(t, 6, float64(c.Area/physics.SquareMillimetre), 1e-9)
	assert.Equal(t, "volt drop", c.Because)
	assert.InDelta(t, 20, float64(c.Fuse), 0)
	// With 24 V the same power needs a quarter of the copper.
	half := good[physics.Cable](t)(physics.SmallestCable(physics.Feed{Length: 6, Load: 6.5, Nominal: 24, Drop: 0.05,
		Construction: physics.Class5, Temperature: 30, Ambient: 25}))
	assert.LessOrEqual(t, half.Area, 2.5*physics.SquareMillimetre)
}

// A short feed is decided by the fuse and the current, not by the drop.
func TestTradeShortFeed(t *testing.T) {
	c := good[physics.Cable](t)(physics.SmallestCable(physics.Feed{Length: 0.5, Load: 15, Nominal: 12, Drop: 0.1,
		Construction: physics.Class5, Temperature: 30, Ambient: 40}))
	assert.Equal(t, "ampacity below the fuse", c.Because)
	small := good[physics.Cable](t)(physics.SmallestCable(physics.Feed{Length: 0.5, Load: 1, Nominal: 12, Drop: 0.1,
		Construction: physics.Class5, Temperature: 30, Ambient: 20}))
	assert.Equal(t, "smallest size allowed", small.Because)
	assert.InDelta(t, 1, float64(small.Area/physics.SquareMillimetre), 1e-9)
}

// A pump delivers of the order of 20 µL a stroke, and ticks a few times a second for 2 kW.
func TestTradePumpDose(t *testing.T) {
	f := good[physics.Figure[physics.CubicMetrePerSecond]](t)(physics.FuelForHeat(2000, physics.WinterDiesel, 10, 0.8))
	ticks := float64(f.Value) / float64(20*physics.Microlitre)
	assert.True(t, 1 < ticks && ticks < 6, "%v", ticks)
	assert.InDelta(t, 0.25, float64(f.Value)/float64(physics.Litre)*3600, 0.03) // a quarter of a litre an hour
}

// A few metres of line of 2 mm take some hundred strokes; twice as many leave it standing in the chamber.
func TestTradePriming(t *testing.T) {
	l := physics.Line{Bore: 2 * physics.Millimetre, Length: 4, Dose: 22 * physics.Microlitre, Rate: 6}
	p := good[physics.Priming](t)(physics.Prime(l))
	assert.True(t, 300 < p.Strokes && p.Strokes < 1000)
	over := good[physics.Figure[physics.CubicMetre]](t)(physics.StandingFuel(l, 2*p.Strokes))
	assert.Greater(t, over.Value, 10*physics.Millilitre)
	wide := l
	wide.Bore = 5 * physics.Millimetre
	assert.Greater(t, good[physics.Priming](t)(physics.Prime(wide)).Strokes, 5*p.Strokes)
}

// Summer diesel in a hard frost waxes, winter diesel does not; kerosene hardly ever does.
func TestTradeWaxing(t *testing.T) {
	chance := func(g physics.Grade, ambient physics.Celsius) physics.Share {
		limit, _, err := g.PluggingPoint()
		assert.NoError(t, err)
		return good[physics.Figure[physics.Share]](t)(physics.WaxingChance(limit, ambient)).Value
	}
	assert.Greater(t, chance(physics.GradeB, -15), physics.Share(0.98))
	assert.Less(t, chance(physics.GradeF, -10), physics.Share(0.02))
	assert.Less(t, chance(physics.GradeKerosene, -25), physics.Share(0.01))
	for _, g := range physics.Grades() {
		assert.Less(t, chance(g, 15), physics.Share(0.01), g)
	}
}

// Above some 1,500 m the mixture grows rich: a seventh of the air is gone (ISO 2533: 1.0581 of 1.2250 kg/m³).
func TestTradeAltitude(t *testing.T) {
	m := good[physics.Mixture](t)(physics.MixtureAtAltitude(1500, 5, 1.3))
	assert.InDelta(t, 1.0581/1.2250, float64(m.AirShare), 0.01)
	high := good[physics.Mixture](t)(physics.MixtureAtAltitude(3000, 5, 1.3))
	assert.Less(t, high.AirRatio, 1.05)
}

// A long, tight duct of small bore leaves less than a short straight one; a night takes a small part of a leisure
// battery.
func TestTradeDuctAndNight(t *testing.T) {
	short := good[physics.DuctFlow](t)(physics.FlowThroughDuct(physics.Duct{Length: 1, Diameter: 0.075,
		Roughness: physics.RoughnessFlexible, End: physics.IntoRoom}, aBlower, warmedAir))
	long := good[physics.DuctFlow](t)(physics.FlowThroughDuct(physics.Duct{Length: 6, Diameter: 0.06,
		Roughness: physics.RoughnessSlack, Bends: 5, Bend: physics.BendSharp, End: 1.5}, aBlower, warmedAir))
	assert.Greater(t, short.Share, physics.Share(0.7))
	assert.Less(t, long.Share, physics.Share(0.6))
	for c, part := range map[physics.Chemistry]float64{physics.Flooded: 0.5, physics.AGM: 0.5, physics.Lithium: 0.8} {
		assert.InDelta(t, part, float64(good[physics.Share](t)(physics.UsableShare(c))), 0)
	}
	n := good[physics.NightEnergy](t)(physics.EnergyOfNight(aNight))
	assert.True(t, n.Enough && n.Left > 0.7)
}

// The rule for alarms says nothing about people, and ascends.
func TestAlarmRulesAscend(t *testing.T) {
	rules := physics.AlarmRules()
	for i, r := range rules[1:] {
		assert.Greater(t, r.PartsPerMillion, rules[i].PartsPerMillion)
		assert.Less(t, r.NotBefore, rules[i].NotBefore)
		assert.True(t, r.MustSound && r.NotBefore < r.By)
	}
	rules[0].PartsPerMillion = 1
	assert.Equal(t, 30, physics.AlarmRules()[0].PartsPerMillion) // EN 50291-1; the caller's copy is the caller's
}
