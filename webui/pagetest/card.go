package pagetest

import (
	"fmt"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// settled is the card while no entry is on its way.
const settled = `#card:not([aria-busy="true"]) `

// Asked waits until the card asks for an observation, or has another heading such as "opening" or "done".
func (p *Tab) Asked(id string) {
	p.t.Helper()
	p.There(fmt.Sprintf(settled+"#question [data-asks=%q]", id))
}

// AskedNext waits until the card asks for something else than it did, and returns what: an observation, or another
// heading such as "opening" or "done".
func (p *Tab) AskedNext(before string) string {
	p.t.Helper()
	next := fmt.Sprintf(settled+`#question [data-asks]:not([data-asks="loading"], [data-asks="waiting"], [data-asks=%q])`,
		before)
	p.There(next)
	return Eval[string](p, fmt.Sprintf("document.querySelector(%q).dataset.asks", next))
}

// Answer presses a state of the question.
func (p *Tab) Answer(state string) {
	p.t.Helper()
	p.Click(fmt.Sprintf("#question [data-state=%q]", state))
}

// CannotTell answers the question by "can't tell".
func (p *Tab) CannotTell() {
	p.t.Helper()
	p.Click("#question [data-unknown]")
}

// Skip skips the question.
func (p *Tab) Skip() {
	p.t.Helper()
	p.Click("#question [data-skip]")
}

// Change answers anew what stands on the card.
func (p *Tab) Change(id, state string) {
	p.t.Helper()
	p.Edit(id)
	p.Click(fmt.Sprintf("#question [data-state=%q]", state))
}

// Edit opens an answer of the thread, to be changed or taken back.
func (p *Tab) Edit(id string) {
	p.t.Helper()
	if Eval[bool](p, fmt.Sprintf("!!document.querySelector('[data-line=safety_card] [data-line=%q]')", id)) {
		Eval[chromedp.Void](p, `(() => { document.querySelector("[data-line=safety_card] details").open = true; })()`)
	}
	p.Thread()
	p.Click(fmt.Sprintf("[data-change=%q]", id))
	p.There(fmt.Sprintf("#question [data-asks=%q]", id))
}

// Thread opens what was told, where the window has no room for it beside the question.
func (p *Tab) Thread() {
	p.t.Helper()
	if Eval[bool](p, `document.querySelector("#log").clientHeight < 60`) {
		p.Open("menu")
		p.Click("#open-thread")
		p.There("#page[data-view=thread]")
	}
}

// TakeBack takes an answer of the thread back.
func (p *Tab) TakeBack(id string) {
	p.t.Helper()
	p.Edit(id)
	p.Click(fmt.Sprintf("#question [data-retract=%q]", id))
}

// Open opens what stands beside the conversation: "may" for the suspects, "todo" for the repairs, "menu" for help.
func (p *Tab) Open(view string) {
	p.t.Helper()
	if Eval[bool](p, fmt.Sprintf("document.querySelector('#page').dataset.view === %q", view)) {
		return
	}
	switch {
	case view == "menu":
		p.Click("#menu")
	case Eval[bool](p, `matchMedia("(min-width: 56.25em)").matches`):
		p.Close() // they always stand there
		return
	case view == "sums":
		p.Thread()
		p.Click("#cards-jump button")
	default:
		if !Eval[bool](p, `!!document.querySelector("#tab-may")`) {
			p.Click("#verdict")
		}
		p.Click("#tab-" + view)
	}
	p.There(fmt.Sprintf("#page[data-view=%q] #sheet", view))
}

// Close goes back to the conversation.
func (p *Tab) Close() {
	p.t.Helper()
	if Eval[bool](p, `!!document.querySelector("#sheet-back")`) {
		p.Click("#sheet-back")
		p.There("#text")
	}
}

// Repair opens the steps of a repair.
func (p *Tab) Repair(id string) {
	p.t.Helper()
	p.Open("todo")
	p.Click(fmt.Sprintf("[data-repair=%q] .rep", id))
	p.There("#repair-title")
}

// Say types a sentence.
func (p *Tab) Say(text string) {
	p.t.Helper()
	p.Do(chromedp.SendKeys(chromedp.CSS("#text"), text+kb.Enter))
}

// NotMeant takes off what was wrongly understood of the sentence.
func (p *Tab) NotMeant(id string) {
	p.t.Helper()
	p.Click(fmt.Sprintf("[data-chip=%q] .off", id))
	p.Wait(fmt.Sprintf("!document.querySelector('[data-chip=%q]')", id))
}

// Acknowledge waits for the full screen of a danger and presses its key, and that of the screen that may follow.
func (p *Tab) Acknowledge() {
	p.t.Helper()
	p.There("#danger[open]")
	for Eval[bool](p, `document.querySelector("#danger").open`) {
		before := Eval[string](p, `document.querySelector("#danger").dataset.which`)
		p.Click("#acknowledge")
		p.Wait(
			fmt.Sprintf(`!document.querySelector("#danger").open || document.querySelector("#danger").dataset.which !== %q`,
				before))
	}
}

// Connected waits until the page has its line to the service.
func (p *Tab) Connected() {
	p.t.Helper()
	p.Wait(`document.querySelector("#line").className === "open"`)
}

// Disconnected waits until the page has noticed that the service is away.
func (p *Tab) Disconnected() {
	p.t.Helper()
	p.Wait(`document.querySelector("#line").className !== "open"`)
}

// SignalBack tells the page what a browser does when its network is back: now is a good time to dial.
func (p *Tab) SignalBack() {
	p.t.Helper()
	Eval[chromedp.Void](p, `dispatchEvent(new Event("online"))`)
}

// Saved waits until all entries are saved.
func (p *Tab) Saved() {
	p.t.Helper()
	p.Wait(`document.querySelector("#link").textContent === "All saved"`)
}

// Unsaved waits until the page says that so many entries are not saved yet.
func (p *Tab) Unsaved(n int) {
	p.t.Helper()
	text := fmt.Sprintf("%d entries are not saved yet", n)
	if n == 1 {
		text = "1 entry is not saved yet"
	}
	p.Wait(fmt.Sprintf(`document.querySelector("#link").textContent.includes(%q)`, text))
}

// Focused is the question or, if none, the element that has the focus.
func (p *Tab) Focused() string {
	p.t.Helper()
	return Eval[string](p, `document.activeElement.dataset.asks ?? document.activeElement.id`)
}

// Cause is a row of the ranking, as it is shown.
type Cause struct{ ID, Title, Percent string }

// Ranking unfolds all causes and returns them as they are shown, first to last.
func (p *Tab) Ranking() []Cause {
	p.t.Helper()
	p.Open("may")
	p.There("#all-causes")
	if !Eval[bool](p, `document.querySelector("#all-causes").ariaExpanded === "true"`) {
		p.Click("#all-causes")
		p.There("#all-causes[aria-expanded=true]")
	}
	defer p.Close()
	return Eval[[]Cause](p, `[...document.querySelectorAll("#suspected [data-cause]")].map((e) => ({ ID: e.dataset.cause,
		Title: e.querySelector(".cause").innerText, Percent: e.querySelector(".number").innerText }))`)
}
