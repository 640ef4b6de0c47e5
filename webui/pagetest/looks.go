package pagetest

import (
	"os"
	"path/filepath"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Picture keeps what the page looks like in the directory that LIGHTOFF_PICTURES names, for people to look at.
func (p *Tab) Picture(name string) {
	p.t.Helper()
	dir := os.Getenv("LIGHTOFF_PICTURES")
	if dir == "" {
		return
	}
	Eval[chromedp.Void](p, "scrollTo(0, 0)")
	shot := chromedp.FullScreenshot(100) // less would be no PNG
	if Eval[bool](p, "document.querySelector('#danger')?.open === true") {
		shot = chromedp.CaptureScreenshot()
	}
	image, err := chromedp.Run(p.ctx, shot)
	require.NoError(p.t, err)
	require.NoError(p.t, os.WriteFile(filepath.Join(dir, name+".png"), image, 0o600))
}

// NeedAudit skips the test, or fails it where LIGHTOFF_REQUIRE_ALL is 1, unless LIGHTOFF_AXE names the script of
// axe-core.
func (p *Tab) NeedAudit() {
	p.t.Helper()
	if os.Getenv("LIGHTOFF_AXE") != "" {
		return
	}
	if os.Getenv("LIGHTOFF_REQUIRE_ALL") == "1" {
		p.t.Fatal("axe-core is required and LIGHTOFF_AXE does not name its script")
	}
	p.t.Skip("LIGHTOFF_AXE does not name the script of axe-core")
}

// Audit runs the accessibility rules of axe-core and names what they find.
func (p *Tab) Audit() string {
	p.t.Helper()
	if !Eval[bool](p, `typeof axe !== "undefined"`) {
		script, err := os.ReadFile(os.Getenv("LIGHTOFF_AXE"))
		require.NoError(p.t, err)
		Eval[chromedp.Void](p, string(script)+";0")
	}
	return Eval[string](p, `axe.run().then((r) => r.violations.map((v) => v.id + ": " + v.help + " " + v.nodes.map((n) `+
		`=> n.target).join(" ")).join("\n"))`)
}

// TooWide names what sticks out of the window sideways.
func (p *Tab) TooWide() string {
	p.t.Helper()
	return Eval[string](p, `(() => { const wide = document.documentElement.clientWidth;
		if (document.documentElement.scrollWidth <= wide) return "";
		return [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > wide + 0.5)
			.map((e) => e.tagName + "#" + e.id + "." + e.getAttribute("class") + " " + Math.round(e.getBoundingClientRect().right)).join("\n") || "something"; })()`)
}

// PoorContrast measures every visible text against what is painted behind it, by the formula of WCAG 2.2, and names
// those below 4.5 to 1.
func (p *Tab) PoorContrast() string {
	p.t.Helper()
	return Eval[string](p, poorContrast)
}

const poorContrast = `(() => {
	const channels = (c) => c.match(/[\d.]+/g).map(Number);
	const luminance = (c) => channels(c).slice(0, 3).map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
		.reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
	const ground = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if ((channels(c)[3] ?? 1) > 0) return c; } return "rgb(255,255,255)"; };
	const poor = [], texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (texts.nextNode()) {
		const e = texts.currentNode.parentElement, text = texts.currentNode.data.trim();
		if (!text || !e.checkVisibility() || e.closest(".unseen, .jump, noscript")) continue;
		const a = luminance(getComputedStyle(e).color), b = luminance(ground(e)), ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < 4.5) poor.push(text + " " + ratio.toFixed(2));
	}
	return poor.join("\n");
})()`
