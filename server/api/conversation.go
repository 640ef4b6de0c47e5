package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
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
func (c *conversations) Open(ctx context.Context, req *lightoffv1.OpenRequest) (*lightoffv1.OpenResponse, error) {
	var v violations
	opened := diagnosis.Event{Kind: diagnosis.Opened, Locale: v.locale(req.GetLocale()), Tools: v.tools(req.GetTools())}
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.engine.Check(diagnosis.Request{Tools: opened.Tools}); err != nil {
		return nil, err
	}
	start := time.Now()
	kept, err := c.store.Create(ctx, c.models.now().model.Version, opened)
	c.metrics.stored("create", start)
	if err != nil {
		return nil, err
	}
	shown, err := c.show(ctx, kept, "")
	if err != nil {
		return nil, err
	}
	return &lightoffv1.OpenResponse{Conversation: shown}, nil
}

// Get implements the RPC.
func (c *conversations) Get(ctx context.Context, req *lightoffv1.GetRequest) (*lightoffv1.GetResponse, error) {
	shown, err := c.read(ctx, req.GetId(), req.GetLocale())
	if err != nil {
		return nil, err
	}
	return &lightoffv1.GetResponse{Conversation: shown}, nil
}

// Say implements the RPC. What is understood but cannot stand joins the unclear parts: a sentence is never refused
// for its meaning.
func (c *conversations) Say(ctx context.Context, req *lightoffv1.SayRequest) (*lightoffv1.SayResponse, error) {
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
	read := c.reader.Read(req.GetText(), c.context(state, req.GetAskedId(), cmp.Or(req.GetLocale(), state.Locale)))
	said := diagnosis.Event{
		Kind: diagnosis.Said, Text: req.GetText(), Readings: each(read.Readings, fromReading),
		Offers: each(read.Offers, fromOffer), Unclear: read.Unclear,
	}
	shown, err := c.append(ctx, req.GetId(), req.GetClientKey(), req.GetLocale(),
		func(events []diagnosis.Event) (diagnosis.Event, error) { return c.admit(events, said), nil })
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SayResponse{Conversation: shown}, nil
}

// Answer implements the RPC: all or none.
func (c *conversations) Answer(ctx context.Context, req *lightoffv1.AnswerRequest) (*lightoffv1.AnswerResponse, error) {
	answered, err := c.answered(req)
	if err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), req.GetClientKey(), req.GetLocale(), func(events []diagnosis.Event) (diagnosis.Event, error) {
		return answered, c.fits(events, answered)
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.AnswerResponse{Conversation: shown}, nil
}

// answered checks a request by itself.
func (c *conversations) answered(req *lightoffv1.AnswerRequest) (diagnosis.Event, error) {
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
func (c *conversations) Retract(ctx context.Context, req *lightoffv1.RetractRequest) (*lightoffv1.RetractResponse, error) {
	var v violations
	v.keys(req)
	v.known(c.model, "observation_id", req.GetObservationId())
	if err := v.err(); err != nil {
		return nil, err
	}
	id := req.GetObservationId()
	shown, err := c.append(ctx, req.GetId(), req.GetClientKey(), req.GetLocale(), func(events []diagnosis.Event) (diagnosis.Event, error) {
		if !stands(diagnosis.Fold(events), id) {
			return diagnosis.Event{}, errNotTold
		}
		return diagnosis.Event{Kind: diagnosis.Retracted, ObservationID: id}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.RetractResponse{Conversation: shown}, nil
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
	shown, err := c.append(ctx, req.GetId(), req.GetClientKey(), req.GetLocale(), func([]diagnosis.Event) (diagnosis.Event, error) {
		return set, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SetToolsResponse{Conversation: shown}, nil
}

// Watch implements the RPC. It ends only with the client, or with the server.
func (c *conversations) Watch(req *lightoffv1.WatchRequest, stream grpc.ServerStreamingServer[lightoffv1.WatchResponse]) error {
	return c.follow(stream, req.GetId(), req.GetLocale(), req.GetAfterEvent(), func(now *lightoffv1.Conversation) error {
		return stream.Send(&lightoffv1.WatchResponse{Conversation: now})
	})
}

// follow sends a conversation as it stands, if it has events after the one given, and after every change.
func (c *conversations) follow(stream grpc.ServerStream, id, locale string, after int64, send func(*lightoffv1.Conversation) error) error {
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
	now, err := c.read(stream.Context(), id, locale)
	if err != nil {
		return err
	}
	// An empty header tells the client that it misses nothing from here on.
	if err := stream.SendHeader(metadata.MD{}); err != nil {
		return err
	}
	// A client may have seen more than there is, if the store came back from a copy; it must still hear of changes.
	sent, spoken := min(after, now.LastEvent), now.Locale
	for {
		if now != nil && now.LastEvent > sent {
			if err := send(now); err != nil {
				return err
			}
			sent = now.LastEvent
		}
		now = nil // a conversation takes much room, and watchers are many and mostly wait
		select {
		case now = <-w.news:
			// News comes in the writer's language.
			if now.Locale != spoken {
				if now, err = c.read(stream.Context(), id, spoken); err != nil {
					return err
				}
			}
		case event := <-w.stale:
			if event > sent {
				if now, err = c.catchUp(stream.Context(), w, id, spoken, event); err != nil {
					return err
				}
			}
		case <-stream.Context().Done():
			return stream.Context().Err()
		}
	}
}

// grace is how long a watcher waits for news from its own process before it reads the log: a change made here is told
// by the database as well, often a little earlier.
const grace = 5 * time.Millisecond

// catchUp returns the conversation with the event, which another server may have added.
func (c *conversations) catchUp(ctx context.Context, w *watcher, id, locale string, event int64) (*lightoffv1.Conversation, error) {
	select {
	case news := <-w.news:
		if news.LastEvent >= event && news.Locale == locale {
			return news, nil
		}
	case <-time.After(grace):
	}
	return c.read(ctx, id, locale)
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

// Delete implements the RPC.
func (c *conversations) Delete(ctx context.Context, req *lightoffv1.DeleteRequest) (*lightoffv1.DeleteResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.store.Delete(ctx, req.GetId()); err != nil {
		return nil, err
	}
	c.heard(store.Change{ID: req.GetId()}) // here at once, even if the database is slow to tell
	return &lightoffv1.DeleteResponse{}, nil
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
func (c *conversations) ComeBack(ctx context.Context, req *lightoffv1.ComeBackRequest) (*lightoffv1.ComeBackResponse, error) {
	id, err := c.byCode(ctx, req.GetCode(), store.Spoken)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ComeBackResponse{Id: id}, nil
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
func (c *conversations) LetLookOn(ctx context.Context, req *lightoffv1.LetLookOnRequest) (*lightoffv1.LetLookOnResponse, error) {
	var v violations
	v.name("id", req.GetId())
	if err := v.err(); err != nil {
		return nil, err
	}
	if req.GetWithdraw() {
		return &lightoffv1.LetLookOnResponse{}, c.store.Withdraw(ctx, req.GetId(), store.LookOn)
	}
	key, _, err := c.store.MakePass(ctx, req.GetId(), store.LookOn)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.LetLookOnResponse{Key: key}, nil
}

// Resolve implements the RPC. What is confirmed counts as answered by the owner.
func (c *conversations) Resolve(ctx context.Context, req *lightoffv1.ResolveRequest) (*lightoffv1.ResolveResponse, error) {
	if whoCalls(ctx).desk {
		return nil, errNotOwner
	}
	var v violations
	v.keys(req)
	if err := v.err(); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), req.GetClientKey(), req.GetLocale(), func(events []diagnosis.Event) (diagnosis.Event, error) {
		state := diagnosis.Fold(events)
		i := slices.IndexFunc(state.Suggestions, func(e diagnosis.Event) bool { return e.Number == req.GetSuggestion() })
		switch {
		case i < 0:
			return diagnosis.Event{}, errNoWait
		case !req.GetConfirm():
			return diagnosis.Event{Kind: diagnosis.Declined, Suggestion: req.GetSuggestion()}, nil
		}
		confirmed := diagnosis.Event{Kind: diagnosis.Confirmed, Suggestion: req.GetSuggestion(), Observations: state.Suggestions[i].Observations}
		if err := c.suggestible(state, confirmed.Observations); err != nil {
			return diagnosis.Event{}, err
		}
		return confirmed, c.fits(events, confirmed)
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ResolveResponse{Conversation: shown}, nil
}

func (c *conversations) read(ctx context.Context, id, locale string) (*lightoffv1.Conversation, error) {
	var v violations
	v.name("id", id)
	v.locale(locale)
	if err := v.err(); err != nil {
		return nil, err
	}
	start := time.Now()
	kept, err := c.store.Read(ctx, id)
	c.metrics.stored("read", start)
	if err != nil {
		return nil, err
	}
	return c.show(ctx, kept, locale)
}

// append keeps the event that update makes, shows the conversation to all who watch it, and returns it.
//
// What the conversation would come to is thought through before the event is kept, so that none is kept that cannot be
// assessed and would lock its owner out. Thinking takes too long to be done while others wait to write, so the log may
// grow meanwhile; then it is done anew, but not for ever.
func (c *conversations) append(ctx context.Context, id, clientKey, locale string,
	update func([]diagnosis.Event) (diagnosis.Event, error)) (*lightoffv1.Conversation, error) {
	const attempts = 3
	start := time.Now()
	before, known, err := c.store.Look(ctx, id, clientKey)
	c.metrics.stored("look", start)
	if err != nil {
		return nil, err
	}
	if known {
		return c.show(ctx, before, locale)
	}
	by, err := c.models.of(ctx, before.ModelVersion)
	if err != nil {
		return nil, err
	}
	would, err := c.foresee(ctx, by, before.Events, locale, update)
	if err != nil {
		return nil, err
	}
	for attempt := 1; ; attempt++ {
		var events []diagnosis.Event
		start := time.Now()
		kept, appended, err := c.store.Append(ctx, id, clientKey, func(now []diagnosis.Event) (diagnosis.Event, error) {
			e, err := update(now)
			if err != nil {
				return e, err
			}
			e.Number = int64(len(now)) + 1
			if e.Number == would.state.LastEvent || attempt == attempts {
				return e, nil
			}
			events = append(slices.Clone(now), e)
			return e, errUnthought
		})
		c.metrics.stored("append", start)
		switch {
		case errors.Is(err, errUnthought):
			if would, err = c.think(ctx, by, events, locale); err != nil {
				return nil, err
			}
			continue
		case err != nil:
			return nil, err
		case !appended:
			return c.show(ctx, kept, locale)
		}
		// A log only grows, so the same length means the same events.
		if int64(len(kept.Events)) != would.state.LastEvent {
			if would, err = c.think(ctx, by, kept.Events, locale); err != nil {
				return nil, err
			}
		}
		shown := c.present(kept, would, locale)
		c.hub.publish(shown)
		if len(shown.Next) == 0 {
			c.metrics.questions.Observe(float64(len(shown.Told)))
		}
		return shown, nil
	}
}

// foresee thinks through what a log would come to with the event that update makes from it.
func (c *conversations) foresee(ctx context.Context, by *version, events []diagnosis.Event, locale string,
	update func([]diagnosis.Event) (diagnosis.Event, error)) (thought, error) {
	events = events[:len(events):len(events)]
	e, err := update(events)
	if err != nil {
		return thought{}, err
	}
	e.Number = int64(len(events)) + 1
	return c.think(ctx, by, append(events, e), locale)
}

// errUnthought takes an event back that has not been thought through.
var errUnthought = errors.New("not thought through yet")

// show returns what a conversation looks like, in a language or, if that is empty, in its own. The answer is shared and
// must not be changed.
func (c *conversations) show(ctx context.Context, kept store.Conversation, locale string) (*lightoffv1.Conversation, error) {
	by, err := c.models.of(ctx, kept.ModelVersion)
	if err != nil {
		return nil, err
	}
	if shown := c.recent.get(look{kept.ID, locale, by.model.Version}, int64(len(kept.Events))); shown != nil {
		return shown, nil
	}
	t, err := c.think(ctx, by, kept.Events, locale)
	if err != nil {
		return nil, err
	}
	return c.present(kept, t, locale), nil
}

// thought is what a log comes to.
type thought struct {
	state    diagnosis.Conversation
	guidance *diagnosis.Guidance
}

func (c *conversations) think(ctx context.Context, by *version, events []diagnosis.Event, locale string) (thought, error) {
	state, unsound := c.sound(diagnosis.Fold(events))
	state.Locale = cmp.Or(locale, state.Locale)
	if len(unsound) > 0 {
		c.log.Warn("a conversation tells what this model does not accept; it is left out", "observations", len(unsound))
	}
	key := keyOf(by.model.Version, state)
	if guidance := c.guided.get(key); guidance != nil {
		return thought{state: state, guidance: guidance}, nil
	}
	leave, err := c.enter(ctx)
	if err != nil {
		return thought{}, err
	}
	defer leave()
	guidance, err := by.engine.Guide(state)
	if err != nil {
		// What was told has passed the engine's check, so whatever this is, it is not the caller's mistake.
		return thought{}, fmt.Errorf("assess a conversation: %s", strings.ReplaceAll(err.Error(), "\n", "; "))
	}
	c.guided.put(key, guidance)
	return thought{state: state, guidance: guidance}, nil
}

func (c *conversations) present(kept store.Conversation, t thought, locale string) *lightoffv1.Conversation {
	shown := face{model: c.model, engine: c.engine, locale: t.state.Locale}.conversation(kept, t.state, t.guidance)
	c.recent.put(look{kept.ID, locale, t.guidance.Assessment.ModelVersion}, shown)
	return shown
}
