package webui_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/webui"
)

// The browser is started once; each test has a tab of its own.
var (
	browserOnce sync.Once
	browserCtx  context.Context
	browserStop context.CancelFunc
	browserErr  error
)

func TestMain(m *testing.M) {
	code := m.Run()
	if browserStop != nil {
		browserStop()
	}
	os.Exit(code)
}

// tab is a page in a browser that a test drives.
type tab struct {
	t   *testing.T
	ctx context.Context
}

// newTab opens a tab of the given size, in CSS pixels. Without a browser the test is skipped, or fails where everything
// is required.
func newTab(t *testing.T, width, height int64) *tab {
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
	p := &tab{t: t, ctx: ctx}
	p.do(chromedp.EmulateViewport(width, height))
	return p
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	require.NoError(p.t, chromedp.Do(p.ctx, steps...))
}

func eval[T any](p *tab, js string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	require.NoError(p.t, err, js)
	return v
}

// wait returns once a JavaScript expression is true.
func (p *tab) wait(js string) {
	p.t.Helper()
	met := eval[bool](p, fmt.Sprintf(`new Promise((done) => { const end = Date.now() + %d;
		(function look() { if (%s) done(true); else if (Date.now() > end) done(false); else setTimeout(look, 5); })(); })`, patience.Milliseconds(), js))
	if !met {
		p.t.Fatalf("waited in vain for %s; the page reads:\n%s", js, eval[string](p, "document.body.innerText"))
	}
}

// there waits for an element that can be seen.
func (p *tab) there(css string) {
	p.t.Helper()
	p.wait(fmt.Sprintf("document.querySelector(%q)?.checkVisibility()", css))
}

// click waits for an element and presses it as a pointer does.
func (p *tab) click(css string) {
	p.t.Helper()
	p.there(css)
	p.do(chromedp.Click(chromedp.CSS(css)))
}

// asked waits until the card asks for an observation, or has another heading such as "opening".
func (p *tab) asked(id string) {
	p.t.Helper()
	p.there(fmt.Sprintf(`#card:not([aria-busy="true"]) #question [data-asks=%q]`, id))
}

func (p *tab) answer(state string) {
	p.t.Helper()
	p.click(fmt.Sprintf("#question [data-state=%q]", state))
}

func (p *tab) say(text string) {
	p.t.Helper()
	p.do(chromedp.SendKeys(chromedp.CSS("#text"), text+kb.Enter))
}

func (p *tab) text(css string) string {
	p.t.Helper()
	return eval[string](p, fmt.Sprintf("document.querySelector(%q)?.innerText ?? ''", css))
}

func (p *tab) scheme(name string) {
	p.t.Helper()
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}, {Name: "prefers-reduced-motion", Value: "reduce"}}
	_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features})
	require.NoError(p.t, err)
}

// picture keeps what the page looks like in the directory that LIGHTOFF_PICTURES names, for people to look at.
func (p *tab) picture(name string) {
	p.t.Helper()
	dir := os.Getenv("LIGHTOFF_PICTURES")
	if dir == "" {
		return
	}
	eval[chromedp.Void](p, "scrollTo(0, 0)")
	shot := chromedp.FullScreenshot(90)
	if eval[bool](p, "document.querySelector('#danger').open") {
		shot = chromedp.CaptureScreenshot()
	}
	image, err := chromedp.Run(p.ctx, shot)
	require.NoError(p.t, err)
	require.NoError(p.t, os.WriteFile(filepath.Join(dir, name+".png"), image, 0o600))
}

// audit runs the accessibility rules of axe-core, if LIGHTOFF_AXE names its script, and names what they find.
func (p *tab) audit() string {
	p.t.Helper()
	path := os.Getenv("LIGHTOFF_AXE")
	if path == "" {
		return ""
	}
	if !eval[bool](p, `typeof axe !== "undefined"`) {
		script, err := os.ReadFile(path)
		require.NoError(p.t, err)
		eval[chromedp.Void](p, string(script)+";0")
	}
	return eval[string](p, `axe.run().then((r) => r.violations.map((v) => v.id + ": " + v.help + " " + v.nodes.map((n) => n.target).join(" ")).join("\n"))`)
}

// tooWide names what sticks out of the window sideways.
func (p *tab) tooWide() string {
	p.t.Helper()
	return eval[string](p, `(() => { const wide = document.documentElement.clientWidth;
		if (document.documentElement.scrollWidth <= wide) return "";
		return [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > wide + 0.5)
			.map((e) => e.tagName + "#" + e.id + "." + e.getAttribute("class") + " " + Math.round(e.getBoundingClientRect().right)).join("\n") || "something"; })()`)
}

// house is a site whose socket can go away and come back at the same address, as when a server is replaced.
type house struct {
	*httptest.Server
	fake *fake
	open func() *room
	mu   sync.Mutex
	now  *room // nil while away
}

type room struct {
	http.Handler
	done chan struct{}
}

func newHouse(t *testing.T) *house {
	h := &house{fake: newFake()}
	conn := dialFake(t, h.fake)
	h.open = func() *room {
		done := make(chan struct{})
		return &room{Handler: webui.Handler(conn, webui.Options{Done: done}), done: done}
	}
	pages := h.open()
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.mu.Lock()
		now := h.now
		h.mu.Unlock()
		switch {
		case r.URL.Path != "/socket":
			pages.ServeHTTP(w, r)
		case now == nil:
			http.Error(w, "away", http.StatusServiceUnavailable)
		default:
			now.ServeHTTP(w, r)
		}
	}))
	h.comeBack()
	t.Cleanup(func() { h.goAway(); h.Close() })
	return h
}

func (h *house) goAway() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.now != nil {
		close(h.now.done)
		h.now = nil
	}
}

func (h *house) comeBack() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.open()
}

// visit opens the house's page, or the card at path, in a new tab as wide as a desk.
func visit(t *testing.T, h *house, path string) *tab {
	t.Helper()
	p := newTab(t, 1280, 900)
	p.do(chromedp.Navigate(h.URL + path))
	return p
}

// pastSafety answers the safety card and comes to the opening question.
func (p *tab) pastSafety() {
	p.t.Helper()
	p.click("#none")
	p.asked("co_alarm")
	p.answer("silent_tested")
	p.asked("opening")
	p.there(`#question [data-state="E-08"]`)
}

func (p *tab) saved() {
	p.t.Helper()
	p.wait(`document.querySelector("#link").textContent === "All saved"`)
}

func TestConversation(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	assert.Equal(t, 0, house.fake.count(), "a look at the page opens no conversation")
	p.pastSafety()
	assert.Equal(t, house.URL+"/c/card-1", eval[string](p, "location.href"), "the address leads back to the card")

	p.answer("E-08")
	p.asked("rest_voltage")
	assert.Contains(t, p.text("#question"), "No metal jewellery", "cautions stand openly")
	assert.NotContains(t, p.text("#question"), "Meter on the battery posts", "the way to do it is folded")
	assert.Equal(t, "decimal", eval[string](p, `document.querySelector("#question input").inputMode`))
	p.do(chromedp.SendKeys(chromedp.CSS("#reading-rest_voltage"), "about twelve"+kb.Enter))
	p.there("#reading-rest_voltage-bad")
	p.do(chromedp.SetValue(chromedp.CSS("#reading-rest_voltage"), "99"), chromedp.Click(chromedp.CSS("#question .go")))
	p.wait(`document.querySelector("#reading-rest_voltage-bad").textContent.includes("0 to 40 V")`)
	p.do(chromedp.SetValue(chromedp.CSS("#reading-rest_voltage"), "11,9 V"), chromedp.Click(chromedp.CSS("#question .go")))
	p.asked("pump_ticks")
	assert.Contains(t, p.text("[data-line=rest_voltage]"), "11.9 V")
	assert.Contains(t, p.text("#question"), "This starts the heater.")

	p.click("#question [data-unknown]")
	p.asked("smoke")
	p.click("#question [data-skip]")
	p.asked("done")
	assert.Contains(t, p.text("[data-line=smoke]"), "skipped")

	p.click("[data-change=pump_ticks]")
	p.click("[data-line=pump_ticks] [data-state=none]")
	p.wait(`document.querySelector("[data-line=pump_ticks]").textContent.includes("Pump ticking: none")`)
	p.saved()
	assert.Contains(t, p.text("#suspected li"), "The fuel pump does not run", "the margin follows")
	assert.Contains(t, p.text("#plan"), "Heater cold and isolated.")

	p.click("[data-retract=smoke]")
	p.saved()
	p.asked("smoke")
	assert.Empty(t, p.text("[data-line=smoke]"))

	p.click("[data-cause=pump_dead] summary")
	p.wait(`document.querySelector("[data-cause=pump_dead]").textContent.includes("In short: The fuel pump does not run.")`)
	assert.Contains(t, p.text("[data-cause=pump_dead]"), "for it")
	p.click("#all-causes")
	p.there("[data-cause=board_fault]")

	p.click("#tools > summary")
	p.click("[data-tool=multimeter]")
	p.there("[data-tool=multimeter][aria-pressed=true]")
	p.wait(`document.querySelector("#tools summary").textContent.includes("Multimeter")`)
	p.saved()

	p.do(chromedp.Reload())
	p.asked("smoke")
	assert.Contains(t, p.text("[data-line=rest_voltage]"), "11.9 V", "reloading keeps the place")
	assert.Equal(t, 1, house.fake.count())
}

func TestAnotherCheckInstead(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.pastSafety()
	p.answer("E-08")
	p.asked("rest_voltage")
	p.click("[data-ask=smoke]")
	p.asked("smoke")
	p.click("#back")
	p.asked("rest_voltage")
	p.click("[data-ask=smoke]")
	p.asked("smoke")
	p.answer("black")
	p.asked("rest_voltage")
}

func TestFreeText(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.pastSafety()
	p.say("it shows E-08, with white smoke")
	p.there("#danger[open]")
	p.click("#acknowledge")
	assert.Contains(t, p.text("[data-chip=fault_code]"), "“E-08” → Code on the panel: E-08")
	p.click("[data-chip=smoke] .off")
	p.wait(`!document.querySelector("[data-chip=smoke]")`)
	p.wait(`!document.querySelector("[data-banner=flooded]")`)
	p.saved()
	assert.NotEmpty(t, p.text("[data-chip=fault_code]"))
	p.say("<b>mumble</b>")
	p.wait(`document.querySelector("#chips").textContent.includes("Nothing in “<b>mumble</b>” was understood")`)
}

func TestDangerStaysUntilItsTriggerIsTakenBack(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.click(`#safety [name="co_alarm"]`)
	p.there("#danger[open] [data-danger=carbon_monoxide]")
	assert.Contains(t, p.text("#danger"), "LEAVE NOW")
	assert.Equal(t, "tel:112", eval[string](p, `document.querySelector("#danger a").getAttribute("href")`))
	p.do(chromedp.KeyEvent(kb.Escape), chromedp.KeyEvent(kb.Escape))
	p.there("#danger[open]")
	p.click("#acknowledge")
	p.wait(`!document.querySelector("#danger").open`)
	p.there("[data-banner=carbon_monoxide]")
	p.there(`#safety .air`)
	assert.Equal(t, "None of the others", p.text("#none"))

	p.do(chromedp.Reload())
	p.there("#danger[open] [data-danger=carbon_monoxide]")
	p.click("#acknowledge")
	p.click(`#safety [name="co_alarm"]`)
	p.wait(`!document.querySelector("[data-banner]") && !document.querySelector("#danger").open`)
}

// TestLostReply cuts the line after the service has kept an answer and before the page hears of it. The page sends
// the answer again, and it counts once.
func TestLostReply(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	p.pastSafety()
	before := house.fake.events("card-1")
	house.fake.mu.Lock()
	house.fake.afterAnswer = func(ctx context.Context) {
		house.goAway()
		<-ctx.Done()
	}
	house.fake.mu.Unlock()
	p.answer("E-08")
	p.there("#question [data-asks=waiting]")
	assert.Contains(t, p.text("#link"), "1 entry is not saved yet")
	assert.Contains(t, p.text("[data-line=fault_code]"), "not saved yet")
	house.comeBack()
	p.click("#retry")
	p.asked("rest_voltage")
	p.saved()
	assert.Equal(t, before+1, house.fake.events("card-1"), "sent twice, kept once")
}

// TestUnsavedAnswersOutliveAReload answers while the service is away, reloads, and finds all saved once it is back.
func TestUnsavedAnswersOutliveAReload(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	p.pastSafety()
	house.goAway()
	p.wait(`document.querySelector("#line").className === "waiting"`)
	p.answer("E-08")
	p.there("#question [data-asks=waiting]")
	p.say("white smoke")
	p.wait(`document.querySelector("#link").textContent.includes("2 entries are not saved yet")`)
	p.do(chromedp.Reload())
	p.wait(`document.querySelector("#link").textContent.includes("2 entries are not saved yet")`)
	house.comeBack()
	p.there("#danger[open]")
	p.saved()
	assert.Contains(t, p.text("[data-line=fault_code]"), "E-08")
	assert.Contains(t, p.text("[data-line=smoke]"), "white thick")
}

func TestSecondScreenFollows(t *testing.T) {
	house := newHouse(t)
	one := visit(t, house, "/")
	one.pastSafety()
	two := visit(t, house, "/c/card-1")
	two.asked("opening")
	two.do(chromedp.SendKeys(chromedp.CSS("#text"), "half a sen"))
	one.answer("E-08")
	two.asked("rest_voltage")
	assert.Equal(t, "text", eval[string](two, "document.activeElement.id"), "the focus stays with who is typing")
	assert.Equal(t, "half a sen", eval[string](two, "document.activeElement.value"))
	assert.Contains(t, two.text("#news"), "Now asked: What does the battery measure")
}

func TestWrongAddress(t *testing.T) {
	p := visit(t, newHouse(t), "/c/nobody")
	p.asked("gone")
	assert.Equal(t, "/", eval[string](p, `document.querySelector("#question a").getAttribute("href")`))
}

// tabTo presses Tab until the element has the focus.
func (p *tab) tabTo(css string) {
	p.t.Helper()
	p.there(css)
	for range 80 {
		p.do(chromedp.KeyEvent(kb.Tab))
		if eval[bool](p, fmt.Sprintf("document.activeElement.matches(%q)", css)) {
			outline := eval[bool](p, `document.activeElement.matches(":focus-visible")`)
			assert.True(p.t, outline, "the focus on %s can be seen", css)
			return
		}
	}
	p.t.Fatalf("Tab does not come to %s", css)
}

func (p *tab) focused() string {
	p.t.Helper()
	return eval[string](p, `document.activeElement.dataset.asks ?? document.activeElement.id`)
}

func TestKeyboardAlone(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.wait(`document.querySelector("#line").className === "open"`)
	p.tabTo("#none")
	p.do(chromedp.KeyEvent(kb.Enter))
	p.asked("co_alarm")
	assert.Equal(t, "co_alarm", p.focused(), "after an answer the focus is on the new question")
	p.tabTo("#question [data-state=silent_untested]")
	p.do(chromedp.KeyEvent(" "))
	p.there("#danger[open]")
	assert.Equal(t, "danger-title", p.focused())
	p.tabTo("#acknowledge")
	p.do(chromedp.KeyEvent(kb.Enter))
	p.asked("opening")
	assert.Equal(t, "opening", p.focused(), "and after a danger too")
	p.tabTo("#text")
	p.do(chromedp.KeyEvent("E-08"), chromedp.KeyEvent(kb.Enter))
	p.asked("rest_voltage")
	assert.Equal(t, "text", p.focused(), "whoever types goes on typing")
	p.do(chromedp.Focus(chromedp.CSS("#question .ask")))
	p.tabTo("#reading-rest_voltage")
	p.do(chromedp.KeyEvent("12,4"), chromedp.KeyEvent(kb.Enter))
	p.asked("pump_ticks")
	assert.Equal(t, "pump_ticks", p.focused())
	p.tabTo("[data-cause] summary")
	p.do(chromedp.KeyEvent(kb.Enter))
	p.there("[data-cause] .reasons")
	p.tabTo("[data-ask=smoke]")
	p.do(chromedp.KeyEvent(kb.Enter))
	p.asked("smoke")
	assert.Equal(t, "smoke", p.focused())
}

// TestWithoutScript ticks a sign on the safety card with scripts off: the style alone says what to do.
func TestWithoutScript(t *testing.T) {
	p := newTab(t, 360, 740)
	_, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	p.do(chromedp.Navigate(newHouse(t).URL))
	seen := func(css string) bool {
		return eval[bool](p, fmt.Sprintf("document.querySelector(%q).checkVisibility()", css))
	}
	assert.True(t, seen(`a[href="tel:112"]`))
	assert.True(t, seen(`noscript p`))
	assert.False(t, seen("#safety .air"))
	p.do(chromedp.Click(chromedp.CSS(`#safety [name="people_unwell"]`)))
	assert.True(t, seen("#safety .air"))
	assert.False(t, seen("#safety .fire"))
}

// TestNarrowAndLarge lays the page out at 320 px and at twice the text size: nothing sticks out sideways.
func TestNarrowAndLarge(t *testing.T) {
	house := newHouse(t)
	p := newTab(t, 320, 640)
	p.do(chromedp.Navigate(house.URL))
	p.pastSafety()
	p.say("E-08 and white smoke")
	p.there("#danger[open]")
	p.click("#acknowledge")
	p.asked("rest_voltage")
	p.click("[data-change=smoke]")
	p.there(".edit")
	assert.Empty(t, p.tooWide())
	p.do(chromedp.EmulateViewport(360, 740))
	eval[chromedp.Void](p, `document.documentElement.style.fontSize = "200%"`)
	assert.Empty(t, p.tooWide())
	p.picture("phone-200-percent")
}

func TestPrint(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	p.pastSafety()
	p.answer("E-08")
	p.asked("rest_voltage")
	_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	require.NoError(t, err)
	p.picture("print")
	for css, want := range map[string]bool{"[data-line=fault_code]": true, "#suspected": true, "#plan": true, "footer": true, "#say": false, "[data-change]": false, "#others": false} {
		assert.Equal(t, want, eval[bool](p, fmt.Sprintf("document.querySelector(%q).checkVisibility()", css)), css)
	}
}

// TestReadNumber runs the page's own reader of numbers in the page.
func TestReadNumber(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	tests := []struct{ text, want string }{
		{"12.4", "12.4"}, {"12,4", "12.4"}, {" 12,4 V ", "12.4"}, {"−3", "-3"}, {",5", "0.5"}, {"12 . 4", "12.4"},
		{"1.234,5", ""}, {"12,4,1", ""}, {"", ""}, {"twelve", ""}, {"1e3", ""}, {"-50", ""}, {"41", ""},
	}
	for _, tt := range tests {
		got := eval[string](p, fmt.Sprintf(`import(document.querySelector("[href$='state.js']").href).then((m) => {
			const r = m.readNumber(%q, { id: "x", title: "x", unit: "V", minimum: -40, maximum: 40 }); return r.problem ? "" : String(r.number); })`, tt.text))
		assert.Equal(t, tt.want, got, "%q", tt.text)
	}
}

// poorContrast measures every visible text against what is painted behind it, by the formula of WCAG 2.2.
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

// TestLooks walks through a conversation in both schemes and sizes and keeps pictures on request. It fails where a
// picture would be too wide.
func TestLooks(t *testing.T) {
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"phone", 360, 740}, {"desk", 1280, 900}} {
		for _, scheme := range []string{"light", "dark"} {
			t.Run(size.name+" "+scheme, func(t *testing.T) {
				house := newHouse(t)
				p := newTab(t, size.width, size.height)
				p.scheme(scheme)
				look := func(name string) {
					p.picture(strings.Join([]string{size.name, scheme, name}, "-"))
					assert.Empty(t, p.tooWide(), name)
					assert.Empty(t, eval[string](p, poorContrast), name)
					assert.Empty(t, p.audit(), name)
				}
				p.do(chromedp.Navigate(house.URL))
				p.wait("document.querySelector('#line').className === 'open'")
				look("1-safety")
				p.click("#none")
				p.asked("co_alarm")
				p.answer("silent_untested")
				p.there("#danger[open]")
				p.click("#acknowledge")
				p.asked("opening")
				p.there(`[data-state="E-08"]`)
				look("2-opening")
				p.say("shows E-08 and white smoke")
				p.there("#danger[open]")
				look("3-danger")
				p.click("#acknowledge")
				p.asked("rest_voltage")
				p.click("[data-cause=soft_line_air] summary")
				p.there("[data-cause=soft_line_air] .sub")
				p.click("#tools > summary")
				p.there("#tools [data-tool=multimeter]")
				p.click("#question .fold summary")
				look("4-question")
				p.click(`[data-change="smoke"]`)
				look("5-change")
				p.click(`[data-line="safety_card"] summary`)
				p.click(`[data-change="co_alarm"]`)
				p.click(`[data-line="co_alarm"] [data-state="sounding"]`)
				p.there("#danger[open]")
				look("6-leave")
			})
		}
	}
}
