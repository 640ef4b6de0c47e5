//go:build !js

package api

import (
	"context"
	"errors"
	"slices"
	"time"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

func (c *conversations) read(ctx context.Context, id, locale string, u haste) (*lightoffv1.Conversation, error) {
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
	return c.show(ctx, kept, locale, u)
}

// append keeps the event that update makes, shows the conversation to all who watch it, and returns it.
//
// The resulting state is assessed before the event is kept, so that none is kept that cannot be assessed and would lock
// its owner out. That takes too long to be done while others wait to write, so the log may grow meanwhile; then it is
// assessed again, at most three times. What cannot wait is kept without an assessment, which those who watch get later;
// see weigh.
func (c *conversations) append(ctx context.Context, id string, r store.Request, locale string,
	update func(*account) (diagnosis.Event, error)) (*lightoffv1.Conversation, error) {
	const attempts = 3
	r.Vital = c.vital
	start := time.Now()
	before, known, err := c.store.ReadOnce(ctx, id, r)
	c.metrics.stored("look", start)
	if err != nil {
		return nil, err
	}
	if known {
		return c.show(ctx, before, locale, atOnce)
	}
	by, err := c.models.byName(ctx, before.ModelVersion)
	if err != nil {
		return nil, err
	}
	r.Seen = before
	log := c.account(before.Events, locale)
	event, err := update(log)
	if err != nil {
		return nil, err
	}
	would, err := c.weigh(ctx, by, log, event)
	if err != nil {
		return nil, err
	}
	for attempt := 1; ; attempt++ {
		start := time.Now()
		kept, appended, err := c.store.Append(ctx, id, r, func(now []diagnosis.Event) (diagnosis.Event, error) {
			// A log only grows, so the same length means the same events.
			if len(now) == len(log.events) {
				return event, nil
			}
			log = c.account(slices.Clone(now), locale)
			if event, err = update(log); err != nil || attempt == attempts {
				return event, err
			}
			return event, errStale
		})
		c.metrics.stored("append", start)
		switch {
		case errors.Is(err, errStale):
			if would, err = c.weigh(ctx, by, log, event); err != nil {
				return nil, err
			}
			continue
		case err != nil:
			return nil, err
		case !appended:
			return c.show(ctx, kept, locale, atOnce)
		}
		if int64(len(kept.Events)) != would.state.LastEvent {
			if would, err = c.weigh(ctx, by, log, event); err != nil {
				return nil, err
			}
		}
		shown := c.present(kept, by, would, locale)
		c.hub.publish(shown)
		if !would.pending() && len(shown.Next) == 0 {
			c.metrics.questions.Observe(float64(len(shown.Told)))
		}
		return shown, nil
	}
}

// errStale takes an event back whose log has grown since it was assessed.
var errStale = errors.New("not assessed yet")

// outcome is what something sound comes to, without an assessment.
func (c *conversations) outcome(s sound) outcome {
	if len(s.unsound) > 0 {
		c.log.Warn("a conversation tells what this model does not accept; it is left out", "observations", len(s.unsound))
	}
	return outcome{sound: s, dangers: s.evidence.Dangers()}
}

// weigh returns what a log comes to with a new event. A danger that it brings out waits for no assessment: if
// none is to be had at once, there is none. Neither does what tells nothing about the heater. Where too many wait, the
// safety card and whoever is in danger go without an assessment, and all others are refused.
func (c *conversations) weigh(ctx context.Context, by *version, log *account,
	e diagnosis.Event) (outcome, error) {
	o := c.outcome(log.with(e))
	u, must := inTurn, c.onCard(e) || len(o.dangers) > 0
	alarms := log.alarms(o.dangers)
	if alarms || !tells(e.Kind) {
		u, must = atOnce, true
	}
	var err error
	o.guidance, err = c.guidance(ctx, by, o.sound, u)
	_, full := errors.AsType[refused](err)
	switch {
	case err == nil, must && full:
		return o, nil
	case alarms && ctx.Err() == nil:
		c.log.Error("a conversation with a danger cannot be assessed; the danger is shown without", "error", err)
		return o, nil
	}
	return outcome{}, err
}

// tells reports whether an event of the kind may change an assessment.
func tells(kind diagnosis.EventKind) bool {
	switch kind {
	case diagnosis.Assigned, diagnosis.Noted, diagnosis.Ticketed, diagnosis.Closed, diagnosis.Reopened, diagnosis.Hidden,
		diagnosis.Shown,
		diagnosis.Suggested, diagnosis.Declined:
		return false
	}
	return true
}

// vital reports whether an event is taken though a conversation is full: an answer to the safety card, and what brings
// out a danger.
func (c core) vital(events []diagnosis.Event, e diagnosis.Event) bool {
	log := c.account(events, "")
	return c.onCard(e) || log.alarms(log.with(e).evidence.Dangers())
}

// onCard reports whether an event answers nothing but the safety card, or takes an answer to it back.
func (c core) onCard(e diagnosis.Event) bool {
	ids := slices.Clone(e.Skipped)
	for _, o := range e.Observations {
		ids = append(ids, o.ID)
	}
	switch e.Kind {
	case diagnosis.Answered:
	case diagnosis.Retracted:
		ids = append(ids, e.ObservationID)
	default:
		return false
	}
	other := func(id string) bool { return !isOnCard(c.model, id) }
	return len(ids) > 0 && len(e.Dismissed) == 0 && !slices.ContainsFunc(ids, other)
}

// show returns what a conversation looks like, in a language or, if that is empty, in its own. The answer is shared and
// must not be changed. In a danger, and before anything was told, it goes without an assessment where too much is
// waited for, and at once if that is wanted.
func (c *conversations) show(ctx context.Context, kept store.Conversation, locale string,
	u haste) (*lightoffv1.Conversation, error) {
	by, err := c.models.byName(ctx, kept.ModelVersion)
	if err != nil {
		return nil, err
	}
	if locale != "" {
		locale = language(c.model, locale)
	}
	if shown := c.recent.get(look{kept.ID, locale, by.model.Version}, int64(len(kept.Events))); shown != nil {
		return shown, nil
	}
	o := c.outcome(c.account(kept.Events, locale).sound())
	must := len(o.dangers) > 0 || len(o.state.Told) == 0
	if !must {
		u = inTurn
	}
	o.guidance, err = c.guidance(ctx, by, o.sound, u)
	if _, full := errors.AsType[refused](err); err != nil && !(must && full) {
		return nil, err
	}
	return c.present(kept, by, o, locale), nil
}

// present shows a conversation by the version that it was assessed by, or is to be.
func (c *conversations) present(kept store.Conversation, by *version, o outcome,
	locale string) *lightoffv1.Conversation {
	f := face{model: c.model, engine: c.engine, locale: o.state.Locale}
	if o.pending() {
		return f.pending(datesOf(kept), o, by.model.Version)
	}
	shown := f.conversation(datesOf(kept), o.state, o.guidance)
	if locale != "" {
		locale = o.state.Locale
	}
	c.recent.put(look{kept.ID, locale, o.guidance.Assessment.ModelVersion}, shown)
	return shown
}

func datesOf(c store.Conversation) dated { return dated{ID: c.ID, OpenedAt: c.OpenedAt, At: c.At} }
