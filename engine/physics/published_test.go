package physics_test

import (
	"math"
	"testing"

	"lightoff/engine/physics"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// good passes on a result that must not fail.
func good[R any](t *testing.T) func(R, error) R {
	return func(r R, err error) R {
		t.Helper()
		require.NoError(t, err)
		return r
	}
}

// OpenStax, College Physics, section 21.2, the example of terminal voltage and load: 12.0 V and 0.100 Ω.
func TestPublishedTerminalVoltage(t *testing.T) {
	tests := []struct {
		internal, load            float64
		current, terminal, watts  float64
		currentD, voltsD, wattsDD float64 // half a unit of the last digit printed
	}{
		{0.1, 10, 1.188, 11.9, 0, 5e-4, 0.05, 1e9}, // (a), its power is not asked for
		{0.1, 0.5, 20, 10, 200, 0.05, 0.05, 0.5},   // (b), (c)
		{0.5, 0.5, 12, 6, 72, 0.05, 5e-3, 0.05},    // (d)
	}
	for _, tt := range tests {
		g := good[physics.GlowVoltage](t)(physics.VoltageWhileGlowing(physics.Supply{OpenCircuit: 12,
			Internal: physics.Ohm(tt.internal), Plug: physics.Ohm(tt.load)}))
		assert.InDelta(t, tt.current, float64(g.Current), tt.currentD)
		assert.InDelta(t, tt.terminal, float64(g.AtBattery), tt.voltsD)
		assert.InDelta(t, tt.watts, float64(g.PlugPower), tt.wattsDD)
	}
}

// IEC 60228 ed. 3, tables 2 and 3, and copper of IEC 60028; the 75 °C row is NEC chapter 9, table 8, 12 AWG solid.
func TestPublishedConductors(t *testing.T) {
	tests := []struct {
		construction physics.Construction
		area         physics.SquareMetre
		at           physics.Celsius
		want, slack  float64 // Ω/km
	}{
		{physics.Class5, 1.5e-6, 20, 13.3, 1e-9},
		{physics.Class5, 6e-6, 20, 3.30, 1e-9},
		{physics.Class5Tinned, 2.5e-6, 20, 8.21, 1e-9},
		{physics.Class2, 10e-6, 20, 1.83, 1e-9},
		{physics.Class2Tinned, 50e-6, 20, 0.391, 1e-9},
		{physics.Solid, 1e-6, 20, 17.241, 5e-4},
		{physics.Solid, 3.3088e-6, 75, 1.93 / 0.3048, 0.005 / 0.3048},
	}
	for _, tt := range tests {
		r := good[physics.OhmPerMetre](t)(physics.ResistancePerMetre(physics.Conductor{Construction: tt.construction,
			Area: tt.area}, tt.at))
		assert.InDelta(t, tt.want, 1000*float64(r), tt.slack, "%v %v", tt.construction, tt.area)
	}
}

// BS 7671, table 4B1, factors of ambient for 70 °C insulation, from memory; and table 4D1A, two cables clipped direct,
// from memory: another standard's idea of what a cable carries.
func TestPublishedAmpacity(t *testing.T) {
	full := good[physics.Figure[physics.Ampere]](t)(physics.Ampacity(6*physics.SquareMillimetre, 30)).Value
	for ambient, factor := range map[physics.Celsius]float64{30: 1, 35: 0.94, 40: 0.87, 45: 0.79, 50: 0.71, 55: 0.61,
		60: 0.50} {
		hot := good[physics.Figure[physics.Ampere]](t)(physics.Ampacity(6*physics.SquareMillimetre, ambient)).Value
		assert.InDelta(t, factor, float64(hot/full), 0.0051, "%v °C", ambient)
	}
	for area, amperes := range map[physics.SquareMetre]float64{1.5: 20, 2.5: 27, 4: 37, 6: 47, 10: 65, 16: 87, 25: 114} {
		got := good[physics.Figure[physics.Ampere]](t)(physics.Ampacity(area*physics.SquareMillimetre, 30)).Value
		assert.InEpsilon(t, amperes, float64(got), 0.11, "%v mm²", area)
	}
}

// Battery-industry table at 26.7 °C, and the load-test rule; US Army TM 5-4210-230-14&P-1 for freezing.
func TestPublishedBatteries(t *testing.T) {
	for charge, volts := range map[physics.Share]float64{1: 12.65, 0.75: 12.45, 0.5: 12.24, 0.25: 12.06, 0: 11.89} {
		s := good[physics.Band[physics.Share]](t)(physics.StateOfCharge(physics.Flooded, 12, physics.Volt(volts), 26.7))
		assert.InDelta(t, float64(charge), float64(s.Value), 1e-9)
	}
	// Rule of thumb: a tenth of the charge is 80 mV, and a meter's percent is a seventh of it (the same mailing list).
	s := good[physics.Band[physics.Share]](t)(physics.StateOfCharge(physics.Flooded, 12, 12.3, 26.7))
	assert.True(t, s.Low < 0.625+0.01 && s.High > 0.5)
	assert.InDelta(t, 9.6, float64(good[physics.Figure[physics.Volt]](t)(physics.LoadTestLimit(25)).Value), 1e-9)
	assert.InDelta(t, 400, float64(good[physics.Figure[physics.Ampere]](t)(physics.LoadTestCurrent(800)).Value), 1e-9)
	assert.InDelta(t, 8.5, float64(good[physics.Figure[physics.Volt]](t)(physics.LoadTestLimit(-18)).Value), 1e-9)
	assert.InDelta(t, -9.4, float64(good[physics.Celsius](t)(physics.FreezingPoint(0))), 1e-9)
}

// Lithium says little: published charts put 13.2 V at 40 % and at 70 %.
func TestPublishedLithiumChartsDisagree(t *testing.T) {
	s := good[physics.Band[physics.Share]](t)(physics.StateOfCharge(physics.Lithium, 12, 13.2, 20))
	assert.InDelta(t, 0.4, float64(s.Low), 1e-9)
	assert.InDelta(t, 0.7, float64(s.High), 1e-9)
}

// OpenStax, College Physics, example 12.8: a needle of 0.150 mm radius and 25.0 mm length, 0.120 cm³/s, 1.00 mPa s,
// against a vein of 1066 Pa. Printed 1.62e4 Pa.
func TestPublishedLaminarFlow(t *testing.T) {
	still := good[physics.PressureLoss](t)(physics.PressureLossOf(physics.Pipe{Length: 1, Diameter: 1e-3},
		physics.Fluid{Density: 1000, Viscosity: 1e-3}, 0))
	assert.Zero(t, still.Total)
	requireHonest(t, still.Working)
	l := good[physics.PressureLoss](t)(physics.PressureLossOf(physics.Pipe{Length: 0.025, Diameter: 0.3e-3},
		physics.Fluid{Density: 1000, Viscosity: 1e-3}, 0.12e-6))
	assert.InDelta(t, 1.62e4, float64(l.Total)+1066, 50)
	assert.InDelta(t, 509, l.Reynolds, 1)
	// Example 12.7 and section 12.4: half the flow is a radius of 0.84, a radius of 0.95 is 0.81 of the flow.
	loss := func(radius, flow float64) float64 {
		return float64(good[physics.PressureLoss](t)(physics.PressureLossOf(physics.Pipe{Length: 1,
			Diameter: physics.Metre(2 * radius)}, physics.Fluid{Density: 1000, Viscosity: 1e-3},
			physics.CubicMetrePerSecond(flow))).Total)
	}
	assert.InEpsilon(t, loss(1e-3, 1e-7), loss(0.841e-3, 0.5e-7), 2e-3)
	assert.InEpsilon(t, loss(1e-3, 1e-7), loss(0.95e-3, 0.8145e-7), 1e-3)
}

// Moody's chart as White, Fluid Mechanics, prints it, from memory; the first is a test value of the fluids library.
func TestPublishedFriction(t *testing.T) {
	tests := []struct{ reynolds, roughness, want, slack float64 }{
		{1e5, 1e-4, 0.018513866077471, 1e-14},
		{1e5, 0, 0.0180, 1e-4},
		{1e6, 0.01, 0.0380, 2e-4},
		{1e7, 0.001, 0.0197, 2e-4},
		{2000, 0.01, 0.032, 1e-12},
	}
	for _, tt := range tests {
		assert.InDelta(t, tt.want, good[float64](t)(physics.FrictionFactor(tt.reynolds, tt.roughness)), tt.slack,
			"Re %v, ε/D %v", tt.reynolds, tt.roughness)
	}
}

// ISO 2533:1975 at 1000, 2000 and 3000 geopotential metres; the pressure of 11 km, 226.32 hPa, is beyond the range
// here.
func TestPublishedAtmosphere(t *testing.T) {
	tests := []struct{ h, kelvin, hPa, density float64 }{
		{0, 288.15, 1013.25, 1.2250}, {1000, 281.65, 898.75, 1.1116}, {2000, 275.15, 794.95, 1.0065},
		{3000, 268.65, 701.09, 0.9091}, {5000, 255.65, 540.20, 0.7361},
	}
	for _, tt := range tests {
		a := good[physics.Atmosphere](t)(physics.StandardAtmosphere(geometric(tt.h)))
		assert.InDelta(t, tt.kelvin, float64(a.Temperature)+273.15, 5e-3)
		assert.InDelta(t, tt.hPa, float64(a.Pressure)/100, 6e-3)
		assert.InDelta(t, tt.density, float64(a.Density), 6e-5)
	}
}

// White, Fluid Mechanics, table A.2, air at 1 atm, from memory: 0, 20 and 100 °C.
func TestPublishedAir(t *testing.T) {
	tests := []struct {
		at                 physics.Celsius
		density, viscosity float64
	}{{0, 1.29, 1.71e-5}, {20, 1.20, 1.80e-5}, {100, 0.946, 2.17e-5}}
	for _, tt := range tests {
		assert.InEpsilon(t, tt.density, float64(good[physics.KilogramPerCubicMetre](t)(physics.AirDensity(101325, tt.at))),
			5e-3)
		assert.InEpsilon(t, tt.viscosity, float64(good[physics.PascalSecond](t)(physics.AirViscosity(tt.at))), 1e-2)
	}
}

// IEC 60751:2008, table of Pt100: -40 to 200 °C found, the ends from memory.
func TestPublishedPlatinum(t *testing.T) {
	for at, ohms := range map[physics.Celsius]float64{-200: 18.52, -100: 60.26, -40: 84.27, 0: 100, 50: 119.40,
		100: 138.51, 200: 175.86, 850: 390.48} {
		assert.InDelta(t, ohms, float64(good[physics.Ohm](t)(physics.PlatinumResistance(100, at))), 0.0051, "%v °C", at)
		if -200 < at && at < 850 { // the ends are printed rounded, beyond the range
			assert.InDelta(t, float64(at), float64(good[physics.Celsius](t)(physics.PlatinumTemperature(100,
				physics.Ohm(ohms)))), 0.02, "%v °C", at)
		}
	}
	// Class B: 0.3 K at 0 °C and 0.8 K at 100 °C, 0.12 and 0.30 Ω of a Pt100 in the printed tables (from memory).
	for at, ohms := range map[physics.Celsius]float64{0: 0.12, 100: 0.30} {
		b := good[physics.Band[physics.Ohm]](t)(physics.SensorResistance(physics.Pt1000, at))
		assert.InDelta(t, ohms, float64(b.High-b.Low)/20, 0.0051)
	}
}

// Two textbook exercises on thermistors between ice and steam point, their data found and solved here; an open book's
// example.
func TestPublishedThermistors(t *testing.T) {
	assert.InDelta(t, 3948, good[float64](t)(physics.Beta(7360, 0, 153, 100)), 0.5)
	beta := good[float64](t)(physics.Beta(7388, 0, 129, 100))
	assert.InDelta(t, 4126, beta, 0.5)
	r25 := physics.Ohm(129 * math.Exp(beta*(1/298.15-1/373.15)))
	assert.InDelta(t, 1219, float64(good[physics.Ohm](t)(physics.ThermistorResistance(r25, beta, 37))), 0.5)
	assert.InDelta(t, 23.959, float64(good[physics.Celsius](t)(physics.ThermistorTemperature(10000, 3950, 10475))), 1e-3)
}

// A flashlight bulb of 1.1 Ω at 20 °C takes 0.30 A at 2.9 V: its filament has some 1.8e3 °C (exercise after
// Halliday, 2 digits).
func TestPublishedFilament(t *testing.T) {
	for at, below := range map[physics.Celsius]bool{1700: true, 1800: false} {
		r := good[physics.Ohm](t)(physics.ResistanceAt(1.1, 0.0045, 20, at))
		assert.Equal(t, below, r < 2.9/0.30, "%v °C", at)
	}
}

// EN 116 (2015), 13.3: reproducibility R = 3.0 - 0.060 X, at -20 °C 4.2 K; R is 2.77 standard deviations (ISO 4259,
// from memory).
func TestPublishedSpreadOfPluggingPoint(t *testing.T) {
	p := good[physics.Figure[physics.Share]](t)(physics.WaxingChance(-20, -20))
	assert.InDelta(t, 4.2/2.77, p.Working[0].Result, 1e-9)
	assert.InDelta(t, math.Erfc(2/math.Hypot(4.2/2.77, 3)/math.Sqrt2)/2, float64(p.Value), 1e-12)
}

// UK DESNZ conversion factors 2025: 43.027 MJ/kg and 830.565 g/L, 35.737 kJ/mL; course notes: dodecane needs 14.94 kg
// of air.
func TestPublishedFuel(t *testing.T) {
	h := good[physics.HeatOutput](t)(physics.HeatOutputOf(physics.Burn{Rate: 1, Dose: 100 * physics.Microlitre,
		Fuel: physics.SummerDiesel, Temperature: 15, Efficiency: 0.8}))
	assert.InDelta(t, 3573.7, float64(h.Released), 0.05)
	assert.InDelta(t, 0.8*3573.7, float64(h.Delivered), 0.05)
	assert.InEpsilon(t, 14.94, good[float64](t)(physics.AirForFuel(26./12)), 6e-3)
	// Heywood, appendix D, light diesel, from memory
	assert.InEpsilon(t, 14.5, good[float64](t)(physics.AirForFuel(1.8)), 1e-3)
}

// Supplier's table of capacity by temperature, and US Army TM 10-6140-200-14 at 0 °F.
func TestPublishedCapacity(t *testing.T) {
	for at, part := range map[physics.Celsius]float64{-17.8: 0.40, 0: 0.84, 10: 0.90, 25: 1, 40: 1.05} {
		assert.InDelta(t, part, float64(good[physics.Share](t)(physics.CapacityShare(physics.Flooded, at))), 1e-9, "%v °C",
			at)
	}
	// EN 60896: 0.6 % a kelvin about 25 °C for slow loads, which the table keeps within 4 points.
	for at := physics.Celsius(0); at <= 40; at += 5 {
		assert.InDelta(t, 1+0.006*(float64(at)-25), float64(good[physics.Share](t)(physics.CapacityShare(physics.AGM, at))),
			0.041, "%v °C", at)
	}
}

// ISO 8820-3 type C, from memory, editions differ: least and greatest time at multiples of the rating.
func TestPublishedFuseTimes(t *testing.T) {
	for multiple, times := range map[physics.Ampere][2]float64{1.35: {0.75, 600}, 1.6: {0.25, 50}, 2: {0.15, 5},
		3.5: {0.04, 0.5}, 6: {0.02, 0.1}} {
		o := good[physics.Opening](t)(physics.FuseOpening(20, 20*multiple))
		assert.InEpsilon(t, times[0], float64(o.Soonest), 1e-9)
		assert.InEpsilon(t, times[1], float64(o.Latest), 1e-9)
	}
}

// EN 590, tables 2 and 3: steps of 5 °C from +5 °C and of 6 °C from -20 °C.
func TestPublishedGrades(t *testing.T) {
	limits := []physics.Celsius{5, 0, -5, -10, -15, -20, -20, -26, -32, -38, -44}
	for i, g := range physics.Grades()[:len(limits)] {
		limit, source, err := g.PluggingPoint()
		require.NoError(t, err)
		assert.Equal(t, limits[i], limit, g)
		assert.Contains(t, source, "EN 590")
	}
}

// IEC 60539, beta equation with 3950 K, computed elsewhere: 33,620.6 Ω at 0 °C, 2,486.2 Ω at 60 °C for 10 kΩ.
func TestPublishedSensors(t *testing.T) {
	for s, scale := range map[physics.Sensor]float64{physics.NTC10k: 1, physics.NTC50k: 5, physics.NTC100k: 10} {
		for at, ohms := range map[physics.Celsius]float64{0: 33620.6, 60: 2486.2} {
			assert.InEpsilon(t, ohms*scale, float64(good[physics.Band[physics.Ohm]](t)(physics.SensorResistance(s, at)).Value),
				2e-5, "%v", s)
		}
	}
	// With 3435 K it is 28,704.3 and 2,980.9 Ω: within the band.
	for at, ohms := range map[physics.Celsius]physics.Ohm{0: 28704.3, 60: 2980.9} {
		b := good[physics.Band[physics.Ohm]](t)(physics.SensorResistance(physics.NTC10k, at))
		assert.True(t, b.Low < ohms && ohms < b.High)
	}
}

// EN 50291-1: what an alarm must do at 30, 50, 100 and 300 ppm.
func TestPublishedAlarms(t *testing.T) {
	assert.Equal(t, []physics.AlarmRule{
		{PartsPerMillion: 30, NotBefore: 120 * physics.Minute},
		{PartsPerMillion: 50, NotBefore: 60 * physics.Minute, MustSound: true, By: 90 * physics.Minute},
		{PartsPerMillion: 100, NotBefore: 10 * physics.Minute, MustSound: true, By: 40 * physics.Minute},
		{PartsPerMillion: 300, MustSound: true, By: 3 * physics.Minute},
	}, physics.AlarmRules())
}
