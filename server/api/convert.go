package api

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// each converts a list.
func each[A, B any](in []A, convert func(A) B) []B {
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = convert(a)
	}
	return out
}

func toObservation(o diagnosis.Observation) *lightoffv1.Observation {
	out := &lightoffv1.Observation{Id: o.ID}
	switch o.Kind {
	case diagnosis.StateValue:
		out.Value = &lightoffv1.Observation_State{State: o.State}
	case diagnosis.NumberValue:
		out.Value = &lightoffv1.Observation_Number{Number: o.Number}
	case diagnosis.UnknownValue:
		out.Value = &lightoffv1.Observation_Unknown{Unknown: true}
	}
	return out
}

// fromReading is what the reader of text found, in the form in which conversations keep it.
func fromReading(r words.Reading) diagnosis.Reading {
	o := diagnosis.Observation{ID: r.ID, Kind: diagnosis.StateValue, State: r.State}
	switch {
	case r.IsNumber:
		o = diagnosis.Observation{ID: r.ID, Kind: diagnosis.NumberValue, Number: r.Number}
	case r.Unknown:
		o = diagnosis.Observation{ID: r.ID, Kind: diagnosis.UnknownValue}
	}
	return diagnosis.Reading{Observation: o, Words: r.Words}
}

func fromOffer(o words.Offer) diagnosis.Offer {
	return diagnosis.Offer{Reading: fromReading(o.Reading), Alternatives: each(o.Alternatives, fromReading),
		Danger: o.Danger}
}

// toAssessment shows an assessment whose texts are in the language.
func toAssessment(a *diagnosis.Assessment, locale string) *lightoffv1.AssessResponse {
	return &lightoffv1.AssessResponse{
		ModelVersion:   a.ModelVersion,
		Causes:         each(a.Causes, toCause),
		NextChecks:     each(a.NextChecks, toCheck),
		Dangers:        each(a.Dangers, toDanger),
		Plan:           toPlan(a.Plan),
		ConflictNats:   a.Conflict,
		Unused:         each(a.Unused, toUnused),
		Contradictions: each(a.Contradictions, toContradiction),
		Chains:         each(a.Chains, toChain),
		LikelyPair:     toPair(a.LikelyPair),
		Locale:         locale,
	}
}

func toPair(p *diagnosis.Pair) *lightoffv1.Pair {
	if p == nil {
		return nil
	}
	return &lightoffv1.Pair{CauseIds: p.CauseIDs[:], Probability: p.Probability, Several: p.Several, Text: p.Text}
}

func toCause(c diagnosis.RankedCause) *lightoffv1.RankedCause {
	return &lightoffv1.RankedCause{
		Id: c.ID, Title: c.Title, Sentence: c.Sentence, Part: c.Part, Probability: c.Probability, Likelihood: c.Likelihood,
		BaseRate: c.BaseRate,
		Weights: each(c.Weights, func(w diagnosis.WeightOfEvidence) *lightoffv1.WeightOfEvidence {
			return &lightoffv1.WeightOfEvidence{ObservationId: w.ObservationID, Text: w.Text, Bits: w.Bits}
		}),
	}
}

func toCheck(c diagnosis.AdvisedCheck) *lightoffv1.AdvisedCheck {
	return &lightoffv1.AdvisedCheck{
		ObservationId: c.ObservationID, Question: c.Question, GainBits: c.GainBits, SavingEuros: c.Saving,
		Minutes: c.Minutes, Reason: c.Reason, Tool: c.Tool, AboutCauseIds: c.About,
	}
}

// severities has a row for each grade, so that neither side's numbers can drift unseen.
var severities = map[diagnosis.Severity]lightoffv1.Severity{
	diagnosis.Caution:  lightoffv1.Severity_SEVERITY_CAUTION,
	diagnosis.NoStart:  lightoffv1.Severity_SEVERITY_NO_START,
	diagnosis.Urgent:   lightoffv1.Severity_SEVERITY_URGENT,
	diagnosis.LeaveNow: lightoffv1.Severity_SEVERITY_LEAVE_NOW,
}

// gates has a row for each gate's name in the model.
var gates = map[string]lightoffv1.Gate{
	"needs_start":  lightoffv1.Gate_GATE_NEEDS_START,
	"needs_power":  lightoffv1.Gate_GATE_NEEDS_POWER,
	"opens_fuel":   lightoffv1.Gate_GATE_OPENS_FUEL,
	"opens_burner": lightoffv1.Gate_GATE_OPENS_BURNER,
	"touches_hot":  lightoffv1.Gate_GATE_TOUCHES_HOT,
}

func toGate(name string) lightoffv1.Gate { return gates[name] }

// endings has a row for each kind of ending in the model.
var endings = map[string]lightoffv1.EndingKind{
	knowledge.Replace:  lightoffv1.EndingKind_ENDING_KIND_REPLACE,
	knowledge.Licensed: lightoffv1.EndingKind_ENDING_KIND_LICENSED,
}

func toDanger(d diagnosis.Danger) *lightoffv1.Danger {
	return &lightoffv1.Danger{
		Id: d.ID, Title: d.Title, Text: d.Text, Severity: severities[d.Severity],
		TriggerIds: d.Triggers, CallEmergency: d.CallEmergency, Steps: d.Steps, WayOut: d.WayOut,
		LiftedBy: each(d.LiftedBy, toLift), Forbids: each(d.Forbids, toGate), MendedByIds: d.MendedBy,
	}
}

func toLift(l diagnosis.Lift) *lightoffv1.DangerLift {
	return &lightoffv1.DangerLift{Observations: each(l.Told, toObservation), TriggerIds: l.Of}
}

func toPlan(p diagnosis.Plan) *lightoffv1.Plan {
	out := &lightoffv1.Plan{Steps: each(p.Steps, toStep), Note: p.Note, NextCheckId: p.NextCheck}
	if e := p.Ending; e != nil {
		out.Ending = &lightoffv1.Ending{Kind: endings[e.Kind], AfterSteps: int32(e.After), Minutes: e.Minutes,
			CostEuros:   e.Euros,
			Probability: e.Probability, ExpectedCostEuros: e.ExpectedCost, Text: e.Text}
	}
	return out
}

func toStep(s diagnosis.PlanStep) *lightoffv1.PlanStep {
	return &lightoffv1.PlanStep{
		RepairId: s.RepairID, CauseId: s.CauseID, Title: s.Title, ProbabilityNeeded: s.Probability,
		Minutes: s.Minutes, PartsEuros: s.Euros, Cautions: knowledge.Cautions(s.Cautions),
		CautionPhases: phasesOf(s.Cautions), Parts: s.Parts, Steps: s.Steps,
		Proof: s.Proof, Prevention: s.Prevention, HeldBack: s.HeldBack,
		DangerId: s.Danger, Together: s.Together, ProbabilityWellAfter: s.Fixed, ExpectedCostEuros: s.ExpectedCost,
	}
}

func toUnused(u diagnosis.Unused) *lightoffv1.UnusedObservation {
	return &lightoffv1.UnusedObservation{Id: u.ID, Reason: u.Reason}
}

func toContradiction(c diagnosis.Contradiction) *lightoffv1.Contradiction {
	return &lightoffv1.Contradiction{ObservationIds: c.ObservationIDs, Text: c.Text}
}

func toChain(c diagnosis.Chain) *lightoffv1.Chain {
	link := func(l diagnosis.ChainLink) *lightoffv1.ChainLink {
		return &lightoffv1.ChainLink{Id: l.ID, Title: l.Title}
	}
	return &lightoffv1.Chain{Links: each(c.Links, link), Probability: c.Probability, Advice: c.Advice,
		RepairIds: c.RepairIDs}
}

func toExplanation(e *diagnosis.Explanation, locale string) *lightoffv1.ExplainResponse {
	return &lightoffv1.ExplainResponse{
		Locale:      locale,
		Cause:       toCause(e.Cause),
		Explanation: e.Explanation,
		WouldChange: each(e.WouldChange, func(w diagnosis.WhatIf) *lightoffv1.WhatIf {
			return &lightoffv1.WhatIf{
				ObservationId: w.ObservationID, State: w.State, Text: w.Text,
				Probability: w.Probability, ProbabilityAfter: w.After,
			}
		}),
	}
}

// face shows things of the model to people in one language.
type face struct {
	model  *knowledge.Model
	engine *diagnosis.Engine
	locale string
}

// observation describes an observation or setup fact; nil for an id that the model does not have.
func (f face) observation(id string) *lightoffv1.ObservationInfo {
	var info *lightoffv1.ObservationInfo
	text := f.model.Text(f.locale).Observations[id]
	if o, ok := f.model.Observation(id); ok {
		info = &lightoffv1.ObservationInfo{
			Tool: o.Tool, Minutes: o.Minutes, Difficulty: lightoffv1.Willingness(o.Difficulty), Unit: o.Unit, Minimum: o.Min,
			Maximum:    o.Max,
			NeedsStart: o.Gates.NeedsStart, NeedsPower: o.Gates.NeedsPower, OpensFuel: o.Gates.OpensFuel,
			OpensBurner: o.Gates.OpensBurner, TouchesHot: o.Gates.TouchesHot, SafetyCard: o.SafetyCard,
			States: each(o.States, func(s string) *lightoffv1.StateInfo {
				return &lightoffv1.StateInfo{Id: s, Title: text.States[s]}
			}),
		}
	} else if s, ok := f.model.SetupFact(id); ok {
		info = &lightoffv1.ObservationInfo{Setup: true, Unit: s.Unit, Minimum: s.Min, Maximum: s.Max}
		// The bands of a number are the model's own matter: it is told as a number.
		if s.Unit == "" {
			info.States = each(s.States, func(s knowledge.SetupState) *lightoffv1.StateInfo {
				return &lightoffv1.StateInfo{Id: s.ID, Title: text.States[s.ID]}
			})
		}
	} else {
		return nil
	}
	info.Id, info.Title, info.Question, info.How = id, text.Title, text.Question, text.How
	info.Normal, info.Why = text.Normal, text.Why
	info.Cautions, info.CautionPhases = knowledge.Cautions(text.Cautions), phasesOf(text.Cautions)
	return info
}

// observations lists what can be told, setup facts first, as they are known before anything is tested, and the tools.
func (f face) observations() *lightoffv1.ListObservationsResponse {
	out := &lightoffv1.ListObservationsResponse{Locale: f.locale}
	for _, s := range f.model.Setup {
		out.Observations = append(out.Observations, f.observation(s.ID))
	}
	for _, o := range f.model.Observations {
		out.Observations = append(out.Observations, f.observation(o.ID))
	}
	titles := f.model.Text(f.locale).Tools
	for _, id := range f.model.Tools {
		out.Tools = append(out.Tools, &lightoffv1.ToolInfo{Id: id, Title: titles[id]})
	}
	return out
}

func (f face) cause(c knowledge.Cause) *lightoffv1.CauseInfo {
	text := f.model.Text(f.locale).Causes[c.ID]
	info := &lightoffv1.CauseInfo{
		Id: c.ID, Group: c.Group, Title: text.Title, Explanation: text.Explain,
		Sentence: text.Sentence, Part: c.Part, PerThousand: c.PerThousand, Basis: c.Basis,
	}
	for _, r := range f.model.Repairs {
		for _, mended := range r.Mends {
			if mended == c.ID {
				info.RepairIds = append(info.RepairIds, r.ID)
			}
		}
	}
	return info
}

func (f face) repair(r knowledge.Repair) *lightoffv1.RepairInfo {
	text := f.model.Text(f.locale).Repairs[r.ID]
	return &lightoffv1.RepairInfo{
		Id: r.ID, Title: text.Title, CauseIds: r.Mends, Minutes: r.Minutes, PartsEuros: r.Euros,
		Parts: text.Parts, Steps: text.Steps, Cautions: knowledge.Cautions(text.Cautions),
		CautionPhases: phasesOf(text.Cautions), Proof: text.Proof, Prevention: text.Prevention,
	}
}

func (f face) reading(r diagnosis.Reading) *lightoffv1.Reading {
	return &lightoffv1.Reading{
		Observation: toObservation(r.Observation), Words: r.Words, Text: f.describe(r.Observation),
	}
}

func (f face) suggested(o diagnosis.Offer) *lightoffv1.SuggestedReading {
	return &lightoffv1.SuggestedReading{Reading: f.reading(o.Reading), Alternatives: each(o.Alternatives, f.reading),
		Danger: o.Danger}
}

// describe is an observation with its value in plain words. An old log may hold what today's model does not know.
func (f face) describe(o diagnosis.Observation) string {
	if !knows(f.model, o.ID) {
		return o.ID
	}
	return f.engine.Describe(o, f.locale)
}

func (f face) told(t diagnosis.Told) *lightoffv1.Told {
	told := &lightoffv1.Told{
		Skipped: t.Skipped, Words: t.Words, Event: t.Event, Info: f.observation(t.Observation.ID),
	}
	if t.Skipped {
		told.Observation = &lightoffv1.Observation{Id: t.Observation.ID}
		t := f.model.Text(f.locale)
		told.Text = t.Observations[told.Observation.Id].Title + ": " + t.Phrases["skipped"]
		return told
	}
	told.Observation = toObservation(t.Observation)
	told.Text = f.describe(t.Observation)
	return told
}

func (f face) saying(e diagnosis.Event) *lightoffv1.Saying {
	return &lightoffv1.Saying{Text: e.Text, Readings: each(e.Readings, f.reading), Unclear: e.Unclear, Event: e.Number,
		Suggestions: each(e.Offers, f.suggested)}
}

// dated is what a conversation's events do not say themselves.
type dated struct {
	ID       string
	OpenedAt time.Time
	At       []time.Time // of each event
}

// conversation shows a stored conversation whose events fold to state.
func (f face) conversation(c dated, state diagnosis.Conversation,
	guidance *diagnosis.Guidance) *lightoffv1.Conversation {
	out := &lightoffv1.Conversation{
		Id: c.ID, LastEvent: state.LastEvent, Locale: state.Locale, Tools: state.Tools,
		Told:       each(state.Told, f.told),
		Assessment: toAssessment(guidance.Assessment, state.Locale),
		NextReason: guidance.Reason,
		OpenedAt:   timestamppb.New(c.OpenedAt),
		Sayings:    each(state.Sayings, f.saying),
		AssignedTo: state.AssignedTo, Closed: state.Closed != nil, Hidden: state.Hidden,
	}
	out.Recovery, out.Settlement = f.recovery(state, guidance.Recovery), f.settlement(c, state)
	out.NextRepairId = guidance.Repair
	out.EurosPerMinute, out.Willingness = state.EurosPerMinute, lightoffv1.Willingness(state.Willing)
	for _, e := range state.Suggestions {
		out.Suggestions = append(out.Suggestions, f.suggestion(e))
	}
	out.Offers = each(state.Offers, func(p diagnosis.Pending) *lightoffv1.Offer {
		return &lightoffv1.Offer{Id: p.ID, Suggestion: f.suggested(p.Offer), Event: p.Event}
	})
	for _, id := range guidance.Next {
		if info := f.observation(id); info != nil {
			out.Next = append(out.Next, info)
		}
	}
	return out
}

// outcome is what a log comes to.
type outcome struct {
	sound
	dangers  []diagnosis.Danger // by the rules, which need no inference
	guidance *diagnosis.Guidance
}

// pending reports whether the assessment is still to come.
func (o outcome) pending() bool { return o.guidance == nil }

// pending shows a conversation of which there are only the dangers yet. The safety card can be answered meanwhile.
func (f face) pending(c dated, o outcome, version string) *lightoffv1.Conversation {
	guidance := &diagnosis.Guidance{Recovery: &diagnosis.Recovery{},
		Assessment: &diagnosis.Assessment{ModelVersion: version, Dangers: o.dangers}}
	for _, seen := range f.model.Observations {
		if seen.SafetyCard && !stands(o.state, seen.ID) {
			guidance.Next = append(guidance.Next, seen.ID)
		}
	}
	if len(guidance.Next) > 0 {
		guidance.Reason = f.model.Text(f.locale).Phrases["reason_card"]
	}
	shown := f.conversation(c, o.state, guidance)
	shown.Assessment.Pending = true
	return shown
}

// suggestion shows what a reader suggests.
func (f face) suggestion(e diagnosis.Event) *lightoffv1.Suggestion {
	out := &lightoffv1.Suggestion{Event: e.Number, By: e.By, CauseId: e.CauseID, CheckId: e.ObservationID, Text: e.Text}
	texts := f.model.Text(f.locale)
	switch {
	case len(e.Observations) > 0:
		out.Observation, out.Text = toObservation(e.Observations[0]), f.describe(e.Observations[0])
	case e.CauseID != "":
		out.Text = texts.Causes[e.CauseID].Title
	case e.ObservationID != "":
		out.Text = texts.Observations[e.ObservationID].Question
	}
	return out
}

// phasesOf tells when cautions are to be minded, one for each.
func phasesOf(cautions []knowledge.Caution) []lightoffv1.CautionPhase {
	return each(cautions, func(c knowledge.Caution) lightoffv1.CautionPhase { return cautionPhases[c.When] })
}

var cautionPhases = map[knowledge.CautionPhase]lightoffv1.CautionPhase{
	knowledge.Before: lightoffv1.CautionPhase_CAUTION_PHASE_BEFORE,
	knowledge.During: lightoffv1.CautionPhase_CAUTION_PHASE_DURING,
	knowledge.After:  lightoffv1.CautionPhase_CAUTION_PHASE_AFTER,
	knowledge.Never:  lightoffv1.CautionPhase_CAUTION_PHASE_NEVER,
}
