//go:build !js

package api

import (
	"context"
	"log/slog"
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

// OpenConversation implements the RPC.
func (c *conversations) OpenConversation(ctx context.Context,
	req *lightoffv1.OpenConversationRequest) (*lightoffv1.OpenConversationResponse, error) {
	opened, err := c.opening(req)
	if err != nil {
		return nil, err
	}
	if who := whoCalls(ctx); who.desk {
		opened.By = who.name
	}
	start := time.Now()
	kept, err := c.store.CreateOnce(ctx, request(req, ""), c.models.inUse().model.Version, opened)
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

// GetConversation implements the RPC.
func (c *conversations) GetConversation(ctx context.Context,
	req *lightoffv1.GetConversationRequest) (*lightoffv1.GetConversationResponse, error) {
	shown, err := c.read(ctx, req.GetId(), req.GetLocale(), inTurn)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.GetConversationResponse{Conversation: shown}, nil
}

// GetLog implements the RPC.
func (c *conversations) GetLog(ctx context.Context, req *lightoffv1.GetLogRequest) (*lightoffv1.GetLogResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if req.GetAfterEvent() < 0 {
		v.add("after_event", "is negative")
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	kept, err := c.store.Read(ctx, req.GetId())
	if err != nil {
		return nil, err
	}
	return toLog(datesOf(kept), kept.ModelVersion, kept.Events, req.GetAfterEvent())
}

// SayText implements the RPC. What is understood but cannot stand joins the unclear parts: a sentence is never refused
// for its meaning.
func (c *conversations) SayText(ctx context.Context, req *lightoffv1.SayTextRequest) (*lightoffv1.SayTextResponse,
	error) {
	if err := c.sayable(req); err != nil {
		return nil, err
	}
	// Read first, for the language: understanding a sentence takes too long to be done while others wait to write.
	before, err := c.store.Read(ctx, req.GetId())
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(),
		c.saying(req, diagnosis.Fold(before.Events)))
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SayTextResponse{Conversation: shown}, nil
}

// AnswerQuestions implements the RPC: all or none.
func (c *conversations) AnswerQuestions(ctx context.Context,
	req *lightoffv1.AnswerQuestionsRequest) (*lightoffv1.AnswerQuestionsResponse, error) {
	answered, err := c.answering(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), answered)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.AnswerQuestionsResponse{Conversation: shown}, nil
}

// RetractAnswer implements the RPC.
func (c *conversations) RetractAnswer(ctx context.Context,
	req *lightoffv1.RetractAnswerRequest) (*lightoffv1.RetractAnswerResponse, error) {
	retracted, err := c.retracting(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), retracted)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.RetractAnswerResponse{Conversation: shown}, nil
}

// SetTools implements the RPC.
func (c *conversations) SetTools(ctx context.Context, req *lightoffv1.SetToolsRequest) (*lightoffv1.SetToolsResponse,
	error) {
	set, err := c.settingTools(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), set)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SetToolsResponse{Conversation: shown}, nil
}

// DeleteConversation implements the RPC.
func (c *conversations) DeleteConversation(ctx context.Context,
	req *lightoffv1.DeleteConversationRequest) (*lightoffv1.DeleteConversationResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	who := whoCalls(ctx)
	if who.named.by == byVisitor {
		return nil, errNotOwner
	}
	if err := c.store.Delete(ctx, req.GetId()); err != nil {
		return nil, err
	}
	c.heard(store.Change{ID: req.GetId()}) // here at once, even if the database is slow to tell
	c.log.Info("a conversation was deleted", "by", string(who.named.by), "token", who.name)
	return &lightoffv1.DeleteConversationResponse{}, nil
}

// ChangeKey implements the RPC.
func (c *conversations) ChangeKey(ctx context.Context, req *lightoffv1.ChangeKeyRequest) (*lightoffv1.ChangeKeyResponse,
	error) {
	var v violations
	v.name("id", req.GetId())
	v.openKey(req.GetClientKey())
	if req.GetClientKey() == "" {
		v.add("client_key", "is missing")
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := owner(ctx); err != nil {
		return nil, err
	}
	key := store.NewKey(req.GetId(), req.GetClientKey())
	if err := c.store.ChangeKey(ctx, req.GetId(), key); err != nil {
		return nil, err
	}
	c.heard(store.Change{ID: req.GetId()})
	return &lightoffv1.ChangeKeyResponse{Id: key}, nil
}

// mayLetIn returns nil for the owner of a conversation, and for a desk where a desk has opened it, for then nobody else
// could let its owner in.
func (c *conversations) mayLetIn(ctx context.Context, id string) error {
	err := owner(ctx)
	if err == nil || !whoCalls(ctx).desk {
		return err
	}
	kept, failed := c.store.Read(ctx, id)
	if failed != nil {
		return failed
	}
	if kept.Events[0].By != "" {
		return nil
	}
	return err
}

// MakeCode implements the RPC.
func (c *conversations) MakeCode(ctx context.Context, req *lightoffv1.MakeCodeRequest) (*lightoffv1.MakeCodeResponse,
	error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.mayLetIn(ctx, req.GetId()); err != nil {
		return nil, err
	}
	code, expires, err := c.store.MakePass(ctx, req.GetId(), store.Spoken)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.MakeCodeResponse{Code: code, ExpiresAt: timestamppb.New(expires)}, nil
}

// RedeemCode implements the RPC.
func (c *conversations) RedeemCode(ctx context.Context,
	req *lightoffv1.RedeemCodeRequest) (*lightoffv1.RedeemCodeResponse, error) {
	id, err := c.byCode(ctx, req.GetCode(), store.Spoken)
	if err != nil {
		return nil, err
	}
	if who := whoCalls(ctx); who.desk {
		return &lightoffv1.RedeemCodeResponse{Id: who.knows(id)}, nil
	}
	key, expires, err := c.store.MakePass(ctx, id, store.Visit)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.RedeemCodeResponse{Id: visitorSign + key, ExpiresAt: timestamppb.New(expires)}, nil
}

func (c *conversations) byCode(ctx context.Context, code string, kinds ...store.PassKind) (string, error) {
	var v violations
	v.name("code", code)
	if err := v.err(); err != nil {
		return "", err
	}
	return c.store.FindByPass(ctx, code, kinds...)
}

// MakeLookOnKey implements the RPC.
func (c *conversations) MakeLookOnKey(ctx context.Context,
	req *lightoffv1.MakeLookOnKeyRequest) (*lightoffv1.MakeLookOnKeyResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.mayLetIn(ctx, req.GetId()); err != nil {
		return nil, err
	}
	key, _, err := c.store.MakePass(ctx, req.GetId(), store.LookOn)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.MakeLookOnKeyResponse{Key: key}, nil
}

// WithdrawLookOnKeys implements the RPC.
func (c *conversations) WithdrawLookOnKeys(ctx context.Context,
	req *lightoffv1.WithdrawLookOnKeysRequest) (*lightoffv1.WithdrawLookOnKeysResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	return &lightoffv1.WithdrawLookOnKeysResponse{}, c.store.RevokePass(ctx, req.GetId(), store.LookOn)
}

// ResolveSuggestion implements the RPC. What is confirmed counts as answered by the owner.
func (c *conversations) ResolveSuggestion(ctx context.Context,
	req *lightoffv1.ResolveSuggestionRequest) (*lightoffv1.ResolveSuggestionResponse, error) {
	if whoCalls(ctx).desk {
		return nil, errNotOwner
	}
	resolved, err := c.resolving(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), resolved)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ResolveSuggestionResponse{Conversation: shown}, nil
}
