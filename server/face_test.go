package main

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/pagetest"
)

// shows opens the page of a conversation in which the safety card was denied and these states were told, as pairs of
// observation and state.
func (p *phone) shows(locale string, told ...string) {
	p.t.Helper()
	client := lightoffv1.NewConversationServiceClient(dial(p.t, p.program))
	made, err := client.OpenConversation(p.t.Context(), &lightoffv1.OpenConversationRequest{Locale: locale})
	require.NoError(p.t, err)
	denied := []string{"people_unwell", "smell_exhaust_inside", "smell_fuel", "smell_gas", "smell_burning",
		"flames_or_smoke_inside"}
	for _, id := range denied {
		told = append(told, id, "no")
	}
	var observations []*lightoffv1.Observation
	for pair := range slices.Chunk(told, 2) {
		observations = append(observations, &lightoffv1.Observation{Id: pair[0],
			Value: &lightoffv1.Observation_State{State: pair[1]}})
	}
	_, err = client.AnswerQuestions(p.t.Context(),
		&lightoffv1.AnswerQuestionsRequest{Id: made.Conversation.Id, Observations: observations})
	require.NoError(p.t, err)
	p.Visit(p.program.URL() + "c/" + made.Conversation.Id + "?lang=" + locale)
	p.There("[data-part=verdict]")
}

// TestBrowserTwoAtOnce: where two things are probably wrong the page says so, names both with a chance each, and the
// picture marks and points at both. The case is that of the engine's own test.
func TestBrowserTwoAtOnce(t *testing.T) {
	p := onPhone(t)
	p.Resize(360, 640)
	p.shows("en", "fault_code", "E-04", "line_at_rest", "empty", "primed", "no", "pump_connector", "loose",
		"just_installed", "yes",
		"pump_arrow", "right", "tank_level", "full")
	verdict := p.Text("#verdict")
	for _, want := range []string{"Probably more than one thing", "Fuel pump not connected", "Fuel line not filled"} {
		assert.Contains(t, verdict, want)
	}
	assert.Equal(t, 2, pagetest.Eval[int](p.Tab, `document.querySelectorAll("#verdict .pips").length`),
		"never one bar for both")
	for _, part := range []string{"pump", "line"} {
		assert.Equal(t, "3", pagetest.Eval[string](p.Tab, `document.querySelector("[data-place=`+part+`]").dataset.level`),
			part)
	}
	assert.Equal(t, 2, pagetest.Eval[int](p.Tab, `document.querySelector("#ptr").getAttribute("d").match(/M/g).length`),
		"a pointer each")
	p.Picture("two-at-once")
	p.Open("may")
	assert.Contains(t, p.Text("#pair"), "ore than one")
}

// TestBrowserUrgent: what is urgent looks like neither of the others. It fills the screen once, in a frame; what it
// asks for is marked in the picture, in words too.
func TestBrowserUrgent(t *testing.T) {
	p := onPhone(t)
	p.shows("en", "fault_code", "E-08", "petrol_suspected", "yes")
	p.There("#danger[open] .grade-act")
	assert.Zero(t, pagetest.Eval[int](p.Tab, `document.querySelectorAll("#danger :is(.grade-leave, .grade-stop)").length`))
	assert.Equal(t, "#sign-act", pagetest.Eval[string](p.Tab,
		`document.querySelector("#danger use").getAttribute("href")`))
	ground := pagetest.Eval[string](p.Tab, `getComputedStyle(document.querySelector("#danger")).backgroundColor`)
	assert.Equal(t, ground, pagetest.Eval[string](p.Tab,
		`getComputedStyle(document.querySelector("main .dock")).backgroundColor`), "a filled screen is for leaving")
	p.Picture("urgent")
	p.Acknowledge()
	p.There("[data-banner=wrong_fuel].grade-act")
	p.There("#bars [data-bar=tank]")
	assert.Contains(t, pagetest.Eval[string](p.Tab,
		`document.querySelector("[data-place=tank]").getAttribute("aria-label")`), "A danger sits here")
}
