package api

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// conversations answers ConversationService.
type conversations struct {
	lightoffv1.UnimplementedConversationServiceServer
	core
	store  *store.Store
	hub    *hub
	recent *recent
	log    *slog.Logger
}

// Open implements the RPC.
func (c *conversations) OpenConversation(ctx context.Context, req *lightoffv1.OpenConversationRequest) (*lightoffv1.OpenConversationResponse, error) {
	var v violations
	opened := diagnosis.Event{Kind: diagnosis.Opened, Locale: v.inLanguage(c.model, req.GetLocale()), Tools: v.tools(req.GetTools())}
	v.openKey(req.GetClientKey())
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.engine.Check(diagnosis.Request{Tools: opened.Tools}); err != nil {
		return nil, err
	}
	start := time.Now()
	kept, err := c.store.CreateOnce(ctx, request(req, ""), c.models.now().model.Version, opened)
	c.metrics.stored("create", start)
	if err != nil {
		return nil, err
	}
	shown, err := c.show(ctx, kept, req.GetLocale(), atOnce)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.OpenConversationResponse{Conversation: shown}, nil
}

// Get implements the RPC.
func (c *conversations) GetConversation(ctx context.Context, req *lightoffv1.GetConversationRequest) (*lightoffv1.GetConversationResponse, error) {
	shown, err := c.read(ctx, req.GetId(), req.GetLocale(), inTurn)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.GetConversationResponse{Conversation: shown}, nil
}

// Say implements the RPC. What is understood but cannot stand joins the unclear parts: a sentence is never refused
// for its meaning.
func (c *conversations) SayText(ctx context.Context, req *lightoffv1.SayTextRequest) (*lightoffv1.SayTextResponse, error) {
	var v violations
	v.keys(req)
	v.text(req.GetText())
	if req.GetAskedId() != "" {
		v.known(c.model, "asked_id", req.GetAskedId())
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	// Read first, for the language: understanding a sentence takes too long to be done while others wait to write.
	before, err := c.store.Read(ctx, req.GetId())
	if err != nil {
		return nil, err
	}
	state := diagnosis.Fold(before.Events)
	text := plain(req.GetText())
	read := c.reader.Read(text, c.context(state, req.GetAskedId(), cmp.Or(req.GetLocale(), state.Locale)))
	said := diagnosis.Event{
		Kind: diagnosis.Said, Text: text, Readings: each(read.Readings, fromReading),
		Offers: each(read.Offers, fromOffer), Unclear: read.Unclear,
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(),
		func(log *account) (diagnosis.Event, error) { return log.admit(said), nil })
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SayTextResponse{Conversation: shown}, nil
}

// Answer implements the RPC: all or none.
func (c *conversations) AnswerQuestions(ctx context.Context, req *lightoffv1.AnswerQuestionsRequest) (*lightoffv1.AnswerQuestionsResponse, error) {
	answered, err := c.answered(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		return answered, log.fits(answered)
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.AnswerQuestionsResponse{Conversation: shown}, nil
}

// answered checks a request by itself.
func (c *conversations) answered(req *lightoffv1.AnswerQuestionsRequest) (diagnosis.Event, error) {
	var v violations
	v.keys(req)
	e := diagnosis.Event{Kind: diagnosis.Answered, Observations: v.observations("observations", req.GetObservations())}
	if len(req.GetSkippedIds()) > maxObservations {
		v.add("skipped_ids", "names %d observations, more than %d", len(req.GetSkippedIds()), maxObservations)
		return e, v.err()
	}
	for i, id := range req.GetSkippedIds() {
		field := fmt.Sprintf("skipped_ids[%d]", i)
		v.known(c.model, field, id)
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
	return e, c.engine.Check(diagnosis.Request{Observations: e.Observations})
}

// Retract implements the RPC.
func (c *conversations) RetractAnswer(ctx context.Context, req *lightoffv1.RetractAnswerRequest) (*lightoffv1.RetractAnswerResponse, error) {
	var v violations
	v.keys(req)
	v.known(c.model, "observation_id", req.GetObservationId())
	if err := v.err(); err != nil {
		return nil, err
	}
	id := req.GetObservationId()
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		if !stands(log.state(), id) {
			return diagnosis.Event{}, errNotTold
		}
		return diagnosis.Event{Kind: diagnosis.Retracted, ObservationID: id}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.RetractAnswerResponse{Conversation: shown}, nil
}

// SetTools implements the RPC.
func (c *conversations) SetTools(ctx context.Context, req *lightoffv1.SetToolsRequest) (*lightoffv1.SetToolsResponse, error) {
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
	if err := c.engine.Check(diagnosis.Request{Tools: set.Tools, EurosPerMinute: req.GetEurosPerMinute(), Willing: int(req.GetWillingness())}); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(*account) (diagnosis.Event, error) {
		return set, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SetToolsResponse{Conversation: shown}, nil
}

// Delete implements the RPC.
func (c *conversations) DeleteConversation(ctx context.Context, req *lightoffv1.DeleteConversationRequest) (*lightoffv1.DeleteConversationResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.store.Delete(ctx, req.GetId()); err != nil {
		return nil, err
	}
	c.heard(store.Change{ID: req.GetId()}) // here at once, even if the database is slow to tell
	return &lightoffv1.DeleteConversationResponse{}, nil
}

// MakeCode implements the RPC.
func (c *conversations) MakeCode(ctx context.Context, req *lightoffv1.MakeCodeRequest) (*lightoffv1.MakeCodeResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	code, expires, err := c.store.MakePass(ctx, req.GetId(), store.Spoken)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.MakeCodeResponse{Code: code, ExpiresAt: timestamppb.New(expires)}, nil
}

// ComeBack implements the RPC.
func (c *conversations) RedeemCode(ctx context.Context, req *lightoffv1.RedeemCodeRequest) (*lightoffv1.RedeemCodeResponse, error) {
	id, err := c.byCode(ctx, req.GetCode(), store.Spoken)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.RedeemCodeResponse{Id: id}, nil
}

func (c *conversations) byCode(ctx context.Context, code string, kinds ...store.PassKind) (string, error) {
	var v violations
	v.name("code", code)
	if err := v.err(); err != nil {
		return "", err
	}
	return c.store.ByPass(ctx, code, kinds...)
}

// LetLookOn implements the RPC.
func (c *conversations) MakeLookOnKey(ctx context.Context, req *lightoffv1.MakeLookOnKeyRequest) (*lightoffv1.MakeLookOnKeyResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	if req.GetWithdraw() {
		return &lightoffv1.MakeLookOnKeyResponse{}, c.store.Withdraw(ctx, req.GetId(), store.LookOn)
	}
	key, _, err := c.store.MakePass(ctx, req.GetId(), store.LookOn)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.MakeLookOnKeyResponse{Key: key}, nil
}

// Resolve implements the RPC. What is confirmed counts as answered by the owner.
func (c *conversations) ResolveSuggestion(ctx context.Context, req *lightoffv1.ResolveSuggestionRequest) (*lightoffv1.ResolveSuggestionResponse, error) {
	if whoCalls(ctx).desk {
		return nil, errNotOwner
	}
	var v violations
	v.keys(req)
	if err := v.err(); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		state := log.state()
		i := slices.IndexFunc(state.Suggestions, func(e diagnosis.Event) bool { return e.Number == req.GetSuggestion() })
		switch {
		case i < 0:
			return diagnosis.Event{}, errNoWait
		case !req.GetConfirm():
			return diagnosis.Event{Kind: diagnosis.Declined, Suggestion: req.GetSuggestion()}, nil
		}
		confirmed := diagnosis.Event{Kind: diagnosis.Confirmed, Suggestion: req.GetSuggestion(), Observations: state.Suggestions[i].Observations}
		if err := log.suggestible(confirmed.Observations); err != nil {
			return diagnosis.Event{}, err
		}
		return confirmed, log.fits(confirmed)
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ResolveSuggestionResponse{Conversation: shown}, nil
}
