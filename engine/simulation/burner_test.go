package simulation

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Exhaust drawn in again brings the oxygen that it has left: of the intake's fresh part f, (1 − x) is new air and x
// is exhaust, which holds f (1 − 1/λ) of it (conservation of oxygen).
func TestRecirculatedExhaustBalances(t *testing.T) {
	for _, x := range []float64{0.2, 0.6} {
		for _, lambda := range []float64{1.2, 1.8, 4} {
			h := bench(t, func(h *Heater) { h.b.recirculated, h.lit, h.lambda, h.speed = x, true, lambda, 0.5 })
			_, f := h.combustionAir()
			assert.InDelta(t, 1-x+x*f*(1-1/lambda), f, 1e-12)
			h.lit = false
			_, f = h.combustionAir()
			assert.Equal(t, 1.0, f, "without a flame it is air")
		}
	}
}

// A fan moves a volume: its air goes with its speed and the air's density, and a way half shut takes its part by the
// square.
func TestCombustionAir(t *testing.T) {
	flow := func(change func(h *Heater)) float64 {
		h := bench(t, func(h *Heater) { h.speed, h.b.intake, h.b.exhaust, h.b.coke = 0.8, 1, 1, 0; change(h) })
		f, _ := h.combustionAir()
		return f
	}
	free := flow(func(*Heater) {})
	assert.InEpsilon(t, free/2, flow(func(h *Heater) { h.speed = 0.4 }), 1e-9)
	assert.InEpsilon(t, free*0.75, flow(func(h *Heater) { h.b.airDensity *= 0.75 }), 1e-9)
	assert.InEpsilon(t, free/math.Sqrt(0.4+0.3*4+0.3), flow(func(h *Heater) { h.b.intake = 0.5 }), 1e-9)
	assert.InEpsilon(t, free/math.Sqrt(0.4+0.3*4+0.3), flow(func(h *Heater) { h.b.exhaust = 0.5 }), 1e-9)
	assert.Less(t, flow(func(h *Heater) { h.b.coke = 0.9 }), 0.8*free)
	assert.Less(t, flow(func(h *Heater) { h.b.waves, h.gust = true, 0.9 }), 0.1*free, "the end is under")
	gusty, still := flow(func(h *Heater) { h.b.wind, h.gust = 1, -0.9 }), flow(func(h *Heater) { h.b.wind, h.gust = 1, 0 })
	assert.Less(t, gusty, 0.1*still)
}

// Clausius and Clapeyron: what evaporates goes as exp(−5300 K/T), all else the same; never faster than half the film
// a second.
func TestFuelEvaporatesByTheWicksHeat(t *testing.T) {
	at := func(kelvins, film float64, change func(b *body)) float64 {
		h := bench(t, func(h *Heater) { h.wick, h.film = kelvins, film; change(&h.b) })
		return h.vapour()
	}
	same := func(*body) {}
	assert.InEpsilon(t, math.Exp(5300*(1/450.0-1/480.0)), at(480, 1, same)/at(450, 1, same), 1e-9)
	assert.InDelta(t, 0.5e-6, at(520, 1e-6, same), 1e-12)
	assert.Zero(t, at(520, 0, same))
	assert.InEpsilon(t, 0.1, at(480, 1, func(b *body) { b.water = 1 })/at(480, 1, same), 1e-9,
		"water keeps fuel from the wick")
	for name, less := range map[string]func(b *body){"screen": func(b *body) { b.screen = 0.9 },
		"coke": func(b *body) { b.coke = 0.9 }, "askew": func(b *body) { b.askew = 1 }} {
		assert.Less(t, at(480, 1, less), 0.7*at(480, 1, same), name)
	}
	assert.Greater(t, at(480, 1, func(b *body) { b.volatile = 4 }), 3*at(480, 1, same), "petrol evaporates readily")
}

// A flame needs something hot and a mixture between its limits, and goes out once it has been too weak for three
// seconds.
func TestFlame(t *testing.T) {
	lights := func(kelvins, lambda float64) bool {
		h := bench(t, func(h *Heater) { h.plug, h.lambda = kelvins, lambda; h.b.coke, h.b.plugCoat = 0, 0 })
		for range 400 {
			h.flame(1e-5)
		}
		return h.lit
	}
	assert.True(t, lights(1250, 2))
	assert.False(t, lights(900, 2), "not glowing")
	assert.False(t, lights(1250, 60), "far too lean")
	assert.False(t, lights(1250, 0.8), "too rich at the plug")
	assert.True(t, lights(1250, 5.5), "at the plug it is four times as rich")

	h := bench(t, func(h *Heater) { h.lit, h.lambda, h.chamber = true, 2, 600 })
	h.flame(1e-4)
	assert.True(t, h.lit)
	for range int(3/Step) - 1 {
		h.flame(0)
	}
	assert.True(t, h.lit, "a moment without fuel does not put it out")
	h.flame(1e-4)
	for range int(3 / Step) {
		h.flame(0)
	}
	assert.True(t, h.lit, "it begins to count anew")
	h.flame(0)
	assert.False(t, h.lit)
	assert.Equal(t, 1, h.record.Lost)
}

// Smoke by its cause: unburnt vapour is white, too little air is black, a standing film burns blue, and what comes
// after the end counts apart (common practice, no source).
func TestSmokeIsToldApart(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(h *Heater)
		of     func(r *Record) float64
	}{
		"white": {func(h *Heater) { h.lit = false }, func(r *Record) float64 { return r.White }},
		"black": {func(h *Heater) { h.lit, h.lambda = true, 1.1 }, func(r *Record) float64 { return r.Black }},
		"blue":  {func(h *Heater) { h.lit, h.lambda, h.film = true, 1.8, 5e-3 }, func(r *Record) float64 { return r.Blue }},
		"late":  {func(h *Heater) { h.record.ended = true }, func(r *Record) float64 { return r.Late }},
	} {
		h := bench(t, tt.change)
		h.record.smoke(h, 2e-5, 2e-5)
		assert.InDelta(t, 2e-5*Step, tt.of(&h.record), 1e-15, name)
		total := h.record.White + h.record.Black + h.record.Blue + h.record.Late
		assert.InDelta(t, 2e-5*Step, total, 1e-15, "%s and nothing else", name)
	}
}

// A lithium battery's protection opens after two seconds beyond its limits, not by a moment.
func TestProtectionOpens(t *testing.T) {
	h := bench(t, func(h *Heater) { h.b.cutAmpere, h.b.cutVolt, h.batteryVolts = 8, 10, 12 })
	over := func(seconds float64) {
		h.amps = 9
		for range int(seconds / Step) {
			h.guard()
		}
	}
	over(2)
	assert.False(t, h.opened)
	h.amps = 7
	h.guard()
	over(2)
	assert.False(t, h.opened, "it begins anew")
	over(Step)
	assert.True(t, h.opened)
	low := bench(t, func(h *Heater) { h.b.cutVolt, h.batteryVolts = 10, 9.9 })
	for range int(2/Step) + 1 {
		low.guard()
	}
	assert.True(t, low.opened, "by its voltage")
}

// Wax adds nothing above a grade's plugging point (EN 590: grade F at −20 °C, B at 0 °C) and ever more below it.
func TestWax(t *testing.T) {
	waxed := func(fuel string, celsius float64) float64 {
		h := bench(t, func(h *Heater) {
			h.in.Ambient = celsius
			_, grade := fuelGrade(fuel)
			h.b.waxing(&h.in, grade, 0)
		})
		return h.b.waxed
	}
	assert.Equal(t, 1.0, waxed("winter_diesel", -19.9))
	assert.Equal(t, 1.0, waxed("summer_diesel", 0.1))
	assert.Greater(t, waxed("winter_diesel", -24), waxed("winter_diesel", -22))
	assert.Greater(t, waxed("summer_diesel", -10), 10.0)
	assert.Equal(t, 1.0, waxed("kerosene", -25), "kerosene flows on")
}

// What an owner complains of, by what the last attempt was like. The worst comes first; common practice, no source.
func TestComplaints(t *testing.T) {
	ran := Record{Code: "none", Lit: 80, Ready: 200, Tries: 1, Heat: 5000, litSeconds: 600}
	for name, tt := range map[string]struct {
		change func(h *Heater)
		want   string
	}{
		"well":          {func(h *Heater) {}, ""},
		"remote":        {func(h *Heater) { h.record.Unheard = true }, "remote_only"},
		"dark":          {func(h *Heater) { h.record.Blank, h.record.Lit = true, 0 }, "dead"},
		"never lit":     {func(h *Heater) { h.record.Lit, h.record.Code = 0, "E-10" }, "wont_start"},
		"blew first":    {func(h *Heater) { h.record.Lit, h.record.Soak = 0, true }, "fan_unasked"},
		"never settled": {func(h *Heater) { h.record.Ready = 0 }, "wont_start"},
		"lit for a moment": {func(h *Heater) { h.record.Ready, h.record.Code, h.record.litSeconds = 0, "E-10", 20 },
			"wont_start"},
		"lit, and not seen": {func(h *Heater) { h.record.Ready, h.record.Code, h.record.litSeconds = 0, "E-10", 150 },
			"starts_then_stops"},
		"stopped":            {func(h *Heater) { h.record.Code = "E-08" }, "starts_then_stops"},
		"exhaust inside":     {func(h *Heater) { h.b.cracked = 0.5 }, "smoke_or_smell"},
		"a trace of it":      {func(h *Heater) { h.b.cracked = 0.2 }, ""},
		"fuel drips":         {func(h *Heater) { h.b.outleak = 0.3 }, "smoke_or_smell"},
		"burns on":           {func(h *Heater) { h.record.Late = 2e-3 }, "wont_stop"},
		"scrapes":            {func(h *Heater) { h.b.scrape = true }, "noise"},
		"bang":               {func(h *Heater) { h.record.Bang = true }, "noise"},
		"soot":               {func(h *Heater) { h.record.Black = h.rated * 600 }, "smoke_or_smell"},
		"never warm enough":  {func(h *Heater) { h.b.roomBias = -8 }, "wont_stop"},
		"little heat":        {func(h *Heater) { h.record.Heat = 2000 }, "little_heat"},
		"at the second try":  {func(h *Heater) { h.record.Tries = 2 }, "wont_start"},
		"late":               {func(h *Heater) { h.record.Lit = preglow + 71 }, "wont_start"},
		"only thinks so":     {func(h *Heater) { h.imagined = "satisfied" }, "little_heat"},
		"smell comes before": {func(h *Heater) { h.b.scrape, h.b.hotContact = true, 0.9 }, "smoke_or_smell"},
	} {
		h := bench(t, func(h *Heater) { h.record = ran; h.b.ductShare, h.b.inletShare = 1, 1; tt.change(h) })
		assert.Equal(t, tt.want, h.Complaint(), name)
	}
}

// Silent is exhaust that comes in too thinly to be smelt and that no alarm tells of.
func TestSilentExhaust(t *testing.T) {
	silent := func(leak float64, alarm bool) bool {
		h := bench(t, func(h *Heater) {
			h.record.litSeconds, h.b.exhaustInside = 600, leak
			h.in.Alarm, h.in.AlarmTested = alarm, alarm
		})
		return h.Silent()
	}
	assert.True(t, silent(0.2, false))
	assert.False(t, silent(0.2, true), "a tested alarm sounds")
	assert.True(t, silent(0.1, true), "too little for the alarm as well")
	assert.False(t, silent(0.5, false), "one smells it")
	assert.False(t, silent(0, false))
}
