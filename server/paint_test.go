package main

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"

	"lightoff/webui/pagetest"
)

// shifts collects the layout shifts of a page from its beginning (Layout Instability API, W3C): those in the half
// second after a tap, which bring what was tapped for, and all others, which nobody asked for.
const shifts = `globalThis.moved ??= (() => { const all = { tapped: 0, late: 0, what: [] };
	new PerformanceObserver((list) => { for (const e of list.getEntries()) { all[e.hadRecentInput ? "tapped" : "late"] += e.value;
		if (!e.hadRecentInput) all.what.push(Math.round(e.startTime) + " " + e.value.toFixed(4) + " " +
			e.sources.map((s) => s.node && (s.node.id || s.node.className || s.node.nodeName)).join(",")); } }).observe({ type: "layout-shift", buffered: true });
	return all; })(), 0`

// TestNothingMovesUnasked plays a conversation on a small phone: next to nothing moves while the page comes up, and
// nothing while it is only read. It logs how much moved on taps and answers, of which a slow machine brings some late,
// and when the page is first painted; that figure is no bound, for the machine is shared.
func TestNothingMovesUnasked(t *testing.T) {
	p, c := onPhone(t), softHose()
	p.Resize(360, 640)
	p.Reload()
	p.Connected()
	pagetest.Eval[chromedp.Void](p.Tab, shifts)
	p.Wait(`performance.getEntriesByName("first-contentful-paint").length > 0`)
	t.Logf("first contentful paint after %.0f ms",
		pagetest.Eval[float64](p.Tab, `performance.getEntriesByName("first-contentful-paint")[0].startTime`))
	assert.Less(t, pagetest.Eval[float64](p.Tab, "moved.late"), 0.02, pagetest.Eval[[]string](p.Tab, "moved.what"))
	p.Click("#none")
	p.Asked("opening")
	p.Say("E-08, few bubbles in the line")
	p.There("[data-part=verdict] .odds")
	for asked, n := p.AskedNext("opening"), 0; n < 5 &&
		pagetest.Eval[bool](p.Tab, `!!document.querySelector("#question [data-unknown]")`); n++ {
		c.answer(p, asked)
		asked = p.AskedNext(asked)
		p.Saved()
	}
	p.Saved()
	// the answer is there, and its half second over
	pagetest.Eval[chromedp.Void](p.Tab, `new Promise((go) => setTimeout(go, 600))`)
	before := pagetest.Eval[float64](p.Tab, "moved.late")
	pagetest.Eval[chromedp.Void](p.Tab, `new Promise((go) => setTimeout(go, 1500))`)
	assert.Zero(t, pagetest.Eval[float64](p.Tab, "moved.late")-before, pagetest.Eval[[]string](p.Tab, "moved.what"))
	t.Logf("moved within half a second of a tap: %.3f; later: %.4f", pagetest.Eval[float64](p.Tab, "moved.tapped"),
		pagetest.Eval[float64](p.Tab, "moved.late"))
}
