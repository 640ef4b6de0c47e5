package webui_test

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui"
	"lightoff/webui/pagetest"
)

// TestMain ends the browser after the tests.
func TestMain(m *testing.M) {
	code := m.Run()
	pagetest.Stop()
	os.Exit(code)
}

// house is a site whose socket can go away and come back at the same address, as when a server is replaced.
type house struct {
	*httptest.Server
	fake *fake
	open func() *room
	mu   sync.Mutex
	now  *room // nil while away

	lines *lines
}

// lines remembers the connections that it accepts, so that they can be cut without a farewell.
type lines struct {
	net.Listener
	mu    sync.Mutex
	conns []net.Conn
}

func (l *lines) Accept() (net.Conn, error) {
	conn, err := l.Listener.Accept()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conns = append(l.conns, conn)
	return conn, err
}

func (l *lines) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, conn := range l.conns {
		if conn != nil {
			_ = conn.Close()
		}
	}
	l.conns = nil
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
	h.Server = httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
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
	h.lines = &lines{Listener: h.Listener}
	h.Listener = h.lines
	h.Start()
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
func visit(t *testing.T, h *house, path string) *pagetest.Tab {
	t.Helper()
	p := pagetest.NewTab(t, 1280, 900)
	p.Visit(h.URL + path)
	return p
}

// pastSafety answers the safety card and comes to the opening question.
func pastSafety(p *pagetest.Tab) {
	p.Click("#none")
	p.Asked("co_alarm")
	p.Answer("silent_tested")
	p.Asked("opening")
	p.There(`#question [data-state="E-08"]`)
}

func TestConversation(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	assert.Equal(t, 0, house.fake.count(), "a look at the page opens no conversation")
	pastSafety(p)
	assert.Equal(t, house.URL+"/c/card-1", pagetest.Eval[string](p, "location.href"), "the address leads back to the card")

	p.Answer("E-08")
	p.Asked("rest_voltage")
	assert.Contains(t, p.Text("#question"), "No metal jewellery", "cautions stand openly")
	assert.NotContains(t, p.Text("#question"), "Meter on the battery posts", "the way to do it is folded")
	assert.Equal(t, "decimal", pagetest.Eval[string](p, `document.querySelector("#question input").inputMode`))
	p.Do(chromedp.SendKeys(chromedp.CSS("#reading-rest_voltage"), "about twelve"+kb.Enter))
	p.There("#reading-rest_voltage-bad")
	p.Do(chromedp.SetValue(chromedp.CSS("#reading-rest_voltage"), "99"), chromedp.Click(chromedp.CSS("#question .go")))
	p.Wait(`document.querySelector("#reading-rest_voltage-bad").textContent.includes("0 to 40 V")`)
	p.Do(chromedp.SetValue(chromedp.CSS("#reading-rest_voltage"), "11,9 V"), chromedp.Click(chromedp.CSS("#question .go")))
	p.Asked("pump_ticks")
	assert.Contains(t, p.Text("[data-line=rest_voltage]"), "11.9 V")
	assert.Contains(t, p.Text("#question"), "This starts the heater.")

	p.CannotTell()
	p.Asked("smoke")
	p.Skip()
	p.Asked("done")
	assert.Contains(t, p.Text("[data-line=smoke]"), "skipped")

	p.Change("pump_ticks", "none")
	p.Wait(`document.querySelector("[data-line=pump_ticks] .me").innerText === "none"`)
	p.Saved()
	assert.Contains(t, p.Text("#verdict"), "The fuel pump does not run", "the verdict follows")
	assert.Contains(t, p.Text("[data-line=pump_ticks] .shift"), "The fuel pump does not run rose from 35 to 85 in 100",
		"what the answer changed is said")
	assert.Contains(t, p.Text("#suspected li"), "The fuel pump does not run", "so do the suspects")
	assert.Equal(t, "3", pagetest.Eval[string](p, `document.querySelector("[data-place=pump]").dataset.level`),
		"and the picture")
	p.Click("#deed")
	p.There("#repair-title")
	assert.Contains(t, p.Text("#sheet"), "Heater cold and isolated.")
	p.Close()

	p.TakeBack("smoke")
	p.Saved()
	p.Asked("smoke")
	assert.Empty(t, p.Text("[data-line=smoke]"))

	p.Click("[data-cause=pump_dead] summary")
	p.Wait(
		`document.querySelector("[data-cause=pump_dead]").textContent.includes("In short: The fuel pump does not run.")`)
	assert.Contains(t, p.Text("[data-cause=pump_dead]"), "for it")
	p.Click("#all-causes")
	p.There("[data-cause=board_fault]")
	house.fake.forgotten.Store(true)
	p.Click("[data-cause=board_fault] summary")
	p.Wait(`document.querySelector("[data-cause=board_fault]").textContent.includes("In short: ")`)

	p.Open("menu")
	p.Click("#tools > summary")
	p.Click("[data-tool=multimeter]")
	p.There("[data-tool=multimeter][aria-pressed=true]")
	p.Wait(`document.querySelector("#tools summary").textContent.includes("Multimeter")`)
	p.Saved()

	p.Reload()
	p.Asked("smoke")
	assert.Contains(t, p.Text("[data-line=rest_voltage]"), "11.9 V", "reloading keeps the place")
	assert.Equal(t, 1, house.fake.count())
}

func TestAnotherCheckInstead(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	pastSafety(p)
	p.Answer("E-08")
	p.Asked("rest_voltage")
	p.Click("[data-ask=smoke]")
	p.Asked("smoke")
	p.Click("#back")
	p.Asked("rest_voltage")
	p.Click("[data-ask=smoke]")
	p.Asked("smoke")
	p.Answer("black")
	p.Asked("rest_voltage")
}

func TestFreeText(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	pastSafety(p)
	p.Say("it shows E-08, with white smoke")
	p.Acknowledge()
	assert.Contains(t, p.Text("[data-chip=fault_code]"), "Code on the panel: E-08")
	p.NotMeant("smoke")
	p.Wait(`!document.querySelector("[data-banner=flooded]")`)
	p.Saved()
	assert.NotEmpty(t, p.Text("[data-chip=fault_code]"))
	p.Say("<b>mumble</b>")
	p.Wait(`document.querySelector("#told").textContent.includes("<b>mumble</b>Nothing in it was understood")`)
}

func TestDangerStaysUntilItsTriggerIsTakenBack(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.Click(`#safety [name="co_alarm"]`)
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	assert.Contains(t, p.Text("#danger"), "Leave now")
	assert.Equal(t, "tel:112", pagetest.Eval[string](p, `document.querySelector("#danger a").getAttribute("href")`))
	p.Do(chromedp.KeyEvent(kb.Escape), chromedp.KeyEvent(kb.Escape))
	p.Acknowledge()
	p.There("[data-banner=carbon_monoxide]")
	p.There(`#safety .air`)
	assert.Equal(t, "None of the others", p.Text("#none"))

	p.Reload()
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Click("#acknowledge")
	pagetest.Eval[chromedp.Void](p, `document.dispatchEvent(new Event("visibilitychange"))`)
	p.Acknowledge() // who comes back from a call meets it again
	p.Click("[data-banner=carbon_monoxide] summary")
	assert.Contains(t, p.Text("[data-banner=carbon_monoxide]"), "Carbon monoxide alarm: sounding")
	p.Click("[data-banner=carbon_monoxide] [data-withdraw=co_alarm]")
	p.Wait(`!document.querySelector("[data-banner]") && !document.querySelector("#danger").open`)
}

// TestDangerBeforeItsAssessment: the danger shows while the service has yet to think, and the rest comes by itself.
func TestDangerBeforeItsAssessment(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	pastSafety(p)
	thinking := make(chan struct{})
	house.fake.mu.Lock()
	house.fake.thinking = thinking
	house.fake.mu.Unlock()
	p.Answer("E-08")
	p.Asked("waiting")
	assert.Contains(t, p.Text("[data-line=fault_code]"), "E-08")
	_, err := house.fake.AnswerQuestions(t.Context(), &lightoffv1.AnswerQuestionsRequest{Id: "card-1", // on another screen
		Observations: []*lightoffv1.Observation{{Id: "co_alarm", Value: &lightoffv1.Observation_State{State: "sounding"}}}})
	require.NoError(t, err)
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Reload()
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Acknowledge()
	none := `document.querySelectorAll("#suspected li").length === 0`
	assert.True(t, pagetest.Eval[bool](p, none))
	close(thinking)
	p.Wait("!(" + none + ")")
	p.Asked("rest_voltage")
	p.Saved()
}

// TestLostReply cuts the line after the service has kept an answer and before the page hears of it. The page sends
// the answer again, and it counts once.
func TestLostReply(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	pastSafety(p)
	before := house.fake.events("card-1")
	house.fake.mu.Lock()
	house.fake.afterAnswer = func(context.Context) {
		house.goAway()
		house.lines.cut()
	}
	house.fake.mu.Unlock()
	p.Answer("E-08")
	p.There("#question [data-asks=waiting]")
	assert.Contains(t, p.Text("#link"), "1 entry is not saved yet")
	assert.Contains(t, p.Text("[data-line=fault_code]"), "not saved yet")
	house.comeBack()
	// Pressed unless the page has come back by itself in the meantime.
	p.Wait(`(() => { const retry = document.querySelector("#retry"); if (!retry.hidden) retry.click(); return true; })()`)
	p.Asked("rest_voltage")
	p.Saved()
	assert.Equal(t, before+1, house.fake.events("card-1"), "sent twice, kept once")
}

// TestUnsavedAnswersOutliveAReload answers while the service is away, reloads, and finds all saved once it is back.
func TestUnsavedAnswersOutliveAReload(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	pastSafety(p)
	house.goAway()
	p.Wait(`document.querySelector("#line").className === "waiting"`)
	p.Answer("E-01")
	p.There("#question [data-asks=waiting]")
	p.Say("white smoke")
	p.Unsaved(2)
	p.Change("fault_code", "E-08")
	p.Unsaved(3)
	p.Wait(`document.querySelector("[data-line=fault_code]").textContent.includes("E-08")`)
	p.Reload()
	p.Unsaved(3)
	house.comeBack()
	p.There("#danger[open]")
	p.Saved()
	assert.Contains(t, p.Text("[data-line=fault_code]"), "E-08")
	assert.Contains(t, p.Text("[data-line=smoke]"), "white thick")
}

func TestSecondScreenFollows(t *testing.T) {
	house := newHouse(t)
	one := visit(t, house, "/")
	pastSafety(one)
	two := visit(t, house, "/c/card-1")
	two.Asked("opening")
	two.Do(chromedp.SendKeys(chromedp.CSS("#text"), "half a sen"))
	one.Answer("E-08")
	two.Asked("rest_voltage")
	assert.Equal(t, "text", pagetest.Eval[string](two, "document.activeElement.id"), "the focus stays with who is typing")
	assert.Equal(t, "half a sen", pagetest.Eval[string](two, "document.activeElement.value"))
	assert.Contains(t, two.Text("#news"), "Now asked: What does the battery measure")
}

func TestWrongAddress(t *testing.T) {
	p := visit(t, newHouse(t), "/c/nobody")
	p.Asked("gone")
	assert.Equal(t, "/", pagetest.Eval[string](p, `document.querySelector("#question a").getAttribute("href")`))
}

func TestKeyboardAlone(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.Connected()
	p.TabTo("#none")
	p.Press(kb.Enter)
	p.Asked("co_alarm")
	assert.Equal(t, "co_alarm", p.Focused(), "after an answer the focus is on the new question")
	p.TabTo("#question [data-state=silent_untested]")
	p.Press(" ")
	p.Asked("opening")
	assert.Equal(t, "opening", p.Focused())
	p.There("#care [data-banner=alarm_untested]")
	assert.False(t, p.Seen("#danger"), "what to take care of never takes the screen")
	p.TabTo("#text")
	p.Do(chromedp.KeyEvent("E-08"), chromedp.KeyEvent(kb.Enter))
	p.Asked("rest_voltage")
	assert.Equal(t, "text", p.Focused(), "whoever types goes on typing")
	p.Do(chromedp.Focus(chromedp.CSS("#question .ask")))
	p.TabTo("#reading-rest_voltage")
	p.Do(chromedp.KeyEvent("12,4"), chromedp.KeyEvent(kb.Enter))
	p.Asked("pump_ticks")
	assert.Equal(t, "pump_ticks", p.Focused())
	p.TabTo("#verdict")
	p.Press(kb.Enter)
	p.TabTo("[data-cause] summary")
	p.Press(kb.Enter)
	p.There("[data-cause] .reasons")
	p.TabTo("[data-ask=smoke]")
	p.Press(kb.Enter)
	p.Asked("smoke")
	assert.Equal(t, "smoke", p.Focused())
}

// TestWithoutScript ticks a sign on the safety card with scripts off: the style alone says what to do.
func TestWithoutScript(t *testing.T) {
	p := pagetest.NewTab(t, 360, 740)
	p.NoScript()
	p.Visit(newHouse(t).URL)
	assert.True(t, p.Seen(`a[href="tel:112"]`))
	assert.True(t, p.Seen(`noscript p`))
	assert.False(t, p.Seen("#safety .air"))
	p.Do(chromedp.Click(chromedp.CSS(`#safety [name="people_unwell"]`)))
	assert.True(t, p.Seen("#safety .air"))
	assert.False(t, p.Seen("#safety .fire"))
}

// TestNarrowAndLarge lays the page out at 320 px and at twice the text size: nothing sticks out sideways.
func TestNarrowAndLarge(t *testing.T) {
	for _, locale := range []string{"en", "de"} {
		house := newHouse(t)
		p := pagetest.NewTab(t, 320, 640)
		p.Visit(house.URL + "/?lang=" + locale)
		pastSafety(p)
		p.Say("E-08 and white smoke")
		p.Acknowledge()
		p.Asked("rest_voltage")
		p.Edit("smoke")
		assert.Empty(t, p.TooWide(), locale)
		p.Open("menu")
		p.There("#share")
		assert.Empty(t, p.TooWide(), locale)
		p.Resize(360, 740)
		pagetest.Eval[chromedp.Void](p, `document.documentElement.style.fontSize = "200%"`)
		assert.Empty(t, p.TooWide(), locale)
		p.Close()
		p.Click("#leave")
		assert.Empty(t, p.TooWide(), locale)
		for _, css := range []string{"#verdict", "#deed", "#question .go", "#question [data-skip]", "#text"} {
			assert.True(t, p.Reachable(css), "%s can be scrolled to: %s", css, locale)
		}
		p.Picture("phone-200-percent-" + locale)
		pagetest.Eval[chromedp.Void](p, `document.cookie = "lang=; path=/; max-age=0"`)
	}
}

func TestPrint(t *testing.T) {
	house := newHouse(t)
	p := visit(t, house, "/")
	pastSafety(p)
	p.Answer("E-08")
	p.Asked("rest_voltage")
	p.Print()
	p.Picture("print")
	for css, want := range map[string]bool{"[data-line=fault_code]": true, "#suspected": true, "#plan": true,
		"footer": true, "#say": false, "#question": false, "#others": false} {
		assert.Equal(t, want, p.Seen(css), css)
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
		got := pagetest.Eval[string](p, fmt.Sprintf(`import(document.querySelector("[href$='state.js']").href).then((m) => {
			const r = m.readNumber(%q, { id: "x", title: "x", unit: "V", minimum: -40, maximum: 40 }); return r.problem ? "" : String(r.number); })`, tt.text))
		assert.Equal(t, tt.want, got, "%q", tt.text)
	}
}

// sizes are the windows in which the page is looked at.
var sizes = []struct {
	name          string
	width, height int64
}{{"phone", 360, 740}, {"desk", 1280, 900}}

// TestLooks walks through a conversation in every scheme and size and keeps pictures on request. It fails where
// something sticks out sideways or is hard to read.
func TestLooks(t *testing.T) {
	for _, size := range sizes {
		for _, scheme := range []string{"light", "dark", "night"} {
			t.Run(size.name+" "+scheme, func(t *testing.T) {
				p := pagetest.NewTab(t, size.width, size.height)
				walk(t, p, scheme, func(name string) {
					p.Picture(strings.Join([]string{size.name, scheme, name}, "-"))
					assert.Empty(t, p.TooWide(), name)
					assert.Empty(t, p.PoorContrast(), name)
				})
			})
		}
	}
}

// TestAccessibility walks through a conversation and has every screen judged by the rules of axe-core, an independent
// checker, once it has been seen to find a fault.
func TestAccessibility(t *testing.T) {
	for _, size := range sizes {
		t.Run(size.name, func(t *testing.T) {
			p := pagetest.NewTab(t, size.width, size.height)
			p.NeedAudit()
			walk(t, p, "light", func(name string) { assert.Empty(t, p.Audit(), name) })
			pagetest.Eval[chromedp.Void](p, `document.querySelector("#acknowledge").textContent = ""`)
			assert.Contains(t, p.Audit(), "button-name", "a button without a name is found")
		})
	}
}

// walk goes through a conversation in a scheme and lets every screen be looked at.
func walk(t *testing.T, p *pagetest.Tab, scheme string, look func(name string)) {
	house := newHouse(t)
	p.Scheme(scheme)
	if scheme == "night" {
		p.Scheme("light") // the night view is chosen, whatever the system prefers
		p.Visit(house.URL)
		p.Connected()
		p.Open("menu")
		p.Click("#night")
		t.Cleanup(func() { pagetest.Eval[chromedp.Void](p, `document.cookie = "look=; path=/; max-age=0"`) })
	}
	p.Visit(house.URL)
	p.Connected()
	look("1-safety")
	p.Click("#none")
	p.Asked("co_alarm")
	p.Answer("silent_untested")
	p.Asked("opening")
	p.There(`[data-state="E-08"]`)
	look("2-opening")
	p.Say("shows E-08 and white smoke")
	p.There("#danger[open]")
	look("3-danger")
	p.Click("#acknowledge")
	p.Asked("rest_voltage")
	p.Click("#how")
	p.There("[data-drawing=rest_voltage]")
	look("4-question")
	p.Open("may")
	p.Click("[data-cause=soft_line_air] summary")
	p.There("[data-cause=soft_line_air] .sub")
	look("5-suspects")
	p.Open("todo")
	look("6-to-do")
	p.Close()
	p.Click("#deed")
	p.There("#sheet h2")
	look("7-repair")
	p.Close()
	p.Open("menu")
	p.Click("#tools > summary")
	p.There("#tools [data-tool=multimeter]")
	look("8-menu")
	p.Close()
	p.Edit("smoke")
	look("9-change")
	p.Click("#leave")
	p.Change("co_alarm", "sounding")
	p.There("#danger[open]")
	look("x-leave")
}

// TestForumText takes a text along in each form: headed by the standing danger, without the card's key, the words that
// were typed, and anything that tells where the heater is.
func TestForumText(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	pastSafety(p)
	p.Say("Ada's [van] at Nowhere Pass shows E-08, *white smoke*")
	p.Acknowledge()
	p.Asked("rest_voltage")
	p.CannotTell()
	p.Asked("pump_ticks")
	p.Saved()
	p.Open("menu")
	p.There("#share")
	text := func(form string) string {
		p.Click(fmt.Sprintf("[data-form=%s]", form))
		p.There(fmt.Sprintf("[data-form=%s][aria-pressed=true]", form))
		return pagetest.Eval[string](p, `document.querySelector("#forum").value`)
	}
	for form, begin := range map[string]string{
		"markdown": "**Standing danger: Do not start it: Unburnt fuel in the burner**\nNo more starts, not even to burn it " +
			"off.",
		"bbcode": "[b]Standing danger: Do not start it: Unburnt fuel in the burner[/b]\nNo more starts",
		"plain":  "Standing danger: Do not start it: Unburnt fuel in the burner\nNo more starts",
	} {
		got := text(form)
		assert.True(t, strings.HasPrefix(got, begin), "%s begins with the danger: %s", form, got)
		for _, want := range []string{"Code on the panel: E-08", "Smoke: white thick", "Battery at rest",
			"Air gets into the fuel line: 44 in 100", "Mend it: air gets into the fuel line", "local codes and licensed work"} {
			assert.Contains(t, got, want, form)
		}
		for _, secret := range []string{"card-1", "http", "127.0.0.1", "Ada", "Nowhere", "van"} {
			assert.NotContains(t, got, secret, form)
		}
	}
	assert.Contains(t, text("markdown"), "### What was found\n- ")
	assert.Contains(t, text("bbcode"), "[b]What was found[/b]\n[list]\n[*]")
	assert.Contains(t, text("plain"), "WHAT WAS FOUND\n- ")
	escaped := pagetest.Eval[string](p,
		`import(document.querySelector("[href$='state.js']").href.replace("state.js", "share.js")).then((m) => ["markdown", "bbcode"].map((form) =>
		m.forumText({ queue: [], refused: [], conversation: { told: [{ observation: { id: "x" }, text: "[url]*a*_b_ <i>" }, { observation: { id: "altitude" }, text: "1,814 m" }] } }, form)).join())`)
	assert.Contains(t, escaped, `\[url\]\*a\*\_b\_ \<i\>`, "no text becomes markup")
	assert.Contains(t, escaped, `(url)*a*_b_ <i>`)
	assert.NotContains(t, escaped, "1,814", "the height would tell the place")
}

// TestNothingMovesWhileAnAnswerArrives keeps the service's reply back for longer than the half second in which browsers
// forgive a shift, and lets it come: the verdict, the first thing to do and the line to type in stay where they are.
func TestNothingMovesWhileAnAnswerArrives(t *testing.T) {
	for _, width := range []int64{360, 1280} {
		house := newHouse(t)
		p := pagetest.NewTab(t, width, 740)
		p.Visit(house.URL)
		pastSafety(p)
		p.Answer("E-08")
		p.Asked("rest_voltage")
		held := make(chan struct{})
		house.fake.mu.Lock()
		house.fake.afterAnswer = func(context.Context) { <-held }
		house.fake.mu.Unlock()
		p.CannotTell()
		p.There("[data-line=rest_voltage] .mark")
		// On a phone a keypad takes the room of the picture, and the next question gives it back.
		still := map[int64]string{360: "#say", 1280: "#verdict, #deed, #say"}[width]
		places := `JSON.stringify([...document.querySelectorAll("` + still +
			`")].map((e) => { const r = e.getBoundingClientRect(); return [Math.round(r.top), Math.round(r.left)]; }))`
		before := pagetest.Eval[string](p, places)
		close(held)
		p.Asked("pump_ticks")
		p.Saved()
		assert.Equal(t, before, pagetest.Eval[string](p, places), "verdict, deed and line at %d", width)
	}
}
