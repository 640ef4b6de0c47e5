package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/api"
	"lightoff/server/store"
	"lightoff/webui/pagetest"
)

// deskOf opens a program with the real model and a desk's page beside it, signed in, 1,280 pixels wide.
func deskOf(t *testing.T, p *Program) *pagetest.Tab {
	t.Helper()
	tab, _ := deskAndToken(t, p)
	return tab
}

func deskAndToken(t *testing.T, p *Program) (*pagetest.Tab, string) {
	t.Helper()
	tab := pagetest.NewTab(t, 1280, 900)
	token, _, err := p.store.MakeToken(t.Context(), "Ines", store.Desk, time.Hour)
	require.NoError(t, err)
	tab.Visit(p.URL() + "desk")
	tab.Wait(`document.activeElement.id === "token"`)
	tab.Do(chromedp.KeyEvent("nonsense"), chromedp.KeyEvent(kb.Enter))
	tab.Wait(`document.querySelector("#token-bad").textContent !== "" && document.activeElement.value === ""`)
	tab.Do(chromedp.KeyEvent(token), chromedp.KeyEvent(kb.Enter))
	tab.Wait(`document.activeElement.id === "case"`)
	tab.Connected()
	assert.NotContains(t, pagetest.Eval[string](tab, "document.cookie"), "lightoff-desk", "no script reads the token")
	return tab, token
}

// TestBrowserDeskByKeys takes a whole case without a pointer: a new call in one line, the safety card, an answer, a
// note, handing on, taking over, the end and the report.
func TestBrowserDeskByKeys(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	d := deskOf(t, p)
	d.Picture("desk-1-queue")
	d.Do(chromedp.KeyEvent("E-01 12.6 rest 10.4 glow soft hose"), chromedp.KeyEvent(kb.Enter))
	d.Arrives("/desk/c/")
	d.There("[data-line=glow_voltage_heater]")
	assert.Contains(t, d.Text("[data-line=glow_voltage_heater]"), "10.4 V")
	assert.Contains(t, d.Text("[data-line=rest_voltage]"), "12.6 V")
	assert.Contains(t, d.Text("[data-line=fault_code]"), "E-01")
	d.Wait(`document.activeElement.id === "safety-title" && document.querySelector("#panel ` +
		`.who").textContent.includes("with Ines")`)
	d.Do(chromedp.KeyEvent("n t c 3")) // whatever is typed goes into the line at once
	assert.Equal(t, "n t c 3", pagetest.Eval[string](d, `document.querySelector("#text").value`))
	pagetest.Eval[chromedp.Void](d, `document.querySelector("#text").value = ""`)
	d.Press(kb.Escape)
	d.Shortcut("0")
	asked := d.AskedNext("")
	assert.Equal(t, `"1"`, pagetest.Eval[string](d,
		`getComputedStyle(document.querySelector("#question .keys .key"), "::before").content.replace("counter(answer)", `+
			`"\"1\"").split(" /")[0]`), "each answer shows its key")
	d.Shortcut("1")
	d.AskedNext(asked)
	d.Saved()

	d.Shortcut("F4")
	d.There("#spoken")
	assert.Regexp(t, `^\w{3}-\w{3}-\w{3}$`, d.Text("#spoken"), "one key makes the code to hand over by")
	d.Shortcut("F7")
	d.Wait(`document.activeElement.id === "ticket"`)
	d.Do(chromedp.KeyEvent("HD-2217"), chromedp.KeyEvent(kb.Enter))
	d.Wait(`document.querySelector("#ticket-shown")?.textContent === "HD-2217"`)
	d.Shortcut("F8")
	d.Wait(`document.activeElement.id === "note"`)
	d.Do(chromedp.KeyEvent("<b>rings back</b> at six"), chromedp.KeyEvent(kb.Enter))
	d.There(".deed-notes li")
	assert.Contains(t, d.Text(".deed-notes"), "<b>rings back</b> at six — Ines", "no text becomes markup")
	d.Shortcut("F6")
	d.Wait(`document.activeElement.id === "to"`)
	d.Do(chromedp.KeyEvent("Otto"), chromedp.KeyEvent(kb.Enter))
	d.Wait(`document.querySelector("#panel strong").textContent === "with Otto"`)
	d.Shortcut("F2")
	d.Wait(`document.querySelector("#panel strong").textContent === "with Ines"`)

	d.Shortcut("F9")
	d.There("#close-form")
	d.Wait(`document.activeElement.name === "outcome"`)
	d.Press(kb.Enter)
	d.Wait(`document.querySelector("#deed-bad").textContent.includes("Something is missing")`)
	d.Picture("desk-2-close")
	d.TabTo("#close-form [name=cause]")
	d.Press(" ")
	d.TabTo("#close-form [name=finder]")
	d.Press(" ")
	d.TabTo("#close-form [name=surety]")
	d.Press(" ")
	d.TabTo("#remark")
	d.Do(chromedp.KeyEvent("cable renewed"), chromedp.KeyEvent(kb.Enter))
	d.Wait(`document.querySelector("#panel strong").textContent === "Settled · Ines"`)
	d.Shortcut("F3")
	d.There("#report")
	text := pagetest.Eval[string](d, `document.querySelector("#report").value`)
	for _, want := range []string{"Attended to by: Ines", "cable renewed", "rings back", "Battery voltage at rest: 12.6 V",
		"found by the owner"} {
		assert.Contains(t, text, want)
	}
	key := pagetest.Eval[string](d, `location.pathname.split("/").pop()`)
	assert.NotContains(t, text, key)
	assert.Empty(t, d.TooWide())
	d.Picture("desk-3-report")
	d.Press(kb.Escape)
	d.Shortcut("F1")
	d.There("#panel .keys-list")
	d.Picture("desk-4-keys")

	assert.Empty(t, d.Refused(), "the policy suffices")
	pagetest.Eval[chromedp.Void](d,
		`document.head.append(Object.assign(document.createElement("style"), { textContent: "body{}" })), 0`)
	d.Wait(`refusedByPolicy.length === 1 && refusedByPolicy[0].startsWith("style-src")`) // and is in force

	d.TabTo("#keys-switch")
	d.Press(" ")
	d.Press(kb.Escape)
	d.Do(chromedp.KeyEvent("12"))
	assert.Equal(t, "12", pagetest.Eval[string](d, `document.querySelector("#text").value`),
		"single keys can be switched off (WCAG 2.2, 2.1.4)")
	d.Shortcut("F10")
	d.Arrives("/desk")
	d.Wait(`document.querySelector("#queue .soft")?.textContent.includes("Nothing is open")`)
	d.Shortcut("F7")
	d.There(".call-row")
	assert.Contains(t, d.Text("[data-group=ended] .call-row"), "Settled")
	d.Shortcut("F7")
	d.Wait(`!document.querySelector(".call-row")`)
	d.Shortcut("F3")
	d.Do(chromedp.KeyEvent("hd-22"))
	d.There("[data-group=ended] .call-row")
	assert.Contains(t, d.Text(".call-row"), "HD-2217", "what has ended is found by its ticket")
	d.Shortcut("F9")
	d.There("#statistics .plot")
	assert.Contains(t, d.Text("#statistics"), "Settled: 100 in 100; closed in all: 1")
	assert.Empty(t, d.Refused())
	d.Picture("desk-5-statistics")
	d.Shortcut("F3")
	d.Press(kb.ArrowDown)
	d.Press(kb.Enter)
	d.Arrives("/desk/c/" + key)
	d.There("[data-line=fault_code]")
	for _, width := range []int64{320, 800} {
		d.Resize(width, 740)
		d.There("#panel strong")
		d.Shortcut("F6")
		d.There("#to")
		assert.Empty(t, d.TooWide(), "card at %d", width)
		d.Press(kb.Escape)
		d.Visit(p.URL() + "desk")
		d.There("#queue-title")
		assert.Empty(t, d.TooWide(), "queue at %d", width)
		d.Visit(p.URL() + "desk?lang=de")
		d.Wait(`document.querySelector("#queue-title")?.textContent.includes("Anrufe")`)
		d.Shortcut("F9")
		d.There("#statistics .plot")
		assert.Empty(t, d.TooWide(), "German queue at %d", width)
		d.Visit(p.URL() + "desk/c/" + key)
		d.There("#panel strong")
	}
	pagetest.Eval[chromedp.Void](d, `fetch("/desk/sign-out", { method: "POST" }).then(() => 0)`)
	d.Reload()
	d.Arrives("/desk")
	d.Wait(`!document.querySelector("#sign-in").hidden`)
}

// TestBrowserDeskAlarm: while a desk has another call open, a caller must leave. The title says so, a sound rings
// unless it is switched off, a live region tells it, half-typed words stay, and one key takes it.
func TestBrowserDeskAlarm(t *testing.T) {
	caller := onPhone(t)
	d, token := deskAndToken(t, caller.program)
	pagetest.Eval[chromedp.Void](d, `document.querySelector("#case").value = "E-06"`)
	d.Press(kb.Enter)
	d.Arrives("/desk/c/")
	d.There("#panel .who")
	d.Wait(`document.activeElement.id === "safety-title"`)
	d.Do(chromedp.KeyEvent("half f"))
	assert.Empty(t, pagetest.Eval[string](d, `document.querySelector("#bell").textContent`))
	rings := `import(document.querySelector("[href$='state.js']").href.replace("state.js", "bell.js")).then((m) => ` +
		`m.rings())`
	assert.Zero(t, pagetest.Eval[int](d, rings))
	caller.Click(`[name="co_alarm"]`)
	d.There("[data-bell]")
	d.Wait(`document.title.startsWith("⯃ LEAVE NOW: 1")`)
	assert.Equal(t, 1, pagetest.Eval[int](d, rings), "it rings once at first")
	assert.Contains(t, pagetest.Eval[string](d, `document.querySelector("[role=alert].unseen").textContent`),
		"Nobody at the desk has this call")
	assert.Equal(t, "half f", pagetest.Eval[string](d, `document.activeElement.value`), "what was being typed stays")
	d.Picture("desk-7-alarm")
	assert.Empty(t, d.TooWide())
	assert.Empty(t, d.PoorContrast())
	pagetest.Eval[chromedp.Void](d,
		`document.dispatchEvent(new KeyboardEvent("keydown", { key: "F2", shiftKey: true })), 0`)
	client := lightoffv1.NewDeskServiceClient(dial(t, caller.program))
	list, err := client.ListConversations(api.WithBearerToken(t.Context(), token), &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	require.NotEmpty(t, list.Entries)
	d.Arrives("/desk/c/" + list.Entries[0].Id)
	d.There("#danger[open]")
	d.Wait(`document.querySelector("#panel .who")?.textContent.includes("with Ines") && ` +
		`!document.querySelector("[data-bell]")`)
}

// TestDeskShorthand: what a desk types short comes out as the service reads it, in both languages.
func TestDeskShorthand(t *testing.T) {
	p := onPhone(t)
	tests := []struct {
		locale, typed string
		want          map[string]float64
	}{
		{"en", "E-01 12.6 rest 10.4 glow", map[string]float64{"rest_voltage": 12.6, "glow_voltage_heater": 10.4}},
		{"en", "12.6 rest, 10.4V glow, soft hose", map[string]float64{"rest_voltage": 12.6, "glow_voltage_heater": 10.4}},
		{"en", "10.9 glow at battery", map[string]float64{"glow_voltage_battery": 10.9}},
		{"de", "E-01 12,6 Ruhe 10,4 Glühen", map[string]float64{"rest_voltage": 12.6, "glow_voltage_heater": 10.4}},
	}
	client := lightoffv1.NewDiagnosisServiceClient(dial(t, p.program))
	for _, tt := range tests {
		sent := pagetest.Eval[string](p.Tab, fmt.Sprintf(`(async () => {
			const module = (name) => import(document.querySelector("[href$='state.js']").href.replace("state.js", name));
			const texts = await module("text.js");
			await texts.speakMore();
			await texts.speak(%q);
			return (await module("shorthand.js")).shorthand(%q);
		})()`, tt.locale, tt.typed))
		read, err := client.ReadText(t.Context(), &lightoffv1.ReadTextRequest{Text: sent, Locale: tt.locale})
		require.NoError(t, err)
		got := map[string]float64{}
		for _, r := range read.Readings {
			if n, ok := r.Observation.Value.(*lightoffv1.Observation_Number); ok {
				got[r.Observation.Id] = n.Number
			}
		}
		assert.Equal(t, tt.want, got, "%s, sent as %s", tt.typed, sent)
	}
}

// TestBrowserDeskAndCaller: a caller smells exhaust; the desk sees that first, opens the card by the code that the
// caller reads out, and both see each other's answers. The caller sees no note.
func TestBrowserDeskAndCaller(t *testing.T) {
	caller := onPhone(t)
	d := deskOf(t, caller.program)
	caller.Click("#none")
	caller.Asked("opening")
	caller.Say("E-08")
	caller.There("[data-line=fault_code]")
	caller.Saved()
	d.There("[data-group=waiting] [data-row]")
	assert.Contains(t, d.Text("[data-group=waiting] .call-row"), "E-08")
	assert.NotContains(t, pagetest.Eval[string](d, "document.documentElement.outerHTML"), caller.id(),
		"a desk has handles")
	caller.Open("menu")
	caller.Click("#hand-code")
	caller.There("#spoken")
	spoken := strings.ToLower(strings.ReplaceAll(caller.Text("#spoken"), "-", " "))
	caller.Close()
	caller.Change("smell_exhaust_inside", "yes")
	caller.inDanger()
	d.There(".call-row .grade")
	assert.Contains(t, d.Text("[data-group=danger] .call-row"), "Leave now")
	d.There("[data-bell]")
	d.Picture("desk-6-danger")
	d.Shortcut("F4")
	d.Do(chromedp.KeyEvent("333 333 333"), chromedp.KeyEvent(kb.Enter))
	d.Wait(`document.querySelector("#code-bad").textContent.includes("no such code")`)
	pagetest.Eval[chromedp.Void](d, `document.querySelector("#code").value = ""`)
	d.Do(chromedp.KeyEvent(spoken), chromedp.KeyEvent(kb.Enter))
	d.Arrives("/desk/c/")
	d.There("#danger[open] [data-danger=exhaust_inside]")
	d.Acknowledge()
	d.There("[data-banner=exhaust_inside]")
	d.Shortcut("F2")
	d.Wait(`document.querySelector("#panel strong").textContent === "with Ines"`)
	caller.Acknowledge()
	caller.Wait(`document.querySelector("#suggested").textContent.includes("Ines is looking after")`)
	d.Shortcut("F8")
	d.Wait(`document.activeElement.id === "note"`)
	d.Do(chromedp.KeyEvent("sounds tired"), chromedp.KeyEvent(kb.Enter))
	d.There(".deed-notes li")
	d.Press(kb.Escape)
	d.Do(chromedp.KeyEvent("soft hose"), chromedp.KeyEvent(kb.Enter))
	caller.There("[data-line=line_type]")
	caller.TakeBack("line_type")
	d.Wait(`!document.querySelector("[data-line=line_type]")`)
	d.Shortcut("F9")
	d.There("#close-form")
	pagetest.Eval[chromedp.Void](d,
		`for (const name of ["cause", "finder", "surety"]) document.querySelector("#close-form [name=" + name + "]").click()`)
	d.Click("#close-form .go")
	d.Wait(`document.querySelector("#deed-bad").textContent.includes("There is still a danger")`)
	d.Click("#close-form [value=OUT_OF_USE]")
	d.Click("#close-form .go")
	caller.Wait(`document.querySelector("#suggested").textContent.includes("This card has been closed")`)
	assert.NotContains(t, pagetest.Eval[string](caller.Tab, "document.documentElement.textContent"), "sounds tired")

	back := pagetest.NewPhone(t)
	back.Visit(caller.program.URL())
	back.Connected()
	back.Open("menu")
	back.Do(chromedp.SendKeys(chromedp.CSS("#code"), spoken+kb.Enter))
	back.Arrives("/c/")
	back.There("#danger[open] [data-danger=exhaust_inside]")
	path := pagetest.Eval[string](back, "location.pathname")
	assert.Regexp(t, "^/c/v[A-Z2-7]{26}$", path, "the code opens the card and does not hand out its key")
}

// TestBrowserOwnerChangesTheAddress: links that were given away lead nowhere afterwards, and the owner goes on.
func TestBrowserOwnerChangesTheAddress(t *testing.T) {
	owner := onPhone(t)
	owner.Click("#none")
	owner.Asked("opening")
	owner.Say("E-08")
	owner.There("[data-line=fault_code]")
	owner.Saved()
	old := owner.id()
	other := pagetest.NewPhone(t)
	other.Visit(owner.program.URL() + "c/" + old)
	other.There("[data-line=fault_code]")
	owner.Open("menu")
	owner.Click(".hand summary")
	owner.Click("#hand-change")
	var now string
	require.Eventually(t, func() bool {
		heads, err := owner.program.store.Heads(t.Context(), time.Time{})
		if err != nil || len(heads) != 1 {
			return false
		}
		now = heads[0].ID
		return now != old
	}, pagetest.Patience, 20*time.Millisecond)
	owner.Arrives("/c/" + now)
	owner.There("[data-line=fault_code]")
	other.Wait(`document.querySelector("[data-kind=gone]")`)
	assert.NotContains(t, pagetest.Eval[string](other, "document.body.innerHTML"), now)
}

// forum serves the example page of another site.
func forum(t *testing.T, service func() string, look func() string) *httptest.Server {
	t.Helper()
	page, err := os.ReadFile("../webui/testdata/forum.html")
	require.NoError(t, err)
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write([]byte(strings.NewReplacer("SERVICE", strings.TrimSuffix(service(), "/"), "LOOK",
			look()).Replace(string(page))))
	}))
	t.Cleanup(site.Close)
	return site
}

// TestBrowserWidget holds a conversation in the page of a listed site, which another site's page may not.
func TestBrowserWidget(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	none := func() string { return "" }
	url := func() string { return p.URL() }
	listed, other := forum(t, url, none), forum(t, url, none)
	p.Embed = []string{listed.URL}
	opened(t, p)

	tab := pagetest.NewTab(t, 900, 900)
	tab.Visit(listed.URL)
	tab.There("iframe")
	tab.WaitInFrame(`document.querySelector("#line")?.className === "open"`)
	tab.Wait(`document.querySelector("iframe").style.height !== "40rem"`)
	// As tall as what is in it, and at most four fifths of the window.
	fits := func() {
		t.Helper()
		tab.WaitInFrame(`Math.abs(innerHeight - Math.min(720, document.body.getBoundingClientRect().height)) < 2`)
	}
	fits()
	assert.LessOrEqual(t, number(t, tab.InFrame("innerHeight")), 420.0, "a summary until it is opened")
	assert.Equal(t, "false", tab.InFrame(`document.querySelector("main").checkVisibility()`))
	tab.InFrame(`document.querySelector("#frame-open").click()`)
	assert.Equal(t, "yes", tab.InFrame(`document.documentElement.dataset.themed`))
	assert.Equal(t, "#0b5a4a", tab.InFrame(`getComputedStyle(document.documentElement).getPropertyValue("--accent")`))
	tab.InFrame(`document.querySelector("#none").click()`)
	tab.WaitInFrame(`document.querySelector("#question [data-asks=opening]")`)
	fits()
	tab.Picture("widget")
	kept := tab.InFrame(`sessionStorage.getItem("lightoff-framed")`)
	assert.Len(t, kept, 26)
	assert.NotContains(t, pagetest.Eval[string](tab,
		`document.querySelector("iframe").src + JSON.stringify(sessionStorage)`), kept, "the site does not learn the key")
	tab.Reload()
	tab.WaitInFrame(`document.querySelector("#question [data-asks=opening]")`)
	client := lightoffv1.NewConversationServiceClient(dial(t, p))
	tell := func(text string) {
		t.Helper()
		_, err := client.SayText(t.Context(), &lightoffv1.SayTextRequest{Id: kept, Text: text})
		require.NoError(t, err)
	}
	tell("E-08, soft hose, many bubbles")
	tab.WaitInFrame(`document.querySelector("#verdict")`)
	for i, width := range []int64{320, 480, 800} {
		if i == 2 {
			tell("thick white smoke") // a danger shows folded, too
		}
		tab.Resize(width, 900)
		if i == 2 {
			tab.WaitInFrame(`document.querySelector("[data-banner]")?.checkVisibility() || ` +
				`document.querySelector("#danger").open`)
			tab.WaitInFrame(`document.querySelector("#danger").open && innerHeight === 640`)
			tab.Picture("widget-danger")
			tab.InFrame(`document.querySelector("#danger").querySelector("#acknowledge").click()`)
			tab.WaitInFrame(`!document.querySelector("#danger").open && ` +
				`document.querySelector("[data-banner]").checkVisibility()`)
		}
		fits()
		tab.Picture(fmt.Sprintf("widget-%d", width))
		assert.LessOrEqual(t, number(t, tab.InFrame("innerHeight")), 420.0, width)
	}
	tab.Resize(900, 900)

	tab.Visit(other.URL)
	tab.There("iframe")
	tab.WaitInFrame(`document.readyState === "complete" && document.body`)
	assert.NotContains(t, tab.InFrame("document.body.innerText"), "First: is any of this so", "another site may not")
	// Nor by naming a listed one: the browser itself holds to frame-ancestors.
	pagetest.Eval[chromedp.Void](tab, fmt.Sprintf(`document.querySelector("iframe").src = %q`,
		p.URL()+"embed?host="+listed.URL))
	tab.Wait(`performance.getEntriesByType("resource").some((e) => e.name.includes("embed?host=` + listed.URL + `"))`)
	assert.NotContains(t, pagetest.Eval[string](tab,
		`(() => { try { return document.querySelector("iframe").contentDocument.body.innerText } catch { return "" } })()`),
		"First: is any of this so")
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return x
}

// TestBrowserLookOn: one who looks on in the forum suggests, and the owner alone confirms.
func TestBrowserLookOn(t *testing.T) {
	owner := onPhone(t)
	owner.Click("#none")
	owner.Asked("opening")
	owner.Say("E-08, Ada at Nowhere Pass")
	asked := owner.AskedNext("opening")
	for strings.HasPrefix(asked, "co_alarm") || asked == "complaint" {
		owner.CannotTell()
		asked = owner.AskedNext(asked)
	}
	owner.Saved()
	owner.Open("menu")
	owner.Click("#hand-look")
	owner.There("#look-link")
	link := owner.Text("#look-link")
	owner.Close()

	helper := pagetest.NewTab(t, 900, 900)
	helper.Visit(link)
	helper.Asked(asked)
	assert.NotContains(t, pagetest.Eval[string](helper, "document.documentElement.outerHTML"), owner.id(),
		"it is not the owner's key")
	assert.NotContains(t, pagetest.Eval[string](helper, "document.body.textContent"), "Nowhere")
	assert.Equal(t, "noindex", pagetest.Eval[string](helper,
		`fetch(location.href).then((r) => r.headers.get("X-Robots-Tag"))`))
	helper.Do(chromedp.SendKeys(chromedp.CSS("#looker"), "Otto"))
	helper.Click("#question .keys .key")
	helper.Wait(`document.querySelector("#looked").textContent.startsWith("Suggested:")`)
	helper.There("[data-suggestion]")
	assert.Empty(t, helper.Refused())
	helper.Picture("look-on")
	assert.Empty(t, helper.TooWide())
	assert.Nil(t, told(owner.kept(), asked), "nothing counts yet")
	owner.There("[data-suggestion] [data-confirm]")
	assert.Contains(t, owner.Text("#suggested"), "from Otto")
	owner.Picture("suggested")
	owner.Click("[data-confirm]")
	owner.There(fmt.Sprintf("[data-line=%q]", asked))
	owner.Saved()
	assert.NotNil(t, told(owner.kept(), asked))
	helper.Wait(`!document.querySelector("[data-suggestion]")`)

	// A cause, a check and a sentence: the owner sees each as what it is, and answers the check.
	helper.Click("#propose")
	pick := func(typed, css string) {
		t.Helper()
		pagetest.Eval[chromedp.Void](helper,
			fmt.Sprintf(`(() => { const f = document.querySelector("#propose"); f.value = %q; f.dispatchEvent(new `+
				`Event("input")); })()`, typed))
		helper.Click(css)
		helper.Wait(`document.querySelector("#looked").textContent.includes("Suggested:") && ` +
			`!document.querySelector("#propose").value`)
	}
	pick("kink", `[data-propose="line_kinked"]`)
	pick("bubbles", `[data-propose="bubbles"]`)
	pick("run it with the cap loose, in Nowhere", "#propose-words")
	owner.Wait(`document.querySelectorAll("[data-suggestion]").length === 3`)
	assert.Contains(t, owner.Text("#suggested"), "It might be:")
	assert.Contains(t, owner.Text("#suggested"), "no advice of this page: “run it with the cap loose")
	owner.Picture("suggested-all")
	owner.Click("[data-make]")
	owner.Asked("bubbles")
	owner.Saved()
	owner.Wait(`document.querySelectorAll("[data-suggestion]").length === 2`)
	for n := 1; n >= 0; n-- {
		owner.Click("[data-decline]")
		owner.Wait(fmt.Sprintf(`document.querySelectorAll("[data-suggestion]").length === %d`, n))
	}

	owner.Say("thick white smoke")
	owner.Acknowledge()
	helper.There("[data-banner]")
	helper.Wait(`document.documentElement.dataset.looks === "stop"`)
	assert.Empty(t, pagetest.Eval[[]string](helper,
		`[...document.querySelectorAll("#question .keys")].filter((e) => e.checkVisibility()).map((e) => e.innerText)`),
		"nothing past a danger")
	moderator, _, err := owner.program.store.MakeToken(t.Context(), "Lena", store.Moderator, time.Hour)
	require.NoError(t, err)
	desk, _, err := owner.program.store.MakeToken(t.Context(), "Ines", store.Desk, time.Hour)
	require.NoError(t, err)
	assert.False(t, pagetest.Eval[bool](helper, `!!document.querySelector("#moderation")`),
		"readers do not see the moderators' entry")
	helper.Visit(link + "#moderate")
	helper.Reload()
	helper.There("[data-banner]")
	helper.Click("#moderation > summary")
	decide := func(token, verdict, says string) {
		t.Helper()
		pagetest.Eval[chromedp.Void](helper, fmt.Sprintf(`document.querySelector("#moderator").value = %q`, token))
		helper.Click("[data-verdict=" + verdict + "]")
		helper.Wait(fmt.Sprintf(`document.querySelector("#decided").textContent.startsWith(%q)`, says))
	}
	decide("nonsense", "HIDE", "Not done")
	decide(desk, "HIDE", "Not done")
	decide(moderator, "HIDE", "Done")
	helper.Asked("gone")
	helper.Wait(`!document.querySelector("#verdict") && !document.querySelector("[data-line]")`)
	owner.There("#hidden-note")
	decide(moderator, "SHOW", "Done")
	helper.Reload()
	helper.There("#looker")
	helper.Click("#moderation > summary")
	decide(moderator, "CLOSE", "Done")
	owner.Wait(`document.querySelector("#suggested").textContent.includes("closed")`)
	owner.Open("menu")
	owner.Click("#look-end")
	owner.Wait(`document.querySelector("#share").textContent.includes("no longer work")`)
	helper.Reload()
	helper.Asked("gone")
}

// TestBrowserDeskAccessibility has the desk's screens judged by the rules of axe-core, in light, dark and night.
func TestBrowserDeskAccessibility(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	d := pagetest.NewTab(t, 1280, 900)
	d.NeedAudit()
	d.Visit(p.URL() + "desk")
	d.Wait(`document.activeElement.id === "token"`)
	assert.Empty(t, d.Audit(), "signing in")
	d = deskOf(t, p)
	client := lightoffv1.NewConversationServiceClient(dial(t, p))
	c, err := client.OpenConversation(t.Context(), &lightoffv1.OpenConversationRequest{})
	require.NoError(t, err)
	_, err = client.SayText(t.Context(), &lightoffv1.SayTextRequest{Id: c.Conversation.Id, Text: "E-08 thick white smoke"})
	require.NoError(t, err)
	made, err := client.MakeLookOnKey(t.Context(), &lightoffv1.MakeLookOnKeyRequest{Id: c.Conversation.Id})
	require.NoError(t, err)
	for _, scheme := range []string{"light", "dark", "night"} {
		d.Scheme(strings.Replace(scheme, "night", "light", 1))
		d.Visit(p.URL() + "desk")
		d.There(".call-row")
		if scheme == "night" {
			d.Click("#night")
		}
		d.Press(kb.Escape)
		d.Shortcut("F9")
		d.There("#statistics .plot")
		assert.Empty(t, d.Audit(), scheme+": queue")
		assert.Empty(t, d.PoorContrast(), scheme+": queue")
		d.Picture("desk-queue-" + scheme)
		d.Click(".call-row")
		d.Arrives("/desk/c/")
		if scheme == "light" { // read once, it stays a band
			d.Acknowledge()
		}
		d.There("[data-banner]")
		d.Press(kb.Escape)
		d.Shortcut("F9")
		d.There("#close-form")
		assert.Empty(t, d.Audit(), scheme+": closing")
		assert.Empty(t, d.PoorContrast(), scheme+": closing")
		d.Picture("desk-card-" + scheme)
		d.Visit(p.URL() + "look/" + made.Key)
		d.There("#looker")
		assert.Empty(t, d.Audit(), scheme+": looking on")
	}
	pagetest.Eval[chromedp.Void](d, `document.cookie = "look=; path=/; max-age=0"`)
}

// TestDeskIsItsOwn: without the browser's word that a page of ours asks, the cookie is worth nothing.
func TestDeskIsItsOwn(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Embed = []string{"https://forum.example"}
	opened(t, p)
	token, _, err := p.store.MakeToken(t.Context(), "Ines", store.Desk, time.Hour)
	require.NoError(t, err)
	own := strings.TrimSuffix(p.URL(), "/")
	tests := []struct {
		name, method, path, body string
		head                     map[string]string
		want                     int
	}{
		{"signing in", "POST", "desk/sign-in", token, map[string]string{"Origin": own}, 204},
		{"from another site", "POST", "desk/sign-in", token, map[string]string{"Origin": "https://forum.example"}, 403},
		{"from nowhere", "POST", "desk/sign-in", token, nil, 403},
		{"as a form", "POST", "desk/sign-in", token, map[string]string{"Origin": own, "Content-Type": "text/plain"}, 403},
		{"by another site's doing", "POST", "desk/sign-in", token,
			map[string]string{"Origin": own, "Sec-Fetch-Site": "cross-site"}, 403},
		{"wrong", "POST", "desk/sign-in", "AAAA.BBBB", map[string]string{"Origin": own}, 401},
		{"signed in", "GET", "desk/me", "", map[string]string{"Cookie": "lightoff-desk=" + token}, 204},
		{"not signed in", "GET", "desk/me", "", nil, 401},
		{"the socket from a listed site", "GET", "desk/socket", "",
			map[string]string{"Origin": "https://forum.example", "Cookie": "lightoff-desk=" + token}, 403},
		{"the socket without an origin", "GET", "desk/socket", "", map[string]string{"Cookie": "lightoff-desk=" + token},
			403},
		{"the socket without a token", "GET", "desk/socket", "", map[string]string{"Origin": own}, 401},
		{"signing out from another site", "POST", "desk/sign-out", "", map[string]string{"Origin": "https://forum.example"},
			403},
		{"the owner's socket from a listed site", "GET", "socket", "", map[string]string{"Origin": "https://forum.example",
			"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
			"Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}, 403},
		{"a frame of a listed site", "GET", "embed?host=https://forum.example", "", nil, 200},
		{"a frame of another", "GET", "embed?host=https://elsewhere.example", "", nil, 403},
		{"a frame of none", "GET", "embed", "", nil, 403},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			req, err := http.NewRequestWithContext(t.Context(), tt.method, p.URL()+tt.path,
				strings.NewReader(fmt.Sprintf(`{"token":%q}`, tt.body)))
			require.NoError(t, err)
			req.Header.Set("Content-Type", "application/json")
			for name, value := range tt.head {
				req.Header.Set(name, value)
			}
			resp, err := http.DefaultClient.Do(req)
			require.NoError(t, err)
			resp.Body.Close()
			assert.Equal(t, tt.want, resp.StatusCode)
			csp := resp.Header.Get("Content-Security-Policy")
			if tt.want == 200 {
				assert.Contains(t, csp, "frame-ancestors https://forum.example;")
			} else {
				assert.Contains(t, csp, "frame-ancestors 'none'")
			}
			for _, c := range resp.Cookies() {
				assert.True(t, c.HttpOnly && c.SameSite == http.SameSiteStrictMode && c.Path == "/desk", "%+v", c)
			}
			assert.Equal(t, tt.name == "signing in", len(resp.Cookies()) == 1)
		})
	}
}

func TestEmbedFlag(t *testing.T) {
	for _, bad := range []string{"forum.example", "https://forum.example/", "https://*", "http://forum.example",
		"https://a;script-src *", "https://", "'none'", "https://Forum.example"} {
		assert.Contains(t, run(t, "", "serve", "-embed", bad).oneLineOf(t, exitUse), "is no site's origin", bad)
	}
}
