package simulation

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What goes in at the pump pushes as much out at the burner, so nothing is made or lost (conservation of volume).
func TestLineConserves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l line
		l.fill(rapid.Float64Range(100, 5000).Draw(t, "volume"))
		fuel, gas := l.content()
		gather := rapid.SampledFrom([]float64{0, 2, 60}).Draw(t, "gather")
		for range rapid.IntRange(1, 300).Draw(t, "strokes") {
			f, g := rapid.Float64Range(0, 50).Draw(t, "fuel"), rapid.Float64Range(0, 20).Draw(t, "gas")
			outFuel, outGas := l.push(f, g, gather)
			require.GreaterOrEqual(t, outFuel, 0.0)
			require.GreaterOrEqual(t, outGas, 0.0)
			fuel, gas = fuel+f-outFuel, gas+g-outGas
			haveFuel, haveGas := l.content()
			require.InDelta(t, fuel, haveFuel, 1e-6)
			require.InDelta(t, gas, haveGas+l.pocket, 1e-6)
		}
	})
}

// A bubble comes out after the fuel that lay before it and before the fuel that came after.
func TestLineKeepsOrder(t *testing.T) {
	var l line
	l.fill(100)
	out := func(fuel, gas float64) [2]float64 {
		f, g := l.push(fuel, gas, 0)
		return [2]float64{f, g}
	}
	require.Equal(t, [2]float64{10, 0}, out(10, 0), "full: as much out as in, at once")
	require.Equal(t, [2]float64{30, 0}, out(0, 30), "the bubble goes in")
	require.Equal(t, [2]float64{70, 0}, out(70, 0), "the fuel before it")
	require.Equal(t, [2]float64{0, 30}, out(30, 0), "the bubble")
	require.Equal(t, [2]float64{5, 0}, out(5, 0), "the fuel behind it")
}

// Gas that gathers moves only once there is more than gather of it.
func TestGasGathersBeforeItMoves(t *testing.T) {
	var l line
	l.fill(100)
	for range 10 {
		f, _ := l.push(0, 3, 30)
		require.Zero(t, f, "up to 30 µL wait at the high point")
	}
	f, _ := l.push(0, 3, 30)
	require.Equal(t, 33.0, f, "then all of it moves")
	require.Zero(t, l.pocket)
}

func TestDrainLeavesGasAtTheBurner(t *testing.T) {
	var l line
	l.fill(100)
	l.drain(40)
	fuel, gas := l.content()
	assert.Equal(t, [2]float64{60, 40}, [2]float64{fuel, gas})
	outFuel, outGas := l.push(40, 0, 0)
	assert.Equal(t, [2]float64{0, 40}, [2]float64{outFuel, outGas}, "the gas comes first")
	l.drain(1e9)
	fuel, gas = l.content()
	assert.Equal(t, [2]float64{0, 100}, [2]float64{fuel, gas}, "no more runs out than is in it")
	l.drain(1)
	fuel, _ = l.content()
	assert.Zero(t, fuel)
}

// However many pieces there are, the line keeps no more than it has room for, and loses nothing.
func TestLineMergesWhatIsTooMany(t *testing.T) {
	var l line
	l.fill(1e6)
	for range 5 * slugs {
		l.push(1, 0, 0)
		l.push(0, 1, 0)
	}
	require.LessOrEqual(t, l.n, slugs)
	fuel, gas := l.content()
	assert.InDelta(t, 1e6, fuel+gas, 1e-6)
	assert.InDelta(t, 5*slugs, gas, 1e-6)
}

func bench(t *testing.T, change func(h *Heater)) *Heater {
	t.Helper()
	in := Draw(rand.New(rand.NewPCG(1, 1)))
	in.Nominal, in.Lift, in.Ambient, in.Fuel, in.PumpAngle, in.Dose, in.Power, in.LineLength = 12, 0, 10, "winter_diesel",
		60, 28, 5, 3
	h, err := NewIn(in, 7)
	require.NoError(t, err)
	h.b.inleak = 0
	if change != nil {
		change(h)
	}
	return h
}

// stroked is the µL of fuel and gas of so many strokes.
func stroked(h *Heater, n int) (fuel, gas float64) {
	for range n {
		f, g := h.stroke()
		fuel, gas = fuel+f, gas+g
	}
	return fuel, gas
}

// A piston delivers its dose each stroke, less what the fault takes from it; where nothing can come, nothing does.
func TestStroke(t *testing.T) {
	tests := []struct {
		name   string
		change func(b *body)
		part   float64 // of the dose
	}{
		{"sound", func(b *body) {}, 1},
		{"worn", func(b *body) { b.worn = 0.4 }, 0.4},
		{"nozzle half shut", func(b *body) { b.inletShut = 0.5 }, 0.5},
		{"stuck", func(b *body) { b.stuck = true }, 0},
		{"reversed", func(b *body) { b.reversed = true }, 0},
		{"a shorted coil pulls nothing", func(b *body) { b.coil = 0.3 }, 0},
		{"valve shut", func(b *body) { b.valveShut = true }, 0},
		{"suction beyond what it can draw", func(b *body) { b.vacuum = 1.01 * pumpVacuum }, 0},
		{"tank empty", func(b *body) { b.litres = b.pickupAt }, 0},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			h := bench(t, func(h *Heater) { test.change(&h.b) })
			fuel, _ := stroked(h, 100)
			assert.InDelta(t, test.part*100*h.b.dose, fuel, 0.01*100*h.b.dose)
		})
	}
}

// The pressure of a column is ρ g h (hydrostatics): 4.6 m of diesel of 834 kg/m³ are 37.6 kPa, and a pump that fails
// to fill at 40 kPa of suction gives little more than nothing; at 2 m it fills.
func TestSuctionLift(t *testing.T) {
	lifted := func(metres float64) float64 {
		in := Draw(rand.New(rand.NewPCG(1, 1)))
		in.Nominal, in.Ambient, in.Fuel, in.Dose, in.Power, in.Lift = 12, 10, "winter_diesel", 28, 5, metres
		h, err := NewIn(in, 7)
		require.NoError(t, err)
		assert.InEpsilon(t, 834*9.80665*max(metres, 1e-9), max(h.b.head, 1e-6), 0.02)
		h.b.inleak = 0
		fuel, _ := stroked(h, 100)
		return fuel / 100 / h.b.dose
	}
	assert.InDelta(t, 1, lifted(2), 0.01)
	assert.Less(t, lifted(4.6), 0.3)
	assert.Zero(t, lifted(5.2))
}

// Each resistance on the suction side takes its part; many times the free line's starves the pump.
func TestResistancesStarveThePump(t *testing.T) {
	for name, set := range map[string]func(b *body, x float64){
		"filter": func(b *body, x float64) { b.filter = x }, "kink": func(b *body, x float64) { b.kink = x },
		"wax": func(b *body, x float64) { b.waxed = x }, "strainer": func(b *body, x float64) { b.strainer = x },
	} {
		last := 1.1
		for _, times := range []float64{1, 20, 60, 200} {
			h := bench(t, func(h *Heater) { set(&h.b, times) })
			fuel, _ := stroked(h, 50)
			got := fuel / 50 / h.b.dose
			assert.LessOrEqual(t, got, last, "%s × %v", name, times)
			last = got
		}
		assert.Less(t, last, 0.5, name)
	}
}

// A shut tank's air expands as fuel leaves (Boyle: p V is constant, so a small part dV of V lowers p by p dV/V): 10 mL
// out of 1 L of air at 101.3 kPa leave a vacuum of 1.01 kPa.
func TestShutVentPullsAVacuum(t *testing.T) {
	h := bench(t, func(h *Heater) { h.b.ventShut, h.b.tankAir, h.b.vacuum, h.b.pressure = true, 1, 0, 101325 })
	before := h.b.litres
	n := int(10e3 / h.b.dose)
	stroked(h, n)
	assert.InEpsilon(t, 101325*(before-h.b.litres), h.b.vacuum, 1e-6)
	assert.InEpsilon(t, 1013, h.b.vacuum, 0.03)
	open := bench(t, func(h *Heater) { h.b.vacuum = 0 })
	stroked(open, n)
	assert.Zero(t, open.b.vacuum)
}

// Bubbles rise: a pump whose outlet points up clears its gas, one that lies or points down keeps it (common practice,
// no source: mounted with the outlet 15 to 90 degrees up).
func TestPumpAngle(t *testing.T) {
	assert.Equal(t, 1.0, clearing(90))
	assert.InDelta(t, 0.25, clearing(0), 1e-12)
	assert.Equal(t, 0.04, clearing(-90))
	last := 0.0
	for angle := -90.0; angle <= 90; angle += 15 {
		assert.GreaterOrEqual(t, clearing(angle), last, angle)
		last = clearing(angle)
	}
	up := bench(t, func(h *Heater) { h.b.inleak, h.b.clears = 3, clearing(60) })
	down := bench(t, func(h *Heater) { h.b.inleak, h.b.clears = 3, clearing(-20) })
	upFuel, _ := stroked(up, 100)
	downFuel, _ := stroked(down, 100)
	assert.Greater(t, upFuel, 1.05*downFuel, "gas that stays in the pump takes the fuel's room")
}

// In a narrow bore fuel carries bubbles along; in one beyond Bretherton's limit (1961) they rise and gather until they
// fill a long piece of the hose.
func TestWideHosesGatherGas(t *testing.T) {
	longest := map[bool]float64{} // mm of hose, by whether it is wide
	for seed := range uint64(60) {
		h, err := New(seed, "soft_line_air")
		require.NoError(t, err)
		wide := h.in.Bore > 3.4
		longest[wide] = max(longest[wide], h.b.gather/(math.Pi/4*h.in.Bore*h.in.Bore))
	}
	require.Len(t, longest, 2)
	assert.LessOrEqual(t, longest[false], 100.0)
	assert.Greater(t, longest[true], 200.0)
	assert.InDelta(t, stuckBore, 2e3*math.Sqrt(0.842*0.028/(830*9.80665)), 0.1,
		"ρ g r²/σ = 0.842 for diesel, in mm of bore")
}

// Priming runs until fuel stands at the burner and so many strokes more, which is fuel that waits in the chamber.
func TestPriming(t *testing.T) {
	h := bench(t, func(h *Heater) { h.line.drain(h.b.lineVolume) })
	h.step(drive{awake: true})
	h.prime(0)
	fuel, _ := h.line.content()
	assert.Greater(t, fuel, 0.98*h.b.lineVolume, "the line is full")
	assert.Less(t, h.film, 3*h.b.dose*1e-9*h.b.density)
	was := h.film
	h.prime(100)
	assert.InEpsilon(t, 100*h.b.dose*1e-9*h.b.density, h.film-was, 0.06, "a hundred strokes stand in the chamber")
}

// Newton's law of cooling: what is left of an excess after two times is the square of what is left after one. A siphon
// drips on all the while, as far as there is fuel.
func TestRest(t *testing.T) {
	h := bench(t, func(h *Heater) { h.shell, h.plug, h.sag = 400, 500, 1 })
	air := h.in.Ambient + kelvin
	h.rest(300)
	once := (h.shell - air) / (400 - air)
	assert.InEpsilon(t, once, (h.plug-air)/(500-air), 1e-9)
	h.rest(300)
	assert.InEpsilon(t, once*once, (h.shell-air)/(400-air), 1e-9)
	assert.Less(t, h.sag, 1e-6, "the battery recovers within minutes")
	assert.Zero(t, h.film)
	assert.InDelta(t, h.shell-kelvin, h.sensed, 1e-9, "a sound sensor sits on the metal")

	creeping := bench(t, func(h *Heater) { h.b.creep, h.b.litres = 2, 5 })
	creeping.rest(1000)
	assert.InEpsilon(t, 2*1000e-9*creeping.b.density, creeping.film, 1e-9)
	assert.InDelta(t, 5-2e-3, creeping.b.litres, 1e-9)
	creeping.rest(1e6)
	assert.InEpsilon(t, 17e3*1e-9*creeping.b.density, creeping.film, 1e-9,
		"no more than the chamber and the line's head hold")
}

// Fuel that stood in the chamber before a start spoils it even if all else is sound; a little of it does not. What
// comes into the chamber by a start that fails for another reason has no part in that start's failure. Common practice,
// no source.
func TestDrownedBurnerEmerges(t *testing.T) {
	tried := func(change func(h *Heater)) *Heater {
		h := bench(t, change)
		h.before = h.Clone()
		h.Run(Attempt{Seconds: 900})
		return h
	}
	h := tried(func(h *Heater) { h.film = 25e-3 })
	assert.Equal(t, []string{"burner_flooded"}, h.Emerged())
	dry := tried(func(h *Heater) { h.film = 1e-3 })
	assert.Empty(t, dry.Emerged())
	put := tried(func(h *Heater) { h.film, h.faults = 25e-3, []string{"burner_flooded"} })
	assert.Empty(t, put.Emerged(), "what was put in has not come about by itself")
	cold := tried(func(h *Heater) { h.b.plugCoat, h.b.screen = 0.5, 0.98 })
	require.Equal(t, "E-10", cold.record.Code)
	require.Greater(t, cold.film, 2e-3, "its own fuel stands in it now")
	assert.Empty(t, cold.Emerged())
	assert.Empty(t, (&Heater{}).Emerged(), "nothing was tried yet")
}
