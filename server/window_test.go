package main

import (
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/cases"
	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/pagetest"
)

// outOfWindow names what must always be seen and is not wholly inside the window, measured: the verdict with the first
// thing to do, the question with its keys, and the line to type in.
const outOfWindow = `(() => { const out = [];
	const whole = (name, e) => { if (!e || !e.checkVisibility()) return out.push(name + " is not there"); const r = e.getBoundingClientRect();
		if (r.top < -0.5 || r.bottom > innerHeight + 0.5 || r.left < -0.5 || r.right > innerWidth + 0.5) return out.push(name + " " + [r.top, r.bottom].map(Math.round));
		const x = r.x + r.width / 2, y = r.y + r.height / 2, top = document.elementFromPoint(x, y);
		if (!e.contains(top) && !(top && top.contains(e))) out.push(name + " is covered by " + (top ? top.tagName + "." + top.className : "nothing")); };
	const part = (name) => [...document.querySelectorAll("[data-part=" + name + "]")].find((e) => e.checkVisibility());
	whole("verdict", part("verdict")); whole("deed", part("deed")); whole("line", document.querySelector("#text"));
	whole("heading", part("question") && part("question").querySelector("[data-asks], h2"));
	if (!document.querySelector(".picker")) for (const key of document.querySelectorAll("#question [data-state]")) whole("key " + key.dataset.state, key);
	for (const name of ["unknown", "skip"]) for (const key of document.querySelectorAll("#question [data-" + name + "]")) whole(name, key);
	for (const band of document.querySelectorAll("#banner [data-banner]")) whole("danger " + band.dataset.banner, band);
	return out; })()`

// TestEverythingStaysInTheWindow plays callers' cases on a phone of 360 by 640 pixels: what an owner must see is inside
// the window at every question. It counts the taps from what was told to the first repair that is worth more than any
// question.
func TestEverythingStaysInTheWindow(t *testing.T) {
	p := newProgram(t.TempDir())
	p.Model = heater.Model
	opened(t, p)
	suite, err := cases.Read(heater.Cases())
	require.NoError(t, err)
	text, err := fs.ReadFile(heater.Cases(), "ordinary.yaml")
	require.NoError(t, err)
	var ordinary map[string]any
	require.NoError(t, yaml.Unmarshal(text, &ordinary))
	all := slices.DeleteFunc(slices.Clone(suite.Cases), func(c cases.Case) bool { return c.Kept })
	want := 5
	if os.Getenv("LIGHTOFF_LONG") == "1" {
		want = 60
	}
	tab := pagetest.NewPhone(t)
	tab.Do(chromedp.EmulateViewport(360, 640, chromedp.EmulateScale(2), chromedp.EmulateMobile, chromedp.EmulateTouch))
	client := lightoffv1.NewConversationServiceClient(dial(t, p))
	var taps []int
	for i := range want {
		c := all[i*len(all)/want]
		tab.Visit(p.URL() + "?lang=" + []string{"en", "de"}[i%2])
		tab.Connected()
		tab.Click("#none")
		asked := tab.AskedNext("safety")
		id := pagetest.Eval[string](tab, `location.pathname.replace("/c/", "")`)
		request := &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "told"}
		for id, value := range c.Told {
			request.Observations = append(request.Observations, observed(id, value))
		}
		_, err := client.AnswerQuestions(t.Context(), request)
		require.NoError(t, err)
		tab.There("#verdict")
		n := 0
		for range 14 {
			asked = tab.AskedNext(asked)
			for pagetest.Eval[bool](tab, `document.querySelector("#danger").open`) {
				tab.Acknowledge()
			}
			if !assert.Empty(t, pagetest.Eval[[]string](tab, outOfWindow), "%s at %s", c.ID, asked) {
				tab.Picture("window-" + c.ID + "-" + asked)
			}
			if !pagetest.Eval[bool](tab, `!!document.querySelector("#question [data-unknown]")`) {
				break
			}
			value, known := c.Finds[asked]
			if !known {
				value, known = ordinary[asked]
			}
			if asked == "start_signs" && !known {
				value, known = startSigns(c), true
			}
			if state, isState := value.(string); known && isState && state != "unknown" {
				tab.Answer(state)
			} else {
				tab.CannotTell()
			}
			n++
		}
		if asked == "repair" {
			taps = append(taps, n)
		}
	}
	pagetest.Eval[chromedp.Void](tab, `document.cookie = "lang=; path=/; max-age=0"`)
	slices.Sort(taps)
	t.Logf("%d of %d came to a repair, after so many taps: %v", len(taps), want, taps)
}

// startSigns is the answer to the question that lists the signs which forbid a start, by what a case finds of them.
func startSigns(c cases.Case) string {
	for id, sign := range map[string]string{"failed_starts": "three_or_more", "primed": "well_beyond",
		"bang_on_lighting": "yes", "smoke": "white_thick",
		"exhaust_fire": "yes", "stops_when_off": "no", "petrol_suspected": "yes"} {
		if c.Finds[id] == sign || c.Told[id] == sign {
			return "some"
		}
	}
	return "none"
}

// observed is a value of a case as a client tells it.
func observed(id string, value any) *lightoffv1.Observation {
	switch x := value.(type) {
	case string:
		if x == "unknown" {
			return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_Unknown{Unknown: true}}
		}
		return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_State{State: x}}
	case float64:
		return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_Number{Number: x}}
	}
	number, _ := strconv.ParseFloat(fmt.Sprint(value), 64) // a whole number of either sign
	return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_Number{Number: number}}
}
