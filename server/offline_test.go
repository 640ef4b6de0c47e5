package main

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/browser"
	"lightoff/webui"
	"lightoff/webui/pagetest"
)

// kit is the program for browsers, built once for all tests and kept for the next run of them as long as its source
// stays. It is compressed lightly: how small it gets is another test's matter.
var kit = sync.OnceValues(func() (*browser.Kit, error) {
	source, digest, err := browser.Source()
	if err != nil {
		return nil, err
	}
	folder := filepath.Join(os.TempDir(), "lightoff-browser-"+digest)
	if k, err := browser.Read(folder); err == nil {
		return k, nil
	}
	if err := browser.Build(context.Background(), source, folder, 1); err != nil {
		return nil, err
	}
	return browser.Read(folder)
})

// newOffline is a program whose pages can work without a signal.
func newOffline(t *testing.T) *Program {
	t.Helper()
	k, err := kit()
	require.NoError(t, err)
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model, p.Compact = heater.Model, heater.Compact
	p.offline.kit = &webui.Kit{Program: k.Program, Glue: k.Glue}
	return p
}

// beforehand is the page on a phone whose browser has kept all that it needs.
func beforehand(t *testing.T) *phone {
	t.Helper()
	tab := pagetest.NewPhone(t)
	p := opened(t, newOffline(t))
	tab.Visit(p.URL())
	tab.Connected()
	on := &phone{tab, t, p}
	on.works()
	tab.Reload() // the second visit
	tab.Connected()
	on.works()
	return on
}

// works waits until the page says that it works without a signal.
func (p *phone) works() {
	p.t.Helper()
	p.Open("menu")
	p.There("#works")
	p.Close()
}

// away stops the program and waits until the page thinks for itself, at the start of a card perhaps not yet.
func (p *phone) away() (back func()) {
	p.t.Helper()
	p.program.GRPC, p.program.Web = p.program.GRPCAddress(), p.program.web.Addr().String()
	closed(p.t, p.program)
	p.Disconnected()
	return func() {
		p.t.Helper()
		require.NoError(p.t, p.program.Open(p.t.Context()))
		p.SignalBack()
		p.Connected()
		p.Saved()
	}
}

// lineless waits until the page has dialled in vain.
func (p *phone) lineless() {
	p.t.Helper()
	p.Wait(`document.querySelector("#line").className === "waiting"`)
}

// alone waits until what the page shows is the phone's own.
func (p *phone) alone() {
	p.t.Helper()
	p.Wait(`document.querySelector("#link").textContent.startsWith("No signal: this phone answers by itself")`)
}

// TestWithoutASignal is a whole case from the first sentence to the repair that held, with the signal gone before it
// begins: the page is loaded anew on the way, its tab is closed and another opened, and the program at the other end
// is a new one when it comes back. Nothing is lost and nothing is there twice.
func TestWithoutASignal(t *testing.T) {
	p := beforehand(t)
	back := p.away()
	p.Reload()
	p.lineless()
	p.Click("#none")
	p.alone()
	p.Asked("opening")
	p.Say("E-08, dies after lighting, many bubbles in the line, soft hose")
	p.There("[data-chip=bubbles]")
	assert.Contains(t, p.Text("#told"), "kept on this phone")
	asked := p.AskedNext("opening")
	assert.NotEmpty(t, p.Text("#verdict"))
	p.There("#away-keep")
	p.looked("no-signal")
	p.Click("#away-keep")
	p.There("#away-forget")

	p.Reload()
	assert.Equal(t, asked, p.AskedNext(""), "the card goes on where it was")
	p.There("[data-chip=bubbles]")

	closed := p.Tab
	p.Tab = pagetest.NewPhone(t) // another tab knows nothing of the first but what was to be kept
	closed.Visit("about:blank")
	p.Visit(p.url())
	assert.Equal(t, asked, p.AskedNext(""))

	p.Repair("renew_fuel_line")
	p.Click("[data-done=renew_fuel_line]")
	p.safeToStart()
	for watch, state := range map[string]string{"bubbles": "none", "smoke": "none", "time_to_light": "usual",
		"exhaust_warms": "yes"} {
		p.Click("[data-watch=" + watch + "] [data-state=" + state + "]")
	}
	p.Click("#start-ran")
	p.Asked("well")
	p.Click("#settle > summary")
	p.Click("[data-cause-found=soft_line_air]")
	p.Click("[data-finder=OWNER]")
	p.Click("[data-surety=PROVED]")
	p.Click("#settle-do")
	p.There("#settled")
	p.looked("no-signal-settled")
	lines := p.Texts("#told .me > span:first-child")
	verdict := p.Text("#verdict")

	back()
	kept := p.kept()
	require.NotNil(t, kept.Settlement)
	assert.Equal(t, "soft_line_air", kept.Settlement.Causes[0].Id)
	assert.Equal(t, lightoffv1.Stage_STAGE_WELL, kept.Recovery.Stage)
	assert.Equal(t, verdict, p.Text("#verdict"), "the service thinks what the phone has thought")
	assert.Equal(t, lines, p.Texts("#told .me > span:first-child"))
	says := 0
	for _, s := range kept.Sayings {
		says++
		assert.Contains(t, s.Text, "many bubbles")
	}
	assert.Equal(t, 1, says, "nothing is there twice")
	p.forget()
	assert.Empty(t, pagetest.Eval[[]string](p.Tab, `Object.keys(localStorage)`), "what is deleted is gone")
	assert.Empty(t, p.Refused())
}

// forget deletes the conversation from the device, which leads to the first page.
func (p *phone) forget() {
	p.t.Helper()
	p.Click("#away-forget")
	p.Wait(`location.pathname === "/" && document.querySelector("#none")?.checkVisibility()`)
}

// url is where the program's pages were or are.
func (p *phone) url() string { return "http://" + p.program.Web + "/" }

// TestDangerWithoutASignal: a danger shows at once, its answers are asked for, and it stands when the signal is back.
func TestDangerWithoutASignal(t *testing.T) {
	p := beforehand(t)
	back := p.away()
	p.Reload()
	p.lineless()
	p.Click("[name=co_alarm]")
	p.There("#danger[open]")
	p.looked("no-signal-danger")
	p.Acknowledge()
	p.alone()
	back()
	require.Len(t, p.kept().Assessment.Dangers, 1)
	assert.Equal(t, "sounding", told(p.kept(), "co_alarm").Observation.GetState())
}

// TestSignalLostWithinAConversation: what was told before, what is told meanwhile and what somebody else tells at the
// same time all stay; where the two differ, that is shown, and the owner says which is right.
func TestSignalLostWithinAConversation(t *testing.T) {
	p := beforehand(t)
	p.Click("#none")
	p.Asked("opening")
	p.Say("E-08, dies after lighting, soft hose")
	p.Saved()
	p.AskedNext("opening")
	p.Wait(`JSON.parse(sessionStorage.getItem("lightoff/" + location.pathname.slice(3)) || "{}").log?.events.length === 3`)
	id := p.id()
	p.Hurry()
	p.Offline(true)
	p.Say("lots of bubbles, tank is half full")
	p.alone()
	p.There("[data-chip=bubbles]")
	p.Edit("line_type")
	p.Click("#question [data-state=rigid]")
	p.Wait(`document.querySelector("[data-line=line_type]").innerText.includes("kept on this phone")`)

	client := lightoffv1.NewConversationServiceClient(dial(t, p.program))
	_, err := client.AnswerQuestions(t.Context(), &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "another",
		Observations: []*lightoffv1.Observation{
			{Id: "line_type", Value: &lightoffv1.Observation_Unknown{Unknown: true}},
			{Id: "pump_ticks", Value: &lightoffv1.Observation_State{State: "regular"}}}})
	require.NoError(t, err)
	p.Offline(false)
	p.SignalBack()
	p.Connected()
	p.Saved()
	p.There("[data-clash=line_type]")
	p.looked("no-signal-clash")
	kept := p.kept()
	assert.Equal(t, "regular", told(kept, "pump_ticks").Observation.GetState(), "what the other told stays")
	assert.Equal(t, "rigid", told(kept, "line_type").Observation.GetState(), "and what was told here")
	log, err := client.GetLog(t.Context(), &lightoffv1.GetLogRequest{Id: id})
	require.NoError(t, err)
	assert.Len(t, log.Events, 6, "both logs are kept: opened, none, said, the other's, said, changed")
	p.Click("[data-clash=line_type] button")
	p.Wait(`!document.querySelector("[data-clash]")`)
	says := pagetest.Eval[string](p.Tab, `import(document.querySelector("script[type=module]").src
		.replace("main.js", "state.js")).then((m) => {
		const c = (modelVersion, title, probability) => ({ id: "x",
			assessment: { modelVersion, causes: [{ title, probability }] } });
		const home = (conversation, base) => m.step({ ...m.begin("x", {}), here: true, link: "open", conversation, base },
			{ type: "rules" }).notice;
		return home(c("1", "a", 0.5), c("2", "b", 0.6)) + "|" + home(c("1", "a", 0.5), c("1", "a", 0.5));
	})`)
	assert.Equal(t, "The service has other numbers than this phone had. It holds most likely: b (60 in 100). "+
		"The phone had: a (50 in 100).|", says,
		"where the versions of the model differ, what that changes is said, and else nothing")
	stays := pagetest.Eval[bool](p.Tab, `Object.keys(localStorage).some((k) => k.startsWith("lightoff-kept"))`)
	assert.False(t, stays, "nobody said keep")
}

// TestSharedDevice: who says that a device is shared leaves nothing on it.
func TestSharedDevice(t *testing.T) {
	p := beforehand(t)
	p.away()
	p.Click("#none")
	p.Click("#away-shared")
	p.There("#away-forget")
	assert.Empty(t, pagetest.Eval[[]string](p.Tab, `Object.keys(localStorage)`))
	p.forget()
	assert.Empty(t, pagetest.Eval[string](p.Tab, `JSON.parse(sessionStorage.getItem("lightoff/") || "{}").queue?.join() `+
		`?? ""`))
	require.NoError(t, p.program.Open(t.Context()))
}

// Where there is no program for browsers, the page never claims to work without a signal, and nothing is kept.
func TestNoKitNoClaim(t *testing.T) {
	p := onPhone(t)
	p.Hurry()
	p.Open("menu")
	pagetest.Eval[chromedp.Void](p.Tab, `new Promise((done) => unhurried(done, 3500))`)
	assert.False(t,
		pagetest.Eval[bool](p.Tab, `!!document.querySelector("#works") || !!navigator.serviceWorker.controller`))
	assert.Empty(t, pagetest.Eval[[]string](p.Tab, `caches.keys()`))
}

// withoutServer is a host of the example page with all that belongs to it, and the model that it has.
func withoutServer(t testing.TB) (*httptest.Server, *knowledge.Model) {
	t.Helper()
	k, err := kit()
	require.NoError(t, err)
	m, err := heater.Model()
	require.NoError(t, err)
	program, err := browser.Expand(k.Program)
	require.NoError(t, err)
	model, err := heater.Compact(nil, m)
	require.NoError(t, err)
	folder := t.TempDir()
	require.NoError(t, os.CopyFS(folder, os.DirFS("../testdata/offline")))
	for name, content := range map[string][]byte{"lightoff.wasm": program, "wasm_exec.js": k.Glue, "model": model} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), content, 0o644))
	}
	host := httptest.NewServer(http.FileServer(http.Dir(folder)))
	t.Cleanup(host.Close)
	return host, m
}

// TestUpdatesBetweenConversations: what a newer program brings is fetched beside a conversation and waits until none
// is open.
func TestUpdatesBetweenConversations(t *testing.T) {
	p := beforehand(t)
	p.Click("#none")
	p.Asked("opening")
	p.Saved()
	before := pagetest.Eval[[]string](p.Tab, `caches.keys()`)
	require.Len(t, before, 1)
	newer := *p.program.offline.kit
	newer.Glue = append(newer.Glue[:len(newer.Glue):len(newer.Glue)], "\n// newer\n"...)
	p.program.offline.kit = &newer
	p.restart(func() {})
	pagetest.Eval[bool](p.Tab, `navigator.serviceWorker.getRegistration().then((r) => r.update()).then(() => true)`)
	waits := `navigator.serviceWorker.getRegistration().then((r) => !!r.waiting)`
	p.Wait(waits)
	p.Reload()
	p.Connected()
	p.works()
	assert.True(t, pagetest.Eval[bool](p.Tab, waits), "within a conversation it goes on waiting")
	p.Visit(p.program.URL())
	p.Wait(`caches.keys().then((names) => names.length === 1 && names[0] !== "` + before[0] + `")`)
	p.works()
}

// Over a connection on which data are dear, nothing is fetched beforehand.
func TestMeteredConnection(t *testing.T) {
	tab := pagetest.NewPhone(t)
	p := opened(t, newOffline(t))
	tab.Visit(p.URL())
	pagetest.Eval[chromedp.Void](tab, `Object.defineProperty(navigator, "connection", { value: { saveData: true } }), 0`)
	tab.Connected()
	pagetest.Eval[chromedp.Void](tab, `new Promise((done) => setTimeout(done, 3500))`)
	assert.Empty(t, pagetest.Eval[[]string](tab, `caches.keys()`))
}

// TestPageWithoutAServer runs the example for other programs: a page from a host that does nothing but hand out files.
func TestPageWithoutAServer(t *testing.T) {
	tab := pagetest.NewPhone(t)
	host, m := withoutServer(t)
	tab.Visit(host.URL)
	tab.Wait(`document.documentElement.dataset.model`)
	host.Close() // not even files are needed any more
	tab.Do(chromedp.SendKeys(chromedp.CSS("#said"),
		"E-08, dies after lighting, many bubbles in the line, soft hose"+kb.Enter))
	tab.Wait(`document.querySelector("#causes li").textContent.startsWith("Soft")`)
	assert.NotEmpty(t, tab.Text("#next"))
	tab.Do(chromedp.SendKeys(chromedp.CSS("#said"), "the carbon monoxide alarm is sounding"+kb.Enter))
	tab.Wait(`document.querySelector("#dangers").textContent.includes("carbon monoxide")`)
	assert.Equal(t, m.Version, pagetest.Eval[string](tab, `document.documentElement.dataset.model`))
}

// BenchmarkBrowser measures the program where it must be quick enough: in a browser, in a page whose processor is
// four times slower than this machine's. It counts from the model's arrival.
func BenchmarkBrowser(b *testing.B) {
	tab := pagetest.NewPhone(b)
	host, _ := withoutServer(b)
	tab.Visit(host.URL)
	tab.Wait(`document.documentElement.dataset.model`)
	tab.Slow(4)
	var compile, load, first, prepare, sentence, tap float64
	for b.Loop() {
		t := pagetest.Eval[[]float64](tab, `(async () => {
			const fetched = async (name) => new Uint8Array(await (await fetch(name)).arrayBuffer());
			const bytes = await fetched("lightoff.wasm"), model = await fetched("model");
			const laps = [], lap = (since) => laps.push(performance.now() - since);
			let t = performance.now();
			const go = new Go(), { instance } = await WebAssembly.instantiate(bytes, go.importObject);
			go.run(instance);
			lap(t);
			t = performance.now();
			lightoffLoad(model);
			lap(t);
			const log = { openedAt: new Date().toISOString() }, jobs = [];
			const ask = () => JSON.parse(lightoffAsk(JSON.stringify({ do: "think", log, jobs }))).conversation;
			const job = (key, what, request) => jobs.push({ key, do: what, at: log.openedAt,
				request: { id: "x", clientKey: key, ...request } });
			t = performance.now();
			let c = ask();
			lap(t);
			t = performance.now();
			lightoffAsk(JSON.stringify({ do: "prepare" }));
			lap(t);
			job("a", "say", { text: "E-08, dies after lighting, many bubbles" });
			t = performance.now();
			c = ask();
			lap(t);
			const taps = [];
			for (let i = 0; i < 7 && c.next && c.next.length; i++) {
				const n = c.next[0], value = n.states ? { state: n.states.at(-1).id } : { unknown: true };
				job("t" + i, "answer", { observations: [{ id: n.id, ...value }] });
				const t = performance.now();
				c = ask();
				taps.push(performance.now() - t);
			}
			laps.push(taps.sort((a, b) => a - b)[taps.length >> 1]);
			return laps;
		})()`)
		compile, load, first = compile+t[0], load+t[1], first+t[2]
		prepare, sentence, tap = prepare+t[3], sentence+t[4], tap+t[5]
	}
	n := float64(b.N)
	for name, total := range map[string]float64{"compile": compile, "load": load, "first": first, "prepare": prepare,
		"sentence": sentence, "tap": tap} {
		b.ReportMetric(total/n, name+"-ms")
	}
}
