package api

import (
	"cmp"
	"fmt"
	"slices"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// deed makes of a conversation's log the event that joins it, or tells why none may.
type deed func(log *account) (diagnosis.Event, error)

func (u understanding) opening(req *lightoffv1.OpenConversationRequest) (diagnosis.Event, error) {
	var v violations
	opened := diagnosis.Event{Kind: diagnosis.Opened, Locale: v.inLanguage(u.model, req.GetLocale()),
		Tools: v.tools(req.GetTools())}
	v.openKey(req.GetClientKey())
	if err := v.err(); err != nil {
		return opened, err
	}
	return opened, u.engine.Check(diagnosis.Request{Tools: opened.Tools})
}

// sayable checks a text by itself.
func (u understanding) sayable(req *lightoffv1.SayTextRequest) error {
	var v violations
	v.keys(req)
	v.text(req.GetText())
	if req.GetAskedId() != "" {
		v.known(u.model, "asked_id", req.GetAskedId())
	}
	return v.err()
}

// saying understands a sayable text by what a conversation was before it.
func (u understanding) saying(req *lightoffv1.SayTextRequest, before diagnosis.Conversation) deed {
	text := plain(req.GetText())
	read := u.reader.Read(text, u.context(before, req.GetAskedId(), cmp.Or(req.GetLocale(), before.Locale)))
	said := diagnosis.Event{
		Kind: diagnosis.Said, Text: text, Readings: each(read.Readings, fromReading),
		Offers: each(read.Offers, fromOffer), Unclear: read.Unclear,
	}
	return func(log *account) (diagnosis.Event, error) { return log.admit(said), nil }
}

func (u understanding) answering(req *lightoffv1.AnswerQuestionsRequest) (deed, error) {
	answered, err := u.answered(req)
	return func(log *account) (diagnosis.Event, error) { return answered, log.fits(answered) }, err
}

// answered checks a request by itself.
func (u understanding) answered(req *lightoffv1.AnswerQuestionsRequest) (diagnosis.Event, error) {
	var v violations
	v.keys(req)
	e := diagnosis.Event{Kind: diagnosis.Answered, Observations: v.observations("observations", req.GetObservations())}
	if len(req.GetSkippedIds()) > maxObservations {
		v.add("skipped_ids", "names %d observations, more than %d", len(req.GetSkippedIds()), maxObservations)
		return e, v.err()
	}
	for i, id := range req.GetSkippedIds() {
		field := fmt.Sprintf("skipped_ids[%d]", i)
		v.known(u.model, field, id)
		if slices.ContainsFunc(e.Observations, func(o diagnosis.Observation) bool { return o.ID == id }) {
			v.add(field, "%s is answered in the same request", id)
		}
		if !slices.Contains(e.Skipped, id) {
			e.Skipped = append(e.Skipped, id)
		}
	}
	e.Dismissed = v.names("dismissed_offer_ids", req.GetDismissedOfferIds())
	if len(v) == 0 && len(e.Observations)+len(e.Skipped)+len(e.Dismissed) == 0 {
		v.add("observations", "is empty, and nothing is skipped or dismissed")
	}
	if err := v.err(); err != nil {
		return e, err
	}
	return e, u.engine.Check(diagnosis.Request{Observations: e.Observations})
}

func (u understanding) retracting(req *lightoffv1.RetractAnswerRequest) (deed, error) {
	var v violations
	v.keys(req)
	v.known(u.model, "observation_id", req.GetObservationId())
	id := req.GetObservationId()
	return func(log *account) (diagnosis.Event, error) {
		if !stands(log.state(), id) {
			return diagnosis.Event{}, errNotTold
		}
		return diagnosis.Event{Kind: diagnosis.Retracted, ObservationID: id}, nil
	}, v.err()
}

func (u understanding) settingTools(req *lightoffv1.SetToolsRequest) (deed, error) {
	var v violations
	v.keys(req)
	set := diagnosis.Event{Kind: diagnosis.ToolsSet, Tools: v.tools(req.GetTools()), EurosPerMinute: req.EurosPerMinute}
	if req.Willingness != nil {
		willing := int(req.GetWillingness())
		set.Willing = &willing
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	return func(*account) (diagnosis.Event, error) { return set, nil },
		u.engine.Check(diagnosis.Request{Tools: set.Tools, EurosPerMinute: req.GetEurosPerMinute(),
			Willing: int(req.GetWillingness())})
}

func (u understanding) resolving(req *lightoffv1.ResolveSuggestionRequest) (deed, error) {
	var v violations
	v.keys(req)
	return func(log *account) (diagnosis.Event, error) {
		state := log.state()
		i := slices.IndexFunc(state.Suggestions, func(e diagnosis.Event) bool { return e.Number == req.GetSuggestion() })
		switch {
		case i < 0:
			return diagnosis.Event{}, errNoWait
		case !req.GetConfirm(), len(state.Suggestions[i].Observations) == 0:
			return diagnosis.Event{Kind: diagnosis.Declined, Suggestion: req.GetSuggestion()}, nil
		}
		confirmed := diagnosis.Event{Kind: diagnosis.Confirmed, Suggestion: req.GetSuggestion(),
			Observations: state.Suggestions[i].Observations}
		if err := log.suggestible(confirmed.Observations); err != nil {
			return diagnosis.Event{}, err
		}
		return confirmed, log.fits(confirmed)
	}, v.err()
}

// suggestible returns nil if observations may be suggested, or a suggestion of them confirmed: never past a danger that
// stands, and never about the safety card or what a danger came from.
func (a *account) suggestible(observations []diagnosis.Observation) error {
	for _, d := range a.sound().evidence.Dangers() {
		if d.Severity > diagnosis.Caution {
			return errDanger
		}
		for _, o := range observations {
			if slices.Contains(d.Triggers, o.ID) {
				return errDanger
			}
		}
	}
	for _, o := range observations {
		if known, ok := a.model.Observation(o.ID); ok && known.SafetyCard {
			return errOnCard
		}
	}
	return nil
}

func (u understanding) mending(req *lightoffv1.ReportRepairRequest) (deed, error) {
	var v violations
	v.keys(req)
	v.name("repair_id", req.GetRepairId())
	if !u.hasRepair(req.GetRepairId()) {
		v.add("repair_id", "no repair is called %q", clip(req.GetRepairId()))
	}
	return func(log *account) (diagnosis.Event, error) {
		e := diagnosis.Event{Kind: diagnosis.Mended, RepairID: req.GetRepairId()}
		if req.GetTakeBack() {
			done := func(d diagnosis.Done) bool { return d.RepairID == req.GetRepairId() }
			if e.Kind = diagnosis.Unmended; !slices.ContainsFunc(log.state().Mended, done) {
				return e, errNotTold
			}
		}
		return e, nil
	}, v.err()
}

func (u understanding) starting(req *lightoffv1.ReportStartRequest) (deed, error) {
	var v violations
	v.keys(req)
	if req.Ran == nil {
		v.add("ran", "is missing: say whether it ran")
	}
	started := diagnosis.Event{Kind: diagnosis.Started, Ran: req.GetRan(),
		Observations: v.observations("observations", req.GetObservations())}
	if err := v.err(); err != nil {
		return nil, err
	}
	return func(log *account) (diagnosis.Event, error) { return started, log.fits(started) },
		u.engine.Check(diagnosis.Request{Observations: started.Observations})
}

func (u understanding) settling(req *lightoffv1.SettleConversationRequest) (deed, error) {
	var v violations
	v.keys(req)
	closing := &diagnosis.Closing{Outcome: diagnosis.Settled, Causes: req.GetCauseIds(),
		FoundBy: finders[req.GetFoundBy()], Surety: sureties[req.GetSurety()]}
	u.settled(&v, "", closing)
	return func(log *account) (diagnosis.Event, error) {
		state := log.state()
		if err := log.safe(); err != nil {
			return diagnosis.Event{}, err
		}
		if closing.Surety == "proved" && (len(state.Mended) == 0 || state.Start == nil || !state.Start.Ran) {
			return diagnosis.Event{}, errUnproved
		}
		return diagnosis.Event{Kind: diagnosis.Closed, Closing: closing}, nil
	}, v.err()
}

// settled checks what is said of a settled conversation, below a field.
func (u understanding) settled(v *violations, field string, closing *diagnosis.Closing) {
	if len(closing.Causes) == 0 || len(closing.Causes) > 10 {
		v.add(field+"cause_ids", "name one to ten causes")
	}
	for i, id := range closing.Causes {
		if _, ok := u.model.Cause(id); !ok || slices.Contains(closing.Causes[:i], id) {
			v.add(field+"cause_ids", "no cause is called %q, or it stands twice", clip(id))
			break
		}
	}
	if closing.FoundBy == "" {
		v.add(field+"found_by", "is missing")
	}
	if closing.Surety == "" {
		v.add(field+"surety", "is missing")
	}
}

// safe returns nil unless a danger stands, while which nothing is settled.
func (a *account) safe() error {
	for _, danger := range a.sound().evidence.Dangers() {
		if danger.Severity > diagnosis.Caution {
			return errUnsafe
		}
	}
	return nil
}

// checkingBack is by whoever asked, if it was not the owner.
func (u understanding) checkingBack(req *lightoffv1.ReportHoldingRequest, by string) (deed, error) {
	var v violations
	v.keys(req)
	held := holdings[req.GetHolding()]
	if held == "" {
		v.add("holding", "is missing")
	}
	return func(log *account) (diagnosis.Event, error) {
		state := log.state()
		if state.Closed == nil || state.Closed.Closing.Outcome != diagnosis.Settled {
			return diagnosis.Event{}, errNotSettled
		}
		return diagnosis.Event{Kind: diagnosis.CheckedBack, Held: held, By: by}, nil
	}, v.err()
}

// explainable is what a cause is to be explained by.
func (u understanding) explainable(req *lightoffv1.ExplainRequest) (diagnosis.Request, error) {
	var v violations
	r := diagnosis.Request{
		Observations: v.observations("observations", req.GetObservations()),
		Locale:       v.inLanguage(u.model, req.GetLocale()),
		Mended:       v.names("mended_ids", req.GetMendedIds()),
		Before:       v.names("before_ids", req.GetBeforeIds()),
	}
	v.name("cause_id", req.GetCauseId())
	return r, v.err()
}
