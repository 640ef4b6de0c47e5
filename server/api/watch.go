//go:build !js

package api

import (
	"cmp"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// WatchConversation implements the RPC. It ends only with the client, or with the server.
func (c *conversations) WatchConversation(req *lightoffv1.WatchConversationRequest,
	stream grpc.ServerStreamingServer[lightoffv1.WatchConversationResponse]) error {
	return c.follow(stream, req.GetId(), req.GetLocale(), req.GetAfterEvent(), func(now *lightoffv1.Conversation) error {
		return stream.Send(&lightoffv1.WatchConversationResponse{Conversation: now})
	})
}

// follow sends a conversation as it stands, if it has events after the one given, and after every change. Whoever has
// seen all costs no inference.
func (c *conversations) follow(stream grpc.ServerStream, id, locale string, after int64,
	send func(*lightoffv1.Conversation) error) error {
	var v violations
	v.name("id", id)
	v.locale(locale)
	if after < 0 {
		v.add("after_event", "is below zero")
	}
	if err := v.err(); err != nil {
		return err
	}
	c.metrics.watching.Inc()
	defer c.metrics.watching.Dec()
	// Watch before reading, so that no change falls between the two.
	w, stop := c.hub.watch(id)
	defer stop()
	ctx := stream.Context()
	kept, err := c.store.Read(ctx, id)
	if err != nil {
		return err
	}
	// A client may have seen more than there is, if the store came back from a copy; it must still hear of changes.
	spoken := language(c.model, cmp.Or(locale, diagnosis.Fold(kept.Events).Locale))
	f := follower{conversations: c, id: id, locale: spoken, send: send, seen: min(after, int64(len(kept.Events))),
		rest: make(chan assessed)}
	defer f.cancel()
	// An empty header tells the client that it misses nothing from here on.
	if err := stream.SendHeader(metadata.MD{}); err != nil {
		return err
	}
	if int64(len(kept.Events)) > f.seen {
		now, err := c.show(ctx, kept, f.locale, atOnce)
		if err == nil {
			err = f.pass(ctx, now)
		}
		if err != nil {
			return err
		}
	}
	for {
		now, err := f.next(ctx, w)
		if err == nil && now != nil {
			err = f.pass(ctx, now)
		}
		if err != nil {
			return err
		}
	}
}

// follower is one who watches a conversation.
type follower struct {
	*conversations
	id, locale string
	send       func(*lightoffv1.Conversation) error
	seen       int64         // the last event that was sent
	pending    bool          // it was sent without its assessment
	rest       chan assessed // brings that
	stop       context.CancelFunc
}

// assessed is a conversation with its assessment, or why there is none.
type assessed struct {
	now *lightoffv1.Conversation
	err error
}

// cancel gives an assessment up that is on its way.
func (f *follower) cancel() {
	if f.stop != nil {
		f.stop()
	}
}

// pass sends a conversation if it is news. A conversation takes much room, and followers are many and mostly wait, so
// none is kept.
func (f *follower) pass(ctx context.Context, now *lightoffv1.Conversation) error {
	pending := now.GetAssessment().GetPending()
	if now.LastEvent < f.seen || now.LastEvent == f.seen && (!f.pending || pending) {
		return nil
	}
	if err := f.send(now); err != nil {
		return err
	}
	f.cancel()
	f.seen, f.pending = now.LastEvent, pending
	if !pending {
		return nil
	}
	ctx, f.stop = context.WithCancel(ctx)
	go func() {
		now, err := f.assess(ctx)
		if ctx.Err() != nil {
			return
		}
		select {
		case f.rest <- assessed{now, err}:
		case <-ctx.Done():
		}
	}()
	return nil
}

// next waits for news; nil is none.
func (f *follower) next(ctx context.Context, w *watcher) (*lightoffv1.Conversation, error) {
	select {
	case now := <-w.news:
		// News comes in the writer's language.
		if now.Locale != f.locale {
			return f.read(ctx, f.id, f.locale, atOnce)
		}
		return now, nil
	case event := <-w.stale:
		if event > f.seen {
			return f.catchUp(ctx, w, event)
		}
		return nil, nil
	case rest := <-f.rest:
		return rest.now, rest.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// assess waits for a conversation's assessment, also where too many wait already.
func (f *follower) assess(ctx context.Context) (*lightoffv1.Conversation, error) {
	for {
		now, err := f.read(ctx, f.id, f.locale, inTurn)
		var full *busy
		if err == nil && !now.GetAssessment().GetPending() || err != nil && !errors.As(err, &full) {
			return now, err
		}
		select {
		case <-time.After(retryAfter/2 + rand.N(retryAfter)):
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// grace is how long a watcher waits for news from its own process before it reads the log: a change made here is told
// by the database as well, often a little earlier.
const grace = 5 * time.Millisecond

// catchUp returns the conversation with the event, which another server may have added.
func (f *follower) catchUp(ctx context.Context, w *watcher, event int64) (*lightoffv1.Conversation, error) {
	select {
	case news := <-w.news:
		if news.LastEvent >= event && news.Locale == f.locale {
			return news, nil
		}
	case <-time.After(grace):
	}
	kept, err := f.store.Read(ctx, f.id)
	if err != nil || int64(len(kept.Events)) <= f.seen {
		return nil, err
	}
	return f.show(ctx, kept, f.locale, atOnce)
}

// anything is an event number above all others: there may be any change.
const anything = math.MaxInt64

// heard takes word of what any server has changed.
func (c *conversations) heard(change store.Change) {
	switch {
	case change.ID == "":
		c.hub.stale("", anything)
	case change.Event == 0:
		c.recent.drop(change.ID)
		c.hub.stale(change.ID, anything)
	default:
		c.hub.stale(change.ID, change.Event)
	}
}
