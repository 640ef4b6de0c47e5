//go:build !js

package api

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/statistics"
)

const (
	usualWeeks = 8
	maxWeeks   = 52
	maxCounted = 5000 // conversations
	maxCounts  = 12   // rows of a kind
	maxSeries  = 8    // codes, and causes, week by week
	// maxForetold is how many earlier assessments are worked out for one look at the statistics, some 12 ms each.
	maxForetold = 80
)

// GetStatistics implements the RPC.
func (d *desk) GetStatistics(ctx context.Context,
	req *lightoffv1.GetStatisticsRequest) (*lightoffv1.GetStatisticsResponse, error) {
	var v violations
	locale := v.inLanguage(d.model, req.GetLocale())
	weeks := int(cmp.Or(req.GetWeeks(), usualWeeks))
	if weeks < 1 || weeks > maxWeeks {
		v.add("weeks", "is %d, but must lie between 1 and %d", weeks, maxWeeks)
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	begin := statistics.Monday(time.Now()).Add(-time.Duration(weeks-1) * week)
	all, more, err := d.store.Since(ctx, begin, maxCounted)
	if err != nil {
		return nil, err
	}
	t := statistics.New(begin, weeks, statistics.Model{Panel: d.model.Roles.Code, IsCheck: d.isComplaint, Mends: d.mends})
	for _, c := range all {
		t.Add(statistics.Conversation{ID: c.ID, OpenedAt: c.OpenedAt, Events: c.Events, At: c.At})
	}
	if err := d.foretell(ctx, t); err != nil {
		return nil, err
	}
	out := toStatistics(t)
	out.Locale, out.Truncated = locale, more
	texts := d.model.Text(locale)
	out.Causes = ranked(t.Causes, func(id string) string { return texts.Causes[id].Title })
	out.Checks = ranked(t.Checks, func(id string) string { return texts.Observations[id].Title })
	codes, _ := d.model.Observation(d.model.Roles.Code)
	out.Codes = series(t.Codes, func(id string) string { return texts.Observations[codes.ID].States[id] })
	out.SettledCauses = series(t.SettledCauses, func(id string) string { return texts.Causes[id].Title })
	out.Outcomes = ranked(t.Outcomes, func(string) string { return "" })
	return out, nil
}

func toStatistics(t *statistics.Tally) *lightoffv1.GetStatisticsResponse {
	out := &lightoffv1.GetStatisticsResponse{Conversations: int32(t.Conversations()), NotForetold: int32(t.NotForetold)}
	for _, w := range t.Weeks {
		out.Weeks = append(out.Weeks, &lightoffv1.Week{BeginsAt: timestamppb.New(w.BeginsAt), Opened: int32(w.Opened),
			Closed: int32(w.Closed), Settled: int32(w.Settled)})
	}
	for _, f := range t.Foretold() {
		out.Foretold = append(out.Foretold,
			&lightoffv1.Foretold{Said: f.Said, Count: int32(f.Count), Right: int32(f.Right)})
	}
	for checks, n := range t.ChecksToRepair() {
		out.ChecksToRepair = append(out.ChecksToRepair, &lightoffv1.ChecksBar{Checks: int32(checks), Count: int32(n)})
	}
	for _, b := range t.Times() {
		out.Times = append(out.Times, &lightoffv1.TimeBar{UpToMinutes: int32(b.UpToMinutes), Count: int32(b.Count)})
	}
	if median, ok := t.MedianTime(); ok {
		out.MedianTime = durationpb.New(median)
	}
	return out
}

func ranked(counts statistics.Counts, title func(string) string) []*lightoffv1.Count {
	return each(counts.Ranked(maxCounts), func(id string) *lightoffv1.Count {
		return &lightoffv1.Count{Id: id, Title: cmp.Or(title(id), id), Count: int32(counts[id])}
	})
}

func series(weekly statistics.Weekly, title func(string) string) []*lightoffv1.Series {
	return each(weekly.Ranked(maxSeries), func(id string) *lightoffv1.Series {
		return &lightoffv1.Series{Id: id, Title: cmp.Or(title(id), id),
			Counts: each(weekly[id], func(n int) int32 { return int32(n) })}
	})
}

// mends are the causes that a repair mends.
func (c core) mends(repair string) []string {
	for _, r := range c.model.Repairs {
		if r.ID == repair {
			return r.Mends
		}
	}
	return nil
}

// saids remembers what was said of settled conversations before their first repair. It is only ever a saving.
type saids struct {
	mu    sync.Mutex
	known map[string]said
}

// said is what led, and how likely it was said to be.
type said struct {
	event int64 // of the conversation that it was worked out from
	cause string
	p     float64
}

// foretell holds what was said of settled conversations before their first repair, by the model of now, against what
// they were settled with. It works out some that are not known yet, the latest first, and leaves the others for the
// next look.
func (d *desk) foretell(ctx context.Context, t *statistics.Tally) error {
	thoughts := 0
	for _, c := range t.Settled {
		s, known, err := d.saidOf(ctx, c, &thoughts)
		if err != nil {
			return err
		}
		if !known {
			t.NotForetold++
			continue
		}
		if s.cause == "" {
			continue // nothing was told that could be assessed
		}
		t.Foretell(c, s.cause, s.p)
	}
	return nil
}

// saidOf is what was said before the first repair, if it is known or may still be worked out.
func (d *desk) saidOf(ctx context.Context, c statistics.Conversation, thoughts *int) (said, bool, error) {
	last := c.Events[len(c.Events)-1].Number
	d.saids.mu.Lock()
	s, ok := d.saids.known[c.ID]
	d.saids.mu.Unlock()
	if ok && s.event == last {
		return s, true, nil
	}
	end := slices.IndexFunc(c.Events, func(e diagnosis.Event) bool {
		return e.Kind == diagnosis.Mended ||
			e.Kind == diagnosis.Closed
	})
	so := d.account(c.Events[:max(end, 0)], "").sound()
	s = said{event: last}
	if aboutHeater(d, so.state) {
		if *thoughts++; *thoughts > maxForetold {
			return said{}, false, nil
		}
		guidance, err := d.guidance(ctx, d.models.inUse(), so, atOnce)
		if ctx.Err() != nil {
			return said{}, false, ctx.Err()
		}
		if err != nil || guidance == nil {
			return said{}, false, nil // others think just now; the next look works it out
		}
		if causes := guidance.Assessment.Causes; len(causes) > 0 {
			s.cause, s.p = causes[0].ID, causes[0].Probability
		}
	}
	d.saids.mu.Lock()
	defer d.saids.mu.Unlock()
	if len(d.saids.known) >= maxCounted {
		clear(d.saids.known)
	}
	d.saids.known[c.ID] = s
	return s, true, nil
}
