//go:build !js

package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

const (
	// closingsOverlap is more than two servers' clocks and the time that one of them takes to write can lie apart.
	closingsOverlap = time.Minute
	closingsAtOnce  = 200 // that one statement asks for
)

// WatchClosings implements the RPC. The log of events is all that it needs: what a reader has dealt with, only the
// reader knows, and says so when it comes back.
func (d *desk) WatchClosings(req *lightoffv1.WatchClosingsRequest,
	stream grpc.ServerStreamingServer[lightoffv1.WatchClosingsResponse]) error {
	ctx := stream.Context()
	var v violations
	c := closings{desk: d, locale: v.inLanguage(d.model, req.GetLocale()), sent: map[string]time.Time{}, send: stream.Send}
	if req.GetSince() == nil {
		c.first = time.Now()
		c.latest = c.first
	} else if err := req.GetSince().CheckValid(); err != nil {
		v.add("since", "is no time: %v", err)
	} else if c.latest = req.GetSince().AsTime(); c.latest.After(time.Now().Add(closingsOverlap)) {
		v.add("since", "lies in the future")
	}
	if err := v.err(); err != nil {
		return err
	}
	changed, stop := d.hub.watchAll()
	defer stop()
	// so that the caller knows that it has begun, though nothing has ended yet
	if err := stream.SendHeader(nil); err != nil {
		return err
	}
	for {
		if err := c.catchUp(ctx); err != nil {
			return err
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
		select { // what comes meanwhile comes with it
		case <-time.After(listPause):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// closings are what one caller is sent.
type closings struct {
	*desk
	locale string
	first  time.Time            // what was closed before is not wanted
	latest time.Time            // up to where all has been sent, but for what is still being written
	sent   map[string]time.Time // when those were closed that the overlap may bring again
	send   func(*lightoffv1.WatchClosingsResponse) error
}

// catchUp sends what has not been sent yet. The next one begins where this one did, or at the last closing, so that
// none reads more of the log than was added meanwhile.
func (c *closings) catchUp(ctx context.Context) error {
	began := time.Now()
	at := store.Mark{At: c.latest.Add(-closingsOverlap)}
	for more := true; more; {
		var marks []store.Mark
		var err error
		if marks, more, err = c.store.Closings(ctx, at, closingsAtOnce); err != nil {
			return err
		}
		for _, at = range marks {
			if at.At.Before(c.first) {
				continue
			}
			if err := c.tell(ctx, at); err != nil {
				return err
			}
		}
	}
	if began.After(c.latest) {
		c.latest = began
	}
	for id, at := range c.sent {
		if at.Before(c.latest.Add(-closingsOverlap)) {
			delete(c.sent, id)
		}
	}
	return nil
}

// tell sends one closing, unless it was sent or its conversation is gone.
func (c *closings) tell(ctx context.Context, at store.Mark) error {
	conversation, err := c.store.Read(ctx, at.ID)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil // deleted, or under another key: the next round finds it there
	case err != nil:
		return err
	}
	id := closingID(conversation, at)
	if _, done := c.sent[id]; done {
		return nil
	}
	closed := conversation.Events[at.Event-1]
	answer := &lightoffv1.WatchClosingsResponse{
		ClosingId: id, ConversationId: whoCalls(ctx).knows(at.ID), Ticket: c.account(conversation.Events, "").state().Ticket,
		ClosedAt: timestamppb.New(at.At), ClosedBy: closed.By, Closing: toClosing(closed.Closing), Locale: c.locale}
	for _, cause := range closed.Closing.Causes {
		answer.Causes = append(answer.Causes, c.model.Text(c.locale).Causes[cause].Title)
	}
	if err := c.send(answer); err != nil {
		return err
	}
	c.sent[id] = at.At
	if at.At.After(c.latest) {
		c.latest = at.At
	}
	return nil
}

// closingID names a closing without naming its conversation, whose key may be changed and is nobody else's business.
func closingID(c store.Conversation, at store.Mark) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "closing %d %d %d", c.OpenedAt.UnixMicro(), at.At.UnixMicro(), at.Event))
	return hex.EncodeToString(sum[:16])
}
