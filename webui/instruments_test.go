package webui_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"lightoff/webui/pagetest"
)

// TestSlope holds the slope of the phone's top against the rotations by which the W3C's DeviceOrientation Event
// Specification defines beta: flat on a table 0, upright 90, beyond upright it falls again.
func TestSlope(t *testing.T) {
	p := onPhone(t, newHouse(t), "/?lang=en")
	got := pagetest.Eval[[]float64](p,
		`import(`+module("rhythm.js")+`).then((m) => [0, 38, 90, 142, -30, 180].map(m.slope))`)
	assert.InDeltaSlice(t, []float64{0, 38, 90, 38, -30, 0}, got, 1e-9)
	steady := pagetest.Eval[[]bool](p, `import(`+module("rhythm.js")+`).then((m) => {
		const at = (...degrees) => degrees.map((d, i) => ({at: 100 * i, degrees: d}));
		return [at(38), at(38, 38, 39, 38, 38, 38, 37, 38, 38, 38, 38, 38), at(38, 38, 38, 45, 38, 38, 38, 38, 38, 38, 38, 38)].map(m.steady);
	})`)
	assert.Equal(t, []bool{false, true, false}, steady)
}

// module is the address of one of the page's modules, as an expression.
func module(name string) string {
	return fmt.Sprintf(`new URL(%q, document.querySelector("script[type=module][src]").src).href`, name)
}

// TestHearsStrokes plays half a minute of synthesised sound through the page's own ear, faster than it sounds: clicks
// in noise at a known rate, with every seventh left out, between bangs, in noise too loud for them, and silence.
func TestHearsStrokes(t *testing.T) {
	p := onPhone(t, newHouse(t), "/?lang=en")
	hear := func(rate float64, skip, other int, click, noise float64) (verdict string, strokes float64) {
		heard := pagetest.Eval[map[string]any](p, fmt.Sprintf(`(async () => {
			const { Rhythm } = await import(%s), rate = 48000, seconds = 30;
			const context = new OfflineAudioContext(1, rate * seconds, rate);
			await context.audioWorklet.addModule(%s);
			const sound = context.createBuffer(1, rate * seconds, rate), x = sound.getChannelData(0);
			let seed = 1;
			const random = () => { seed = (seed * 48271) %% 2147483647; return seed / 1073741823.5 - 1; };
			for (let i = 0; i < x.length; i++) x[i] = %g * random();
			const bang = (at, loud) => { for (let i = 0; i < 0.02 * rate && at * rate + i < x.length; i++)
				x[Math.round(at * rate) + i] += loud * random() * Math.exp(-i / (0.005 * rate)); };
			for (let n = 1, at = 1; at < seconds; n++, at += 60 / %g)
				if (%d === 0 || n %% %d !== 0) bang(at, %g);
			for (let at = 3.31; %d > 0 && at < seconds; at += %d) bang(at, %g);
			const source = new AudioBufferSourceNode(context, { buffer: sound }), ear = new AudioWorkletNode(context, "ear");
			const rhythm = new Rhythm();
			ear.port.onmessage = (e) => rhythm.hear(e.data);
			source.connect(ear).connect(context.destination);
			source.start();
			await context.startRendering();
			await new Promise((done) => setTimeout(done, 50));
			return { ...rhythm.judge(), seconds: rhythm.seconds };
		})()`, module("rhythm.js"), module("ear.js"), noise, rate, skip, max(1, skip), click, other, max(1, other), click))
		assert.InDelta(t, 30, heard["seconds"], 0.3)
		return heard["verdict"].(string), heard["rate"].(float64)
	}
	for _, tt := range []struct {
		name                string
		rate                float64
		skip, other         int
		click, noise        float64
		verdict             string
		strokes, difference float64
	}{
		{"even", 83, 0, 0, 0.5, 0.01, "regular", 83, 1},
		{"slow", 40, 0, 0, 0.5, 0.01, "regular", 40, 1},
		{"fast", 240, 0, 0, 0.5, 0.01, "regular", 240, 5},
		{"each seventh missing", 83, 7, 0, 0.5, 0.01, "irregular", 83, 1},
		{"a bang now and then", 83, 0, 7, 0.5, 0.01, "regular", 83, 1},
		{"too loud", 83, 0, 0, 0.05, 0.2, "cannot", 0, 0},
		{"silence", 83, 0, 0, 0, 0, "cannot", 0, 0},
	} {
		verdict, strokes := hear(tt.rate, tt.skip, tt.other, tt.click, tt.noise)
		assert.Equal(t, tt.verdict, verdict, tt.name)
		assert.InDelta(t, tt.strokes, strokes, tt.difference, tt.name)
	}
}
