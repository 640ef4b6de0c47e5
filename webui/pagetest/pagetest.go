// Package pagetest drives the page of package webui in a real browser, for tests: those of the page itself, before a
// service that is made up, and those of the whole program.
//
// Nothing here sleeps: each step waits until the page shows what the next one needs, at most for Patience, and fails
// the test otherwise. A test package that uses it calls Stop in its TestMain.
package pagetest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// Patience is how long the page may take for what ought to come at once.
const Patience = 30 * time.Second

// The browser is started once; each test has a tab of its own.
var (
	browserOnce sync.Once
	browserCtx  context.Context
	browserStop context.CancelFunc
	browserErr  error
)

// Stop ends the browser, if one was started. TestMain calls it after the tests.
func Stop() {
	if browserStop != nil {
		browserStop()
	}
}

// Tab is a page in a browser that a test drives.
type Tab struct {
	t     testing.TB
	ctx   context.Context
	touch bool // press with a finger instead of a pointer
}

// NewTab opens a tab of the given size, in CSS pixels. Without a browser the test is skipped, or fails where
// LIGHTOFF_REQUIRE_ALL is 1.
func NewTab(t testing.TB, width, height int64) *Tab {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		if os.Getenv("LIGHTOFF_REQUIRE_ALL") == "1" {
			t.Fatal("chromium is required and not on the path")
		}
		t.Skip("chromium is not on the path")
	}
	browserOnce.Do(func() {
		browserCtx, browserStop = chromedp.NewContext(context.Background())
		browserErr = chromedp.Do(browserCtx)
	})
	require.NoError(t, browserErr)
	ctx, cancel := chromedp.NewContext(browserCtx)
	t.Cleanup(cancel)
	p := &Tab{t: t, ctx: ctx}
	p.Resize(width, height)
	_, err := chromedp.Call(p.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: `globalThis.refusedByPolicy = []; addEventListener("securitypolicyviolation", (e) => refusedByPolicy.push(e.effectiveDirective + " " + e.blockedURI));`})
	require.NoError(t, err)
	return p
}

// Refused names what the browser has refused to the page by its Content-Security-Policy, a directive and an address
// each.
func (p *Tab) Refused() []string {
	p.t.Helper()
	return Eval[[]string](p, "globalThis.refusedByPolicy")
}

// NewPhone opens a tab that behaves as on a phone of 360 by 740 CSS pixels, pressed with a finger.
func NewPhone(t testing.TB) *Tab {
	t.Helper()
	p := NewTab(t, 360, 740)
	p.Do(chromedp.EmulateViewport(360, 740, chromedp.EmulateScale(3), chromedp.EmulateMobile, chromedp.EmulateTouch))
	p.touch = true
	return p
}

// Do takes steps, one after the other.
func (p *Tab) Do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	require.NoError(p.t, chromedp.Do(p.ctx, steps...))
}

// Eval returns the value of a JavaScript expression; a promise is awaited.
func Eval[T any](p *Tab, js string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	require.NoError(p.t, err, js)
	return v
}

// Visit goes to an address.
func (p *Tab) Visit(url string) {
	p.t.Helper()
	p.Do(chromedp.Navigate(url))
}

// Reload loads the page anew.
func (p *Tab) Reload() {
	p.t.Helper()
	p.Do(chromedp.Reload())
}

// Resize gives the window another size, in CSS pixels.
func (p *Tab) Resize(width, height int64) {
	p.t.Helper()
	p.Do(chromedp.EmulateViewport(width, height))
}

// Wait returns once a JavaScript expression, or the promise that it gives, is true.
func (p *Tab) Wait(js string) {
	p.t.Helper()
	met := Eval[bool](p, fmt.Sprintf(`new Promise((done, fail) => { const end = Date.now() + %d;
		async function look() {
			if (await (%s)) done(true);
			else if (Date.now() > end) done(false);
			else setTimeout(() => look().catch(fail), 5);
		}
		look().catch(fail); })`, Patience.Milliseconds(), js))
	if !met {
		p.t.Fatalf("waited in vain for %s; the page reads:\n%s", js, Eval[string](p, "document.body.innerText"))
	}
}

// There waits for an element that can be seen.
func (p *Tab) There(css string) {
	p.t.Helper()
	p.Wait(fmt.Sprintf("document.querySelector(%q)?.checkVisibility()", css))
}

// Seen reports whether an element, which must be there, can be seen.
func (p *Tab) Seen(css string) bool {
	p.t.Helper()
	return Eval[bool](p, fmt.Sprintf("document.querySelector(%q).checkVisibility()", css))
}

// Click waits for an element and presses it as a pointer does or, on a phone, a finger.
func (p *Tab) Click(css string) {
	p.t.Helper()
	p.There(css)
	if p.touch {
		p.tap(css)
		return
	}
	p.Do(chromedp.Click(chromedp.CSS(css)))
}

// tap touches the middle of an element, where nothing else may lie over it, and returns once the page has heard of it.
func (p *Tab) tap(css string) {
	p.t.Helper()
	at := Eval[struct {
		X, Y float64
		Over string
	}](p, fmt.Sprintf(`(() => { const e = document.querySelector(%q);
		e.scrollIntoView({ block: "center", behavior: "instant" });
		const r = e.getBoundingClientRect(), x = r.x + r.width / 2, y = r.y + r.height / 2, top = document.elementFromPoint(x, y);
		globalThis.tapped = new Promise((done) => { setTimeout(done, %d, "nothing");
			addEventListener("click", (c) => done(e.contains(c.target) ? "" : c.target.outerHTML.slice(0, 200)), { capture: true, once: true }); });
		return { X: x, Y: y, Over: e === top || e.contains(top) ? "" : top ? top.outerHTML.slice(0, 200) : "nothing" }; })()`,
		css, Patience.Milliseconds()))
	require.Empty(p.t, at.Over, "in place of %s a finger would touch this", css)
	for _, touch := range []input.DispatchTouchEventParams{
		{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: at.X, Y: at.Y}}},
		{Type: input.DispatchTouchEventTypeTouchEnd},
	} {
		_, err := chromedp.Call(p.ctx, input.DispatchTouchEvent, touch)
		require.NoError(p.t, err)
	}
	require.Empty(p.t, Eval[string](p, "globalThis.tapped"), "in place of %s a finger pressed this", css)
}

// Press presses one key.
func (p *Tab) Press(key string) {
	p.t.Helper()
	p.Do(chromedp.KeyEvent(key))
}

// TabTo presses Tab until the element has the focus, and can be seen to have it.
func (p *Tab) TabTo(css string) {
	p.t.Helper()
	p.There(css)
	for range 80 {
		p.Press(kb.Tab)
		if Eval[bool](p, fmt.Sprintf("document.activeElement.matches(%q)", css)) {
			require.True(p.t, Eval[bool](p, `document.activeElement.matches(":focus-visible")`), "the focus on %s can be seen",
				css)
			return
		}
	}
	p.t.Fatalf("Tab does not come to %s", css)
}

// FillsScreen reports whether an element covers the whole window.
func (p *Tab) FillsScreen(css string) bool {
	p.t.Helper()
	return Eval[bool](p, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect();
		return r.left <= 0 && r.top <= 0 && r.right >= innerWidth && r.bottom >= innerHeight; })()`, css))
}

// AtHand reports whether an element can be pressed as the window stands, without scrolling.
func (p *Tab) AtHand(css string) bool {
	p.t.Helper()
	return Eval[bool](p, fmt.Sprintf(`(() => { const e = document.querySelector(%q), r = e.getBoundingClientRect();
		return r.top >= 0 && r.bottom <= innerHeight && e.contains(document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2)); })()`, css))
}

// Reachable reports whether an element can be scrolled to and then be pressed.
func (p *Tab) Reachable(css string) bool {
	p.t.Helper()
	return Eval[bool](p, fmt.Sprintf(`(() => { const e = document.querySelector(%q);
		if (!e || !e.checkVisibility()) return false;
		e.scrollIntoView({ block: "center", behavior: "instant" });
		const r = e.getBoundingClientRect();
		return e.contains(document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2)); })()`, css))
}

// Text is what an element reads, as it is seen; empty where there is no such element.
func (p *Tab) Text(css string) string {
	p.t.Helper()
	return Eval[string](p, fmt.Sprintf("document.querySelector(%q)?.innerText ?? ''", css))
}

// Texts is what each of the elements reads, as it is seen.
func (p *Tab) Texts(css string) []string {
	p.t.Helper()
	return Eval[[]string](p, fmt.Sprintf("[...document.querySelectorAll(%q)].map((e) => e.innerText)", css))
}

// Scheme prefers a light or dark page, without motion.
func (p *Tab) Scheme(name string) {
	p.t.Helper()
	p.media(emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: name}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
}

// Print lays the page out as for paper.
func (p *Tab) Print() {
	p.t.Helper()
	p.media(emulation.SetEmulatedMediaParams{Media: "print"})
}

// media emulates what the page is laid out for.
func (p *Tab) media(params emulation.SetEmulatedMediaParams) {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, params)
	require.NoError(p.t, err)
}

// NoScript keeps the page's own scripts from running.
func (p *Tab) NoScript() {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled,
		emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(p.t, err)
}

// Deafen loses everything that arrives on the page's open sockets from now on, as a signal does that breaks one way.
// Sockets opened later hear again.
func (p *Tab) Deafen() {
	p.t.Helper()
	kind, err := chromedp.Call(p.ctx, runtime.Evaluate, runtime.EvaluateParams{Expression: "WebSocket.prototype"})
	require.NoError(p.t, err)
	sockets, err := chromedp.Call(p.ctx, runtime.QueryObjects,
		runtime.QueryObjectsParams{PrototypeObjectID: kind.Result.ObjectID})
	require.NoError(p.t, err)
	_, err = chromedp.Call(p.ctx, runtime.CallFunctionOn, runtime.CallFunctionOnParams{ObjectID: sockets.Objects.ObjectID,
		FunctionDeclaration: "function () { for (const socket of this) socket.onmessage = null; }"})
	require.NoError(p.t, err)
}

// Offline cuts the tab off from the network, or joins it again. What arrives on open sockets is lost too.
func (p *Tab) Offline(off bool) {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, network.Enable, network.EnableParams{})
	require.NoError(p.t, err)
	_, err = chromedp.Call(p.ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
		MatchedNetworkConditions: []*network.Conditions{{Offline: off, DownloadThroughput: -1, UploadThroughput: -1}}})
	require.NoError(p.t, err)
	_, err = chromedp.Call(p.ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{
		Offline: off, DownloadThroughput: -1, UploadThroughput: -1})
	require.NoError(p.t, err)
	if off {
		p.Deafen()
	}
}

// Slow makes the page's processor so many times slower. A worker of the page keeps its speed.
func (p *Tab) Slow(times float64) {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: times})
	require.NoError(p.t, err)
}

// Watch notes from now on, at every hundredth of a second, whenever an expression is not true. It lasts until the page
// is loaded anew.
func (p *Tab) Watch(js string) {
	p.t.Helper()
	Eval[chromedp.Void](p, fmt.Sprintf(`globalThis.lapses = []; setInterval(() => { if (!(%s)) lapses.push(performance.now()); }, 10); 0`, js))
}

// Lapses is how often what is watched was not true.
func (p *Tab) Lapses() int {
	p.t.Helper()
	return Eval[int](p, "globalThis.lapses.length")
}

// CallsCanBeHit is an expression that is true while a finger in the middle of each call key that shows would press it.
const CallsCanBeHit = `[...document.querySelectorAll('a[href^="tel:"]')].every((e) => {
	const modal = document.querySelector("dialog[open]"), r = e.getBoundingClientRect(), x = r.x + r.width / 2, y = r.y + r.height / 2;
	if (!e.checkVisibility() || modal && !modal.contains(e) || y < 0 || y > innerHeight) return true;
	const top = document.elementFromPoint(x, y);
	return e === top || e.contains(top) || top.closest("#banner") && !e.closest("#banner");
})`

// Hurry makes the page's long waits short: whatever it waits for longer than a second comes within a twentieth of that.
func (p *Tab) Hurry() {
	p.t.Helper()
	Eval[chromedp.Void](p, `globalThis.unhurried ??= setTimeout, globalThis.setTimeout = (f, ms, ...rest) => unhurried(f, ms > 1000 ? ms / 20 : ms, ...rest), 0`)
}

// InFrame returns the value of a JavaScript expression, which must be text, in the page's one frame, whatever site that
// is of.
func (p *Tab) InFrame(js string) string {
	p.t.Helper()
	tree, err := chromedp.Call(p.ctx, page.GetFrameTree, cdp.Empty{})
	require.NoError(p.t, err)
	require.Len(p.t, tree.FrameTree.ChildFrames, 1)
	world, err := chromedp.Call(p.ctx, page.CreateIsolatedWorld,
		page.CreateIsolatedWorldParams{FrameID: tree.FrameTree.ChildFrames[0].Frame.ID})
	require.NoError(p.t, err)
	got, err := chromedp.Call(p.ctx, runtime.Evaluate,
		runtime.EvaluateParams{Expression: "String(" + js + ")", ContextID: world.ExecutionContextID})
	require.NoError(p.t, err)
	require.Nil(p.t, got.ExceptionDetails, js)
	var text string
	require.NoError(p.t, json.Unmarshal(got.Result.Value, &text))
	return text
}

// WaitInFrame returns once a JavaScript expression is true in the page's one frame.
func (p *Tab) WaitInFrame(js string) {
	p.t.Helper()
	for end := time.Now().Add(Patience); ; {
		if p.InFrame("!!("+js+")") == "true" {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("waited in vain for %s in the frame, which reads:\n%s", js, p.InFrame("document.body.innerText"))
		}
		Eval[chromedp.Void](p, "new Promise(requestAnimationFrame)")
	}
}

// Arrives waits until the page has gone to an address with the path, or, if that ends in a slash, below it. While it
// goes nothing can be asked of it.
func (p *Tab) Arrives(path string) {
	p.t.Helper()
	for end := time.Now().Add(Patience); ; {
		there, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](fmt.Sprintf(`(location.pathname === %[1]q || %[1]q.endsWith("/") && location.pathname.startsWith(%[1]q)) && document.readyState === "complete"`, path)))
		if err == nil && there {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("the page does not go to %s: %v", path, err)
		}
	}
}

// Shortcut presses one key that writes nothing, as a browser does when the page has taken the key for itself.
func (p *Tab) Shortcut(key string) {
	p.t.Helper()
	for _, kind := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeRawKeyDown,
		input.DispatchKeyEventTypeKeyUp} {
		_, err := chromedp.Call(p.ctx, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: kind, Key: key})
		require.NoError(p.t, err)
	}
}
