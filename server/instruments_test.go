package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lightoff/webui/pagetest"
)

// TestThePhoneAsALevel lays the phone along the pump by events as a phone sends them: the angle is offered once it is
// steady, and told only when it is tapped.
func TestThePhoneAsALevel(t *testing.T) {
	p := onPhone(t)
	p.Click("#none")
	p.Say("E-08, the pump points 5 degrees up")
	p.There("[data-chip=pump_angle]")
	p.Saved()
	p.Edit("pump_angle")
	p.Click("#measure")
	p.There("#instead")
	pagetest.Eval[bool](p.Tab,
		`(globalThis.tilt = setInterval(() => dispatchEvent(new DeviceOrientationEvent("deviceorientation",
		{ alpha: 10, beta: 38.2 + Math.sin(Date.now()) / 5, gamma: 80 })), 50), true)`)
	p.There("#use.go")
	p.Picture("level")
	assert.Contains(t, p.Text("#use"), "38°")
	assert.InDelta(t, 5, told(p.kept(), "pump_angle").Observation.GetNumber(), 1e-9, "measured, and not told yet")
	p.Click("#use")
	p.Saved()
	assert.InDelta(t, 38, told(p.kept(), "pump_angle").Observation.GetNumber(), 0.6)
	p.Wait(`!document.querySelector(".instrument")`)
	pagetest.Eval[bool](p.Tab, "(clearInterval(tilt), true)")

	// Without a sensor it says so, and typing is one tap away.
	p.Edit("pump_angle")
	p.Click("#measure")
	p.There(`.instrument [role="alert"]`)
	p.Click("#instead")
	p.There("#reading-pump_angle")
}

// TestThePhoneAsAnEar: where the microphone is refused the answers are one tap away; what a stop watch read is offered,
// too.
func TestThePhoneAsAnEarAndAStopWatch(t *testing.T) {
	p := onPhone(t)
	p.Click("#none")
	p.Say("E-08, it runs three minutes and stops, the pump ticks evenly")
	p.There("[data-chip=pump_ticks]")
	p.There("[data-chip=minutes_to_fail]")
	p.Saved()
	pagetest.Eval[bool](p.Tab, `(navigator.mediaDevices.getUserMedia = async () => { throw new Error("refused"); }, true)`)
	p.Edit("pump_ticks")
	p.Click("#measure")
	p.There(`.instrument [role="alert"]`)
	p.Picture("ear-refused")
	p.Click("#instead")
	p.There(`#question [data-state="irregular"]`)
	p.Picture("ear-key")

	p.Edit("minutes_to_fail")
	p.Click("#measure")
	pagetest.Eval[bool](p.Tab, `(globalThis.ahead = 0, Date.now = ((now) => () => now() + ahead)(Date.now), true)`)
	p.Click("#clock-on")
	p.There("#clock-off")
	pagetest.Eval[bool](p.Tab, "(globalThis.ahead = 258_000, true)")
	p.Click("#clock-off")
	p.Picture("clock")
	p.Click("#use")
	p.Saved()
	assert.InDelta(t, 4.3, told(p.kept(), "minutes_to_fail").Observation.GetNumber(), 0.11)
}
