//go:build !js

package api

import (
	"context"
	"time"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// ReportRepair implements the RPC.
func (c *conversations) ReportRepair(ctx context.Context,
	req *lightoffv1.ReportRepairRequest) (*lightoffv1.ReportRepairResponse, error) {
	mended, err := c.mending(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), mended)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReportRepairResponse{Conversation: shown}, nil
}

// ReportStart implements the RPC.
func (c *conversations) ReportStart(ctx context.Context,
	req *lightoffv1.ReportStartRequest) (*lightoffv1.ReportStartResponse, error) {
	started, err := c.starting(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), started)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReportStartResponse{Conversation: shown}, nil
}

// SettleConversation implements the RPC.
func (c *conversations) SettleConversation(ctx context.Context,
	req *lightoffv1.SettleConversationRequest) (*lightoffv1.SettleConversationResponse, error) {
	settled, err := c.settling(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), settled)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SettleConversationResponse{Conversation: shown}, nil
}

// ReportHolding implements the RPC.
func (c *conversations) ReportHolding(ctx context.Context,
	req *lightoffv1.ReportHoldingRequest) (*lightoffv1.ReportHoldingResponse, error) {
	asked, err := c.checkingBack(req, whoCalls(ctx).name)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), asked)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReportHoldingResponse{Conversation: shown}, nil
}

// dueBack reports whether somebody should ask whether a repair has held.
func dueBack(c store.Conversation, state diagnosis.Conversation, now time.Time) bool {
	return state.Closed != nil && state.Closed.Closing.Outcome == diagnosis.Settled && state.Held == "" &&
		!now.Before(c.At[state.Closed.Number-1].Add(checkBackAfter))
}
