package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/pagetest"
)

// phone is the page of a program on a phone.
type phone struct {
	*pagetest.Tab
	t       *testing.T
	program *Program
}

// onPhone opens a program with the real model, and its page on a phone.
func onPhone(t *testing.T) *phone {
	t.Helper()
	tab := pagetest.NewPhone(t)
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	tab.Visit(p.URL())
	tab.Connected()
	return &phone{tab, t, p}
}

// id is the conversation's, from the page's address.
func (p *phone) id() string {
	p.t.Helper()
	return pagetest.Eval[string](p.Tab, `location.pathname.replace("/c/", "")`)
}

// kept is the conversation that the page shows, as the service has kept it.
func (p *phone) kept() *lightoffv1.Conversation {
	p.t.Helper()
	reply, err := lightoffv1.NewConversationServiceClient(dial(p.t, p.program)).GetConversation(p.t.Context(),
		&lightoffv1.GetConversationRequest{Id: p.id()})
	require.NoError(p.t, err)
	return reply.Conversation
}

// keeps waits until the service has kept an event.
func (p *phone) keeps(event int64) {
	p.t.Helper()
	limited, cancel := context.WithTimeout(p.t.Context(), patience)
	defer cancel()
	watch, err := lightoffv1.NewConversationServiceClient(dial(p.t, p.program)).WatchConversation(limited,
		&lightoffv1.WatchConversationRequest{Id: p.id(), AfterEvent: event - 1})
	require.NoError(p.t, err)
	_, err = watch.Recv()
	require.NoError(p.t, err)
}

// restart stops the program, does something meanwhile and starts the program again at the same addresses.
func (p *phone) restart(meanwhile func()) {
	p.t.Helper()
	url := p.program.URL()
	p.program.GRPC, p.program.Web = p.program.GRPCAddress(), p.program.web.Addr().String()
	closed(p.t, p.program)
	p.Disconnected()
	meanwhile()
	require.NoError(p.t, p.program.Open(p.t.Context()))
	require.Equal(p.t, url, p.program.URL())
	p.SignalBack()
	p.Connected()
}

// told finds what was told about an observation; nil if nothing was.
func told(c *lightoffv1.Conversation, id string) *lightoffv1.Told {
	i := slices.IndexFunc(c.Told, func(t *lightoffv1.Told) bool { return t.Observation.Id == id })
	if i < 0 {
		return nil
	}
	return c.Told[i]
}

// card is what the card shows: its lines, in the order in which they are numbered, and the question.
type card struct {
	Lines          []string
	Asks, Question string
}

// card reads the card once it asks.
func (p *phone) card() card {
	p.t.Helper()
	return card{p.Texts("#told .me, #told .chip > button:first-child"), p.AskedNext(""), p.Text("#question")}
}

// caller answers as somebody whose soft fuel hose lets air in. What is not known cannot be told, but the second time
// it is skipped.
type caller struct {
	knows   map[string]string // states by observation
	unknown int               // questions that could not be told so far
}

// softHose is the caller before the first question.
func softHose() *caller {
	return &caller{knows: map[string]string{
		"co_alarm_fitted": "yes",
		"co_alarm":        "silent_tested",
		"bubbles":         "few", // at the first glance
		"line_type":       "soft",
		"tank_level":      "half",
		"primed":          "no",
		"just_installed":  "no",
		"ran_dry":         "no",
		"failed_starts":   "one_or_two",
	}}
}

// answer taps the answer to the question that is asked.
func (c *caller) answer(p *phone, id string) {
	p.t.Helper()
	if state, ok := c.knows[id]; ok {
		p.Answer(state)
		return
	}
	c.unknown++
	if c.unknown == 2 {
		p.Skip()
	} else {
		p.CannotTell()
	}
}

// TestBrowserConversation goes all the way on a phone: the safety card, a sentence of which one thing was not meant,
// the advised questions, a reload, an answer changed, one given while the program was away and one whose reply was lost
// as the program stopped. In the end the page shows the ranking that the command makes of the same observations.
func TestBrowserConversation(t *testing.T) {
	p, c := onPhone(t), softHose()
	p.Click("#none")
	p.Asked("opening")
	p.Say("E-08 and it won't start, few bubbles in the line, my neighbour's gave black smoke")
	p.There("[data-chip=fault_code]")
	p.There("[data-chip=complaint]")
	p.There("[data-chip=bubbles]")
	p.NotMeant("smoke")
	p.Saved()
	taps := int64(3) // entries that the service is to have kept, each once

	asked, advised, restarts := "", 0, 0
	for advised < 8 {
		if asked = p.AskedNext(asked); asked == "done" || asked == "repair" {
			break
		}
		if strings.HasPrefix(asked, "co_alarm") { // which everybody is asked
			c.answer(p, asked)
			taps++
			continue
		}
		before := p.kept()
		switch {
		case restarts == 0 && advised >= 3 && c.knows[asked] != "":
			restarts++
			p.restart(func() {
				c.answer(p, asked)
				p.Asked("waiting")
				p.Unsaved(1)
			})
			p.Saved()
			assert.Equal(t, c.knows[asked], told(p.kept(), asked).GetObservation().GetState(),
				"given while the program was away")
		case restarts == 1:
			restarts++
			p.Deafen()
			c.answer(p, asked)
			p.keeps(before.LastEvent + 1)
			p.restart(func() { p.Unsaved(1) }) // the page sends again what it has not heard of
		default:
			c.answer(p, asked)
		}
		advised++
		taps++
		p.AskedNext(asked)
		p.Saved()
		after := p.kept()
		assert.NotNil(t, told(after, asked), asked)
		assert.Equal(t, before.LastEvent+1, after.LastEvent, "%s is kept once", asked)
		switch advised {
		case 2:
			before := p.card()
			p.Reload()
			p.Asked(before.Asks)
			assert.Equal(t, before, p.card(), "reloading keeps the card")
			assert.Greater(t, len(before.Lines), 4)
		case 3:
			p.Change("bubbles", "many")
			p.Wait(`document.querySelector("[data-line=bubbles]").textContent.includes("Many")`)
			p.Saved()
			taps++
		}
	}
	assert.Equal(t, 2, restarts)
	assert.GreaterOrEqual(t, c.unknown, 2, "something could not be told, something was skipped")
	assert.GreaterOrEqual(t, advised, 5)

	kept := p.kept()
	assert.Equal(t, 1+taps, kept.LastEvent, "every entry is kept once")
	shown := p.Ranking()
	assert.Equal(t, assessed(t, kept), shown)
	first := []string{shown[0].ID, shown[1].ID} // the hose was never asked after, and the line was not primed either
	assert.Contains(t, first, "soft_line_air")
	assert.Empty(t, p.TooWide())
}

// assessed is the ranking that the command prints for what was told, with the percentages as people read them.
func assessed(t *testing.T, c *lightoffv1.Conversation) []pagetest.Cause {
	t.Helper()
	request := &lightoffv1.AssessRequest{Tools: c.Tools, Locale: c.Locale}
	for _, told := range c.Told {
		if !told.Skipped {
			request.Observations = append(request.Observations, told.Observation)
		}
	}
	in, err := protojson.Marshal(request)
	require.NoError(t, err)
	got := runWith(t.Context(), heater.Model, string(in), "assess")
	require.Equal(t, exitDone, got.code, got.err)
	var answer lightoffv1.AssessResponse
	require.NoError(t, protojson.Unmarshal([]byte(got.out), &answer))
	var ranking []pagetest.Cause
	for _, cause := range answer.Causes {
		percent := fmt.Sprintf("%.0f in 100", math.Floor(float64(cause.Probability*100)+0.5))
		switch {
		case cause.Probability < 0.01:
			percent = "under 1 in 100"
		case cause.Probability > 0.99:
			percent = "over 99 in 100"
		}
		ranking = append(ranking, pagetest.Cause{ID: cause.Id, Title: cause.Title, Percent: percent})
	}
	return ranking
}

// TestBrowserDanger smells exhaust: the danger fills the screen, comes back with a reload and goes only when the smell
// is taken back. Until then nothing that starts the heater is offered.
func TestBrowserDanger(t *testing.T) {
	p := onPhone(t)
	p.Click(`#safety [name="smell_exhaust_inside"]`)
	p.inDanger()
	p.Acknowledge()
	p.There("[data-banner=exhaust_inside]")
	p.Saved() // the card has its date by then, which moves what is below
	p.Click("#none")
	p.Asked("opening")
	p.Say("E-01")
	p.There("[data-line=fault_code]")
	p.Saved()
	p.Open("menu")
	p.Click("#tools > summary")
	p.Click("[data-tool=multimeter]")
	p.There("[data-tool=multimeter][aria-pressed=true]")
	p.Saved()
	p.Close()
	assert.Empty(t, p.starting(), "nobody is to go in and start it")

	p.Reload()
	p.inDanger()
	p.Acknowledge()
	assert.Empty(t, p.starting())
	p.TakeBack("smell_exhaust_inside")
	p.Wait(`!document.querySelector("[data-banner]") && !document.querySelector("#danger").open`)
	p.Click("#none")
	for asked := p.AskedNext(""); strings.HasPrefix(asked, "co_alarm"); asked = p.AskedNext(asked) {
		p.CannotTell()
	}
	assert.NotEmpty(t, p.starting(), "without a danger a start is offered")
	p.Reload()
	p.Connected()
	p.AskedNext("")
	assert.False(t, p.Seen("#danger"))
	assert.Empty(t, p.kept().Assessment.Dangers)
}

// inDanger waits for the full screen about exhaust, with its call within reach.
func (p *phone) inDanger() {
	p.t.Helper()
	p.There("#danger[open] [data-danger=exhaust_inside]")
	assert.True(p.t, p.FillsScreen("#danger"))
	assert.True(p.t, p.AtHand(`#danger a[href="tel:112"]`), "the call is in sight")
}

// starting lists the checks that start the heater among those that the page offers or asks for, and among all that the
// service advises.
func (p *phone) starting() []string {
	p.t.Helper()
	m, err := heater.Model()
	require.NoError(p.t, err)
	ids := pagetest.Eval[[]string](p.Tab,
		`[...document.querySelectorAll("[data-ask], #question [data-asks]")].map((e) => e.dataset.ask ?? e.dataset.asks)`)
	for _, check := range p.kept().Assessment.NextChecks {
		ids = append(ids, check.ObservationId)
	}
	return slices.DeleteFunc(ids, func(id string) bool {
		o, ok := m.Observation(id)
		return !ok || !o.Gates.NeedsStart
	})
}

// TestBrowserDrawings: every observation that the page has a drawing for is one of the heater's.
func TestBrowserDrawings(t *testing.T) {
	p := onPhone(t)
	m, err := heater.Model()
	require.NoError(t, err)
	ids := pagetest.Eval[[]string](p.Tab,
		`import(document.querySelector("[href$='state.js']").href.replace("state.js", "drawings.js")).then((m) => `+
			`Object.keys(m.SHOWN))`)
	assert.Greater(t, len(ids), 50)
	for _, id := range ids {
		_, isObservation := m.Observation(id)
		_, isSetup := m.SetupFact(id)
		assert.True(t, isObservation || isSetup, "%s is drawn and unknown", id)
	}
}
