package webui_test

import (
	"context"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"

	"lightoff/webui"
	"lightoff/webui/pagetest"
)

// ticked is an expression that is true while a sign is ticked.
func ticked(name string) string {
	return `document.querySelector('#safety [name="` + name + `"]').checked`
}

// onPhone opens the house's page on a phone.
func onPhone(t *testing.T, h *house, path string) *pagetest.Tab {
	t.Helper()
	p := pagetest.NewPhone(t)
	p.Visit(h.URL + path)
	p.Connected()
	return p
}

// TestATickStandsWhateverTheNetworkDoes ticks a sign with the network cut. The tick and its danger stand at once and
// through all the time in which the page waits for an answer, with the call keys within a finger's reach; a reload
// keeps them; they are there once the service knows of them.
func TestATickStandsWhateverTheNetworkDoes(t *testing.T) {
	house := newHouse(t)
	p := onPhone(t, house, "/?lang=en")
	p.Hurry()
	p.Offline(true)
	p.Click(`#safety [name="people_unwell"]`)
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Watch(ticked("people_unwell") + " && " + pagetest.CallsCanBeHit)
	assert.True(t, p.FillsScreen("#danger"))
	assert.True(t, p.AtHand(`#danger a[href="tel:112"]`))
	p.Disconnected()
	assert.True(t, p.AtHand(`#danger a[href="tel:911"]`))
	p.Acknowledge()
	assert.True(t, p.AtHand(`[data-banner=carbon_monoxide] a[href="tel:112"]`), "the band has the call keys too")
	assert.Equal(t, "None of the others", p.Text("#none"))
	assert.Contains(t, p.Text("[data-line=safety_card]"), "Somebody feels unwell")
	p.Unsaved(1)
	assert.Zero(t, p.Lapses())
	p.Picture("phone-offline-tick")

	house.goAway() // the page comes, its socket does not
	p.Offline(false)
	p.Reload()
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	assert.True(t, pagetest.Eval[bool](p, ticked("people_unwell")))
	p.Watch(ticked("people_unwell") + " && " + pagetest.CallsCanBeHit)
	p.Acknowledge()
	house.comeBack()
	p.SignalBack()
	p.Saved()
	assert.Zero(t, p.Lapses())
	p.There("[data-banner=carbon_monoxide]")

	p.Offline(true)
	p.Click(`#safety [name="people_unwell"]`)
	p.Wait(`!document.querySelector("[data-banner]") && !` + ticked("people_unwell"))
}

// TestTheServiceDiesInTheMiddleOfAnAnswer kills it before the answer has come back, and once more refuses the answer
// for good: what is a danger stands all the while.
func TestTheServiceDiesInTheMiddleOfAnAnswer(t *testing.T) {
	house := newHouse(t)
	p := onPhone(t, house, "/?lang=en")
	house.fake.mu.Lock()
	house.fake.afterAnswer = func(context.Context) {
		house.goAway()
		house.lines.cut()
	}
	house.fake.mu.Unlock()
	p.Click(`#safety [name="people_unwell"]`)
	p.There("#danger[open]")
	p.Watch(ticked("people_unwell") + ` && document.querySelector("#danger[open], [data-banner=carbon_monoxide]")`)
	p.Disconnected()
	p.Acknowledge()
	house.comeBack()
	p.SignalBack()
	p.Saved()
	assert.Zero(t, p.Lapses())
	p.There("[data-banner=carbon_monoxide]")

	house.fake.mu.Lock()
	house.fake.refusing = true
	house.fake.mu.Unlock()
	p.Click("[data-banner=carbon_monoxide] summary")
	p.Click("[data-banner=carbon_monoxide] [data-withdraw=people_unwell]")
	p.Wait(`!document.querySelector("[data-banner]")`)
	p.Saved()
	p.Click(`#safety [name="co_alarm"]`)
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Wait(`document.querySelector("#link").textContent.includes("This card is full. Begin a new one.")`)
	assert.True(t, p.Seen("#danger"))
	assert.True(t, pagetest.Eval[bool](p, ticked("co_alarm")), "refused by the service, a danger stands here")
	p.Click("#wrong")
	p.Wait(`!document.querySelector("#danger").open && !` + ticked("co_alarm"))
}

// TestTypedOfflineWarnsAtOnce types with the network cut: what is said outright warns, what is denied does not, what is
// doubtful is asked about; in the other language too.
func TestTypedOfflineWarnsAtOnce(t *testing.T) {
	house := newHouse(t)
	p := onPhone(t, house, "/?lang=en")
	p.Hurry()
	p.Offline(true)
	p.Say("no headache")
	p.Unsaved(1)
	assert.False(t, p.Seen("#danger"))
	p.Say("perhaps a headache")
	p.There("[data-doubt=people_unwell]")
	assert.Contains(t, p.Text("#doubt"), "You wrote “headache”.")
	p.Click(`#doubt [data-means=""]`)
	p.Wait(`!document.querySelector("[data-doubt]")`)
	assert.Contains(t, p.Text("[data-line=safety_card]"), "none of these")
	p.Say("E-08, two of us have headaches")
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Click("#wrong")
	p.Wait(`!document.querySelector("#danger").open`)
	p.Click("#text")
	p.Say("perhaps dizzy")
	p.Click(`#doubt [data-means="yes"]`)
	p.There("#danger[open] [data-danger=carbon_monoxide]")

	german := onPhone(t, newHouse(t), "/?lang=de")
	german.Offline(true)
	german.Say("wir haben Kopfweh")
	german.There("#danger[open] [data-danger=carbon_monoxide]")
	assert.Contains(t, german.Text("#danger"), "Sofort hinaus")
	pagetest.Eval[chromedp.Void](german, `document.cookie = "lang=; path=/; max-age=0"`)
}

// TestThreeSeverities looks at what each asks of people: leave now comes back with whoever comes back, do not start
// takes the screen once and then stays as a band with its steps, take care never takes it.
func TestThreeSeverities(t *testing.T) {
	house := newHouse(t)
	p := onPhone(t, house, "/?lang=en")
	p.Click("#none")
	p.Asked("co_alarm")
	p.Answer("silent_untested")
	p.There("#care [data-banner=alarm_untested]")
	assert.False(t, p.Seen("#danger"))
	p.Asked("opening")
	p.Say("E-08 and white smoke")
	p.There("#danger[open] [data-danger=flooded]")
	p.Picture("phone-do-not-start")
	assert.Equal(t, []string{"1", "3"}, pagetest.Eval[[]string](p,
		`[...document.querySelectorAll("#danger ol")].map((e) => e.getAttribute("start") ?? "1")`))
	assert.Empty(t, p.Texts("#danger .calls"), "a heater that must not start is no call for help")
	assert.Contains(t, p.Text("#danger"), "You said: Smoke: white thick.")
	p.Acknowledge()
	p.There("#banner [data-banner=flooded] .way")
	p.Asked("rest_voltage")
	p.Saved()
	p.Picture("phone-band")
	p.Reload()
	p.Asked("rest_voltage")
	assert.False(t, p.Seen("#danger"), "it was read")
	assert.True(t, p.Seen("#banner [data-banner=flooded]"))
	assert.True(t, p.Seen("#care [data-banner=alarm_untested]"))
	p.Click("#banner [data-banner=flooded] summary")
	assert.Len(t, p.Texts("[data-banner=flooded] .steps li"), 6)
	p.Click("[data-withdraw=smoke]")
	p.Wait(`!document.querySelector("[data-banner=flooded]")`)
	p.Saved()

	p.Change("co_alarm", "sounding")
	p.There("#danger[open] [data-danger=carbon_monoxide]")
	p.Picture("phone-leave-now")
	assert.Len(t, p.Texts("#danger .steps li"), 5)
	p.Click("#acknowledge")
	p.Wait(`document.querySelector("#danger").textContent.includes("Stay out")`)
	assert.True(t, p.AtHand(`#danger a[href="tel:112"]`), "out, and still to call")
	p.Picture("phone-stay-out")
	p.Click("#acknowledge")
	p.Wait(`!document.querySelector("#danger").open`)
	p.Reload()
	p.There("#danger[open] [data-danger=carbon_monoxide]")
}

// TestPageComesWithoutTheRules: the service is away when the page is rendered. The page comes nevertheless, and has the
// rules once its socket can be asked.
func TestPageComesWithoutTheRules(t *testing.T) {
	house := newHouse(t)
	house.fake.mu.Lock()
	house.fake.ruleless = true
	house.fake.mu.Unlock()
	resp, page := get(t, house.URL, nil)
	assert.Equal(t, http.StatusOK, resp.StatusCode)
	assert.Contains(t, page, `<script type="application/json" id="rules"></script>`)
	house.fake.mu.Lock()
	house.fake.ruleless = false
	house.fake.mu.Unlock()
	p := onPhone(t, house, "/?lang=en")
	p.Wait(`import(document.querySelector("[href$='signs.js']").href).then((m) => m.learnt())`)
	p.Offline(true)
	p.Click(`#safety [name="people_unwell"]`)
	p.There("#danger[open] [data-danger=carbon_monoxide]")
}

// TestRulesAreNoMarkup puts into a danger's words what would end the script that holds the rules.
func TestRulesAreNoMarkup(t *testing.T) {
	_, page := get(t, serve(t, &marked{newFake()}, webui.Options{}).URL, nil)
	_, rules, ok := strings.Cut(page, `id="rules">`)
	assert.True(t, ok)
	rules, _, _ = strings.Cut(rules, "</script>")
	assert.Contains(t, rules, `\u003c/script\u003e`)
	assert.NotContains(t, rules, "<")
}
