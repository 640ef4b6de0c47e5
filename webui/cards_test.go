package webui_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui"
	"lightoff/webui/pagetest"
)

// What the fake works out is made up, simple enough to be recognised: a volt for each ampere, metre or millimetre.

func madeUp(quantity string, result float64, unit string) []*lightoffv1.Step {
	return []*lightoffv1.Step{{Quantity: quantity, Formula: "a·b", With: "2 × 3", Result: result, Unit: unit,
		Source: "made up for a test"}}
}

func (f *fake) CalculateCable(_ context.Context,
	req *lightoffv1.CalculateCableRequest) (*lightoffv1.CalculateCableResponse, error) {
	f.reckoning()
	if req.GetCableLengthM() > 100 {
		return nil, badRequest("cableLengthM", "is 300 m, but must lie between 0 and 100 m")
	}
	out := &lightoffv1.CalculateCableResponse{CableAreaMm2: 6, DropV: req.GetCableLengthM() / 12, AllowedDropV: 0.6,
		FuseA: 20, CurrentA: 13,
		Steps:       madeUp("drop, out and back", req.GetCableLengthM()/12, "V"),
		Assumptions: []string{"current not told: taken as 13 A"}}
	for _, area := range []float64{0.5, 1, 1.5, 2.5, 4, 6, 10, 16, 25} {
		out.Areas = append(out.Areas, &lightoffv1.AreaDrop{CableAreaMm2: area, DropVPerM: 0.5 / area,
			DropV: 0.5 / area * req.GetCableLengthM()})
	}
	if req.CableAreaMm2 != nil {
		out.OwnDropV = proto.Float64(0.5 / req.GetCableAreaMm2() * req.GetCableLengthM())
	}
	return out, nil
}

func (f *fake) CalculateStateOfCharge(_ context.Context,
	req *lightoffv1.CalculateStateOfChargeRequest) (*lightoffv1.CalculateStateOfChargeResponse, error) {
	f.reckoning()
	all := []*lightoffv1.ChargeBand{{BatteryChemistry: "flooded", ChargePercent: 57, LowPercent: 57, HighPercent: 62,
		FreezingPointC: proto.Float64(-28)},
		{BatteryChemistry: "agm", ChargePercent: 50, LowPercent: 40, HighPercent: 67, FreezingPointC: proto.Float64(-8)},
		{BatteryChemistry: "lithium", ChargePercent: 13, LowPercent: 12, HighPercent: 14}}
	if req.GetBatteryChemistry() != "" {
		all = slices.DeleteFunc(all, func(b *lightoffv1.ChargeBand) bool { return b.GetBatteryChemistry() != req.GetBatteryChemistry() })
	}
	return &lightoffv1.CalculateStateOfChargeResponse{Bands: all, Steps: madeUp("charge", 0.5, "")}, nil
}

func (f *fake) CalculateGlowVoltage(_ context.Context,
	req *lightoffv1.CalculateGlowVoltageRequest) (*lightoffv1.CalculateGlowVoltageResponse, error) {
	f.reckoning()
	out := &lightoffv1.CalculateGlowVoltageResponse{BatteryVoltageV: req.GetRestVoltageV() - 0.1, HeaterVoltageV: 10.4,
		UndervoltageLowV: 10, UndervoltageHighV: 10.8,
		Steps: madeUp("voltage at the heater", 10.4, "V"), Assumptions: []string{"capacity not told: taken as 90 A h"}}
	for i := range 61 {
		out.Curve = append(out.Curve, &lightoffv1.StartMoment{AtS: float64(i), HeaterVoltageV: 10.4 - 0.6/(1+float64(i)),
			BatteryVoltageV: req.GetRestVoltageV() - 0.1})
	}
	return out, nil
}

func (f *fake) CalculatePriming(_ context.Context,
	req *lightoffv1.CalculatePrimingRequest) (*lightoffv1.CalculatePrimingResponse, error) {
	f.reckoning()
	return &lightoffv1.CalculatePrimingResponse{LineVolumeMl: 3 * req.GetLineLengthM(), Strokes: 714, TimeS: 143,
		Steps: madeUp("strokes", 714, "")}, nil
}

func (f *fake) CalculateWaxingChance(_ context.Context,
	req *lightoffv1.CalculateWaxingChanceRequest) (*lightoffv1.CalculateWaxingChanceResponse, error) {
	f.reckoning()
	return &lightoffv1.CalculateWaxingChanceResponse{ChancePercent: -req.GetAmbientTemperatureC(),
		LowPercent:  -req.GetAmbientTemperatureC() / 4,
		HighPercent: -req.GetAmbientTemperatureC() * 2, PluggingPointsC: []float64{-20, -15},
		Steps: madeUp("chance of waxing", 0.12, "")}, nil
}

// reckoning holds calculations up while a test wants it so.
func (f *fake) reckoning() {
	f.mu.Lock()
	held := f.held
	f.mu.Unlock()
	if held != nil {
		<-held
	}
}

// hold holds calculations up until the returned function is called.
func (f *fake) hold() (release func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.held = make(chan struct{})
	return sync.OnceFunc(func() { close(f.held) })
}

// learns tells a card something as from another screen: numbers and states that the fake itself asks nothing about.
func (f *fake) learns(t *testing.T, facts map[string]any) {
	t.Helper()
	_, err := f.change("card-1", "", "", func(c *lightoffv1.Conversation) error {
		for id, value := range facts {
			o := &lightoffv1.Observation{Id: id}
			switch v := value.(type) {
			case float64:
				o.Value = &lightoffv1.Observation_Number{Number: v}
			case string:
				o.Value = &lightoffv1.Observation_State{State: v}
			}
			c.Told = slices.DeleteFunc(c.Told, func(t *lightoffv1.Told) bool { return t.GetObservation().GetId() == id })
			if value != nil {
				c.Told = append(c.Told, &lightoffv1.Told{Observation: o, Text: fmt.Sprintf("%s: %v", id, value),
					Event: c.GetLastEvent() + 1})
			}
		}
		return nil
	})
	require.NoError(t, err)
}

// told opens a card on a tab, past the safety card, and tells it facts.
func toldFacts(t *testing.T, p *pagetest.Tab, h *house, facts map[string]any) {
	t.Helper()
	p.Visit(h.URL)
	pastSafety(p)
	h.fake.learns(t, facts)
}

// cards are the ids of the cards, in order.
func cards(p *pagetest.Tab) []string {
	return pagetest.Eval[[]string](p, `[...document.querySelectorAll("[data-card]")].map((e) => e.dataset.card)`)
}

func worked(id string) string { return fmt.Sprintf("[data-card=%s] .fold", id) }

func TestCardsComeWithWhatWasTold(t *testing.T) {
	h := newHouse(t)
	p := pagetest.NewTab(t, 1280, 900)
	toldFacts(t, p, h, map[string]any{"line_bore": "unknown"})
	h.fake.learns(t, map[string]any{"line_bore": nil})
	assert.Empty(t, cards(p), "nothing to work out")

	h.fake.learns(t, map[string]any{"cable_area": 1.5, "cable_length": 6.0})
	p.There(worked("cable"))
	assert.Contains(t, p.Text("[data-card=cable]"),
		"Your cable (1.5 mm², 6 m) would lose 2.0 V at a start; 6 mm² would lose 0.5 V.")
	assert.Contains(t, p.Text("[data-card=cable]"), "Fuse for that load on 6 mm² or more: 20 A")
	assert.Contains(t, p.Text("[data-card=cable]"), "It does not protect a thinner cable.")
	assert.Contains(t, p.Text("[data-card=cable]"), "The heater’s own instructions come first.")
	label := pagetest.Eval[string](p, `document.querySelector("[data-card=cable] svg").getAttribute("aria-label")`)
	assert.Contains(t, label, "would lose 2.0 V", "the plot is told in words")
	assert.Equal(t, 1, pagetest.Eval[int](p, `document.querySelectorAll("[data-card=cable] .spot").length`),
		"the own cable is marked")
	p.Click("[data-card=cable] summary")
	table := p.Text("[data-card=cable] .working")
	for _, part := range []string{"drop, out and back", "a·b = 2 × 3 = 0.5 V", "made up for a test"} {
		assert.Contains(t, table, part)
	}
	assert.Contains(t, p.Text("[data-card=cable]"), "current not told: taken as 13 A")

	h.fake.learns(t, map[string]any{"cable_area": 10.0})
	p.Wait(`document.querySelector("[data-card=cable] h3")?.textContent === "Your cable (10 mm², 6 m) loses 0.3 V at a start, within the 0.6 V allowed."`)
	assert.True(t, p.Seen("[data-card=cable] .working"), "what is folded open stays so")

	h.fake.learns(t, map[string]any{"rest_voltage": 12.3})
	p.There(worked("start"))
	assert.Equal(t, []string{"cable", "battery", "start"}, cards(p))
	assert.Contains(t, p.Text("[data-card=battery]"), "12.3 V at rest means a different charge for each kind of battery.")
	assert.Contains(t, p.Text("[data-card=start]"), "the heater would get 9.8 V at first and 10.4 V once the plug glows")
	assert.Equal(t, 2, pagetest.Eval[int](p, `document.querySelectorAll("[data-card=start] .band").length`),
		"where boards call it under-voltage is shaded")
	h.fake.learns(t, map[string]any{"battery_chemistry": "agm", "ambient_temperature": -12.0, "glow_voltage_heater": 9.5})
	p.Wait(`document.querySelector("[data-card=battery] h3").textContent.startsWith("12.3 V at rest: AGM holds about 50 %; charts differ between 40 and 67 %.")`)
	assert.Contains(t, p.Text("[data-card=battery]"), "freeze at −8 °C. Never charge a frozen battery.")
	p.Wait(`document.querySelector("[data-card=start] svg").textContent.includes("measured")`)

	h.fake.learns(t, map[string]any{"fuel_kind": "winter_diesel"})
	p.There(worked("waxing"))
	assert.Contains(t, p.Text("[data-card=waxing]"),
		"winter diesel at −12 °C waxes with a chance of 12 %, by grade 3 % to 24 %.")
	h.fake.learns(t, map[string]any{"ambient_temperature": 4.0})
	p.Wait(`!document.querySelector("[data-card=waxing]")`)
	h.fake.learns(t, map[string]any{"charging_now": "solar"})
	p.Wait(`!document.querySelector("[data-card=battery], [data-card=start]")`)
}

// TestCardThatAsks knows the bore only and asks for the length; what it is given it does not tell the diagnosis.
func TestCardThatAsks(t *testing.T) {
	h := newHouse(t)
	p := pagetest.NewTab(t, 360, 740)
	toldFacts(t, p, h, map[string]any{"line_bore": 2.5})
	p.Open("sums")
	p.There("[data-card=priming] form")
	assert.Equal(t, "2.5", pagetest.Eval[string](p, `document.querySelector("[name=lineBoreMm]").value`))
	before := h.fake.events("card-1")
	p.Do(chromedp.SendKeys(chromedp.CSS("[name=lineLengthM]"), "five"+kb.Enter))
	p.Wait(`document.querySelector("[data-card=priming] [role=alert]").textContent.includes("A number is needed")`)
	p.Do(chromedp.SetValue(chromedp.CSS("[name=lineLengthM]"), "5,5"), chromedp.Focus(chromedp.CSS("[name=lineLengthM]")))
	p.Press(kb.Enter)
	p.There(worked("priming"))
	assert.Contains(t, p.Text("[data-card=priming]"),
		"This line holds 16.5 mL: about 714 strokes, 2 min 23 s, to fill it when empty.")
	assert.Contains(t, p.Text("[data-card=priming]"), "never burn it off")
	assert.Equal(t, "lineLengthM", pagetest.Eval[string](p, "document.activeElement.name"), "the focus stays in the form")
	assert.Equal(t, before, h.fake.events("card-1"))

	p.Close()
	p.Say("white smoke")
	p.Acknowledge()
	p.Wait(`!document.querySelector("[data-card=priming]")`)
	assert.NotContains(t, p.Text("#cards"), "strokes", "nobody is told how to pump while nothing may be started")
}

func TestCardsRefusedClosedAndPrinted(t *testing.T) {
	h := newHouse(t)
	p := pagetest.NewTab(t, 1280, 900)
	toldFacts(t, p, h, map[string]any{"cable_area": 2.5, "cable_length": 300.0, "fuel_kind": "hvo",
		"ambient_temperature": -0.4})
	p.Wait(`document.querySelector("[data-card=cable] .bad")?.textContent === "Cannot be worked out: Length one way, m: outside what this holds for."`)
	p.There(worked("waxing"))
	assert.Contains(t, p.Text("[data-card=waxing]"), "a chance of < 1 %.", "no chance is zero")

	p.Do(chromedp.Focus(chromedp.CSS("#text")))
	p.TabTo("[data-card=cable] .off")
	p.Press(kb.Enter)
	p.Wait(`!document.querySelector("[data-card=cable]")`)
	assert.Equal(t, "cards-again", p.Focused(), "a card that is closed leaves the focus where it can be had back")
	p.Reload()
	p.There(worked("waxing"))
	assert.Equal(t, []string{"waxing"}, cards(p), "closed stays closed")
	p.TabTo("#cards-again")
	p.Press(kb.Enter)
	p.There("[data-card=cable] .bad")
	assert.Equal(t, []string{"cable", "waxing"}, cards(p))

	p.Print()
	assert.True(t, p.Seen("[data-card=waxing] h3"))
	assert.False(t, p.Seen("[data-card=waxing] .off"))
}

// TestNoCardsWhilePeopleMustLeave takes all of it away.
func TestNoCardsWhilePeopleMustLeave(t *testing.T) {
	h := newHouse(t)
	p := pagetest.NewTab(t, 1280, 900)
	toldFacts(t, p, h, map[string]any{"cable_area": 2.5, "cable_length": 3.0})
	p.There(worked("cable"))
	h.fake.learns(t, map[string]any{"people_unwell": "yes"})
	p.Acknowledge()
	assert.Empty(t, cards(p))
	assert.Empty(t, p.Text("#cards"))
}

// TestCardsLooks keeps pictures on request, and fails where a card would be too wide, too pale or would push about what
// stands above it.
func TestCardsLooks(t *testing.T) {
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"small", 320, 640}, {"phone", 360, 740}, {"desk", 1280, 900}} {
		for _, scheme := range []string{"light", "dark"} {
			t.Run(size.name+" "+scheme, func(t *testing.T) {
				h := newHouse(t)
				p := pagetest.NewTab(t, size.width, size.height)
				p.Scheme(scheme)
				toldFacts(t, p, h, nil)
				release := h.fake.hold()
				h.fake.learns(t, map[string]any{"cable_area": 1.5, "cable_length": 6.0, "rest_voltage": 12.3, "line_length": 4.0,
					"ambient_temperature": -12.0, "fuel_kind": "winter_diesel"})
				p.Open("sums")
				p.There("[data-card=waxing]")
				stand := `["#log", "#question", "#say", "#face", "#suspected", "#plan", "#cards"].map((css) => document.querySelector(css)).filter((e) => e && e.checkVisibility()).map((e) => e.getBoundingClientRect().y).join()`
				before := pagetest.Eval[string](p, stand)
				release()
				for _, id := range []string{"cable", "battery", "start", "priming", "waxing"} {
					p.There(worked(id))
				}
				assert.Equal(t, before, pagetest.Eval[string](p, stand), "what comes pushes nothing about")
				p.Click("[data-card=cable] summary")
				p.Click("[data-card=start] summary")
				p.There("[data-card=start] .working")
				p.Picture(strings.Join([]string{"cards", size.name, scheme}, "-"))
				assert.Empty(t, p.TooWide())
				assert.Empty(t, p.PoorContrast())
			})
		}
	}
}

// TestCardsAreAccessible runs the rules of axe-core over all cards, folded open, in both schemes.
func TestCardsAreAccessible(t *testing.T) {
	for _, scheme := range []string{"light", "dark"} {
		t.Run(scheme, func(t *testing.T) {
			h := newHouse(t)
			p := pagetest.NewTab(t, 360, 740)
			p.NeedAudit()
			p.Scheme(scheme)
			toldFacts(t, p, h, map[string]any{"cable_area": 1.5, "cable_length": 6.0, "rest_voltage": 12.3, "line_length": 4.0,
				"ambient_temperature": -12.0, "fuel_kind": "winter_diesel"})
			p.Open("sums")
			p.There(worked("waxing"))
			pagetest.Eval[chromedp.Void](p, `document.querySelectorAll("#cards details").forEach((d) => { d.open = true; })`)
			assert.Empty(t, p.Audit())
		})
	}
}

// TestCardsInGerman changes the language while cards stand.
func TestCardsInGerman(t *testing.T) {
	h := newHouse(t)
	p := pagetest.NewTab(t, 1280, 900)
	toldFacts(t, p, h, map[string]any{"cable_area": 1.5, "cable_length": 6.5})
	p.There(worked("cable"))
	p.Open("menu")
	p.Click("#lang-de")
	p.Close()
	p.Wait(`document.querySelector("[data-card=cable] h3").textContent.startsWith("Dein Kabel (1,5 mm², 6,5 m) würde beim Start 2,2 V verlieren")`)
	assert.Equal(t, "Schließen: Kabel", pagetest.Eval[string](p,
		`document.querySelector("[data-card=cable] .off").getAttribute("aria-label")`))
}

// TestCalculationsOverTheBridge asks as the page does.
func TestCalculationsOverTheBridge(t *testing.T) {
	p := dial(t, serve(t, newFake(), webui.Options{}))
	for i, text := range []string{`"calculate_cable", "request": {"cableLengthM": 6}`,
		`"calculate_state_of_charge", "request": {"restVoltageV": 12.3}`,
		`"calculate_glow_voltage", "request": {"restVoltageV": 12.3, "cableAreaMm2": 2.5, "cableLengthM": 5}`,
		`"calculate_priming", "request": {"lineLengthM": 5}`,
		`"calculate_waxing_chance", "request": {"fuelKind": "hvo", "ambientTemperatureC": -3}`} {
		p.send(fmt.Sprintf(`{"re": %d, "do": %s}`, i+1, text))
		_, raw, err := p.conn.ReadMessage()
		require.NoError(t, err)
		assert.Contains(t, string(raw), fmt.Sprintf(`{"re":%d,"reply":{`, i+1))
		assert.Contains(t, string(raw), `"source":"made up for a test"`)
	}
	refused := p.ask(`{"re": 7, "do": "calculate_cable", "request": {"cableLengthM": 300}}`)
	require.NotNil(t, refused.Error)
	assert.Equal(t, "INVALID_ARGUMENT", refused.Error.Code)
	assert.Equal(t, "cableLengthM", refused.Error.Violations[0].Field)
	unknown := p.ask(`{"re": 8, "do": "calculate_cable", "request": {"cable_colour": "red"}}`)
	require.NotNil(t, unknown.Error)
	assert.Equal(t, "INVALID_ARGUMENT", unknown.Error.Code)
}
