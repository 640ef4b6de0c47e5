package main

import (
	"os"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/pagetest"
)

// TestBrowserRecovery goes from the repair to a heater that is well: a start that failed, another repair, a start
// watched through while the program was away for a moment, what it was, and the reminder to say whether it has held.
func TestBrowserRecovery(t *testing.T) {
	p := onPhone(t)
	t.Cleanup(func() {
		pagetest.Eval[chromedp.Void](p.Tab,
			`document.cookie = "look=; path=/; max-age=0"; document.cookie = "lang=; path=/; max-age=0"`)
	})
	p.Click("#none")
	p.Asked("opening")
	p.Say("E-08, dies after lighting, many bubbles in the line, soft hose")
	p.There("[data-chip=bubbles]")
	p.Saved()
	p.Repair("fill_tank")
	p.Click("[data-done=fill_tank]")
	p.safeToStart()
	p.Saved()
	assert.Contains(t, p.Text("#repairs"), "tank")
	assert.Contains(t, p.Text("#question"), "carbon monoxide alarm")
	p.Click("[data-watch=bubbles] [data-state=many]")
	p.Click("#start-failed")
	p.Asked("fault_code")
	assert.Equal(t, "many", told(p.kept(), "bubbles").Observation.GetState())
	assert.Contains(t, p.Text("#told"), "before the repair", "what it was of the heater as it was is said")
	p.Answer("E-08")
	p.Saved()

	p.Repair("renew_fuel_line")
	p.Click("[data-done=renew_fuel_line]")
	p.Asked("start")
	p.Saved()
	p.looked("recovery-start")
	for watch, state := range map[string]string{"bubbles": "none", "smoke": "none", "time_to_light": "usual",
		"exhaust_warms": "yes"} {
		p.Click("[data-watch=" + watch + "] [data-state=" + state + "]")
	}
	p.Do(chromedp.SendKeys(chromedp.CSS("#watch-panel_voltage_glow"), "eleven"))
	p.Click("#start-ran")
	p.Wait(`document.querySelector("#watch-panel_voltage_glow-bad").textContent !== ""`)
	p.Asked("start")
	pagetest.Eval[chromedp.Void](p.Tab,
		`(() => { const f = document.querySelector("#watch-panel_voltage_glow"); f.value = "11,8"; f.dispatchEvent(new `+
			`Event("change")); })()`)
	p.restart(func() {
		p.Click("#start-ran")
		p.Unsaved(1)
	})
	p.Asked("well")
	p.Saved()
	recovery := p.kept().Recovery
	assert.Equal(t, lightoffv1.Stage_STAGE_WELL, recovery.Stage)
	assert.InDelta(t, 11.8, told(p.kept(), "panel_voltage_glow").Observation.GetNumber(), 1e-9)
	assert.NotEmpty(t, p.Text("#prevention"))
	assert.NotEmpty(t, p.Text("#parts"))

	p.Click("#settle > summary")
	assert.True(t, pagetest.Eval[bool](p.Tab, `document.querySelector("#settle-do").disabled`),
		"nothing is chosen beforehand")
	p.Click("[data-cause-found=soft_line_air]")
	p.Click("[data-finder=OWNER]")
	p.Click("[data-surety=PROVED]")
	p.looked("recovery-well")
	p.Click("#settle-do")
	p.There("#settled")
	p.Saved()
	settled := p.kept().Settlement
	require.NotNil(t, settled)
	assert.Equal(t, "soft_line_air", settled.Causes[0].Id)
	assert.Equal(t, lightoffv1.Surety_SURETY_PROVED, settled.Surety)
	assert.Contains(t, pagetest.Eval[string](p.Tab, `decodeURIComponent(document.querySelector("#reminder").href)`),
		"BEGIN:VEVENT")
	forum := pagetest.Eval[string](p.Tab, `document.querySelector("#solved-text").value`)
	for _, want := range []string{"it runs again", "What it was", "Soft hose gathers air", "What was done",
		"The start after it ran.", "To keep it running well"} {
		assert.Contains(t, forum, want)
	}
	assert.NotContains(t, forum, "What it most likely is", "it is found")
	assert.NotContains(t, forum, p.id())

	// Weeks later, by the page's clock.
	pagetest.Eval[chromedp.Void](p.Tab,
		`(() => { const now = Date.now; Date.now = () => now() + 29 * 86400e3; dispatchEvent(new Event("online")); })()`)
	p.Open("menu")
	p.Click("#night")
	p.Click("#lang-de")
	p.Close()
	p.There("[data-held=CAME_BACK]")
	p.Wait(`document.querySelector("#settled").textContent.includes("Weicher Schlauch") && ` +
		`document.querySelector("[data-part=verdict]").textContent.includes("Weicher Schlauch")`)
	p.looked("recovery-held")
	p.Click("[data-held=CAME_BACK]")
	p.Asked("fault_code")
	p.Wait(`!document.querySelector("#settled")`)
	assert.False(t, p.kept().Closed, "it goes on")
}

// safeToStart answers what is asked from memory before a start, which none of it forbids.
func (p *phone) safeToStart() {
	p.t.Helper()
	knows := map[string]string{"failed_starts": "one_or_two", "bang_on_lighting": "no", "primed": "no", "smoke": "none",
		"stops_when_off": "yes", "petrol_suspected": "no",
		"fails_when": "after_lighting", "complaint": "starts_then_stops", "start_signs": "none", "co_alarm_fitted": "yes",
		"co_alarm": "silent_tested"}
	for asked := p.AskedNext(""); asked != "start"; asked = p.AskedNext(asked) {
		require.Contains(p.t, knows, asked, "only what is answered from memory")
		p.Answer(knows[asked])
	}
}

// looked holds a screen against the rules of looks and, where axe-core is given, of accessibility.
func (p *phone) looked(name string) {
	p.t.Helper()
	assert.Empty(p.t, p.TooWide(), name)
	assert.Empty(p.t, p.PoorContrast(), name)
	if os.Getenv("LIGHTOFF_AXE") != "" {
		assert.Empty(p.t, p.Audit(), name)
	}
	p.Picture(name)
}

// TestBrowserEffort: what an owner does and what an hour is worth changes the plan and stays.
func TestBrowserEffort(t *testing.T) {
	p := onPhone(t)
	p.Click("#none")
	p.Asked("opening")
	p.Say("E-08, dies after lighting, many bubbles in the line, soft hose")
	p.Saved()
	p.Open("todo")
	p.There("[data-repair=renew_fuel_line]")
	p.Close()
	p.Open("menu")
	p.Click("#tools > summary")
	p.Click("[data-willing=SIMPLE]")
	p.Saved()
	p.Close()
	p.Open("todo")
	p.Wait(`!document.querySelector("[data-repair=renew_fuel_line]")`)
	p.Close()
	p.Open("menu")
	assert.Equal(t, lightoffv1.Willingness_WILLINGNESS_SIMPLE, p.kept().Willingness)
	pagetest.Eval[chromedp.Void](p.Tab,
		`(() => { const f = document.querySelector("#hour"); f.value = "many"; f.form.requestSubmit(); })()`)
	p.Wait(`document.querySelector("#hour-bad").textContent !== ""`)
	pagetest.Eval[chromedp.Void](p.Tab,
		`(() => { const f = document.querySelector("#hour"); f.value = "12"; f.form.requestSubmit(); })()`)
	p.Saved()
	assert.InDelta(t, 0.2, p.kept().EurosPerMinute, 1e-9)
	p.looked("effort")
	p.Reload()
	p.AskedNext("")
	p.Saved()
	p.Open("menu")
	p.Click("#tools > summary")
	p.There("[data-willing=SIMPLE][aria-pressed=true]")
}
