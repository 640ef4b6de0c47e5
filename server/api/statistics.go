package api

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

const (
	usualWeeks = 8
	maxWeeks   = 52
	maxCounted = 5000 // conversations
	week       = 7 * 24 * time.Hour
	maxCounts  = 12 // rows of a kind
)

// timeBars are the upper bounds of the histogram of times, in minutes; the last bar has none.
var timeBars = []int32{5, 10, 20, 40, 60, 120, 0}

// GetStatistics implements the RPC.
func (d *desk) GetStatistics(ctx context.Context, req *lightoffv1.GetStatisticsRequest) (*lightoffv1.GetStatisticsResponse, error) {
	var v violations
	locale := v.inLanguage(d.model, req.GetLocale())
	weeks := int(cmp.Or(req.GetWeeks(), usualWeeks))
	if weeks < 1 || weeks > maxWeeks {
		v.add("weeks", "is %d, but must lie between 1 and %d", weeks, maxWeeks)
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	begin := monday(time.Now()).Add(-time.Duration(weeks-1) * week)
	all, more, err := d.store.Since(ctx, begin, maxCounted)
	if err != nil {
		return nil, err
	}
	t := newTally(begin, weeks)
	for _, c := range all {
		if !c.OpenedAt.Before(begin) {
			t.add(c, d.isComplaint)
		}
	}
	out := t.answer()
	f := face{model: d.model, engine: d.engine, locale: locale}
	texts := d.model.Text(f.locale)
	out.Truncated = more
	out.Causes = ranked(t.causes, func(id string) string { return texts.Causes[id].Title })
	out.Checks = ranked(t.checks, func(id string) string { return texts.Observations[id].Title })
	out.Outcomes = ranked(t.outcomes, func(string) string { return "" })
	return out, nil
}

// monday is when the week of a time begins.
func monday(t time.Time) time.Time {
	day := t.UTC().Truncate(24 * time.Hour)
	return day.AddDate(0, 0, -(int(day.Weekday())+6)%7)
}

// tally counts conversations.
type tally struct {
	begin                    time.Time
	weeks                    []*lightoffv1.Week
	causes, checks, outcomes map[string]int
	times                    []time.Duration
}

func newTally(begin time.Time, weeks int) *tally {
	t := &tally{begin: begin, causes: map[string]int{}, checks: map[string]int{}, outcomes: map[string]int{}}
	for i := range weeks {
		t.weeks = append(t.weeks, &lightoffv1.Week{BeginsAt: timestamppb.New(begin.Add(time.Duration(i) * week))})
	}
	return t
}

func (t *tally) add(c store.Conversation, isCheck func(string) bool) {
	state := diagnosis.Fold(c.Events)
	if len(state.Told) == 0 {
		return
	}
	w := t.weeks[min(int(c.OpenedAt.Sub(t.begin)/week), len(t.weeks)-1)]
	w.Opened++
	checked := map[string]bool{}
	var last time.Time
	for i, e := range c.Events {
		switch e.Kind {
		case diagnosis.Said, diagnosis.Answered, diagnosis.Retracted, diagnosis.Confirmed:
			last = c.At[i]
		}
		if e.Kind == diagnosis.Answered {
			for _, o := range e.Observations {
				if o.Kind != diagnosis.UnknownValue && isCheck(o.ID) {
					checked[o.ID] = true
				}
			}
		}
	}
	for id := range checked {
		t.checks[id]++
	}
	t.times = append(t.times, last.Sub(c.OpenedAt))
	if state.Closed == nil || state.Closed.Closing == nil {
		return
	}
	w.Closed++
	t.outcomes[string(state.Closed.Closing.Outcome)]++
	if state.Closed.Closing.Outcome == diagnosis.Settled {
		w.Settled++
	}
	for _, id := range state.Closed.Closing.Causes {
		t.causes[id]++
	}
}

func (t *tally) answer() *lightoffv1.GetStatisticsResponse {
	out := &lightoffv1.GetStatisticsResponse{Weeks: t.weeks, Conversations: int32(len(t.times))}
	for _, bound := range timeBars {
		out.Times = append(out.Times, &lightoffv1.TimeBar{UpToMinutes: bound})
	}
	slices.Sort(t.times)
	for _, took := range t.times {
		i := slices.IndexFunc(timeBars, func(b int32) bool { return b == 0 || took <= time.Duration(b)*time.Minute })
		out.Times[i].Count++
	}
	if n := len(t.times); n > 0 {
		out.MedianTime = durationpb.New((t.times[(n-1)/2] + t.times[n/2]) / 2)
	}
	return out
}

// ranked are the most frequent, ties by id.
func ranked(counts map[string]int, title func(string) string) []*lightoffv1.Count {
	ids := slices.SortedFunc(maps.Keys(counts), func(a, b string) int {
		return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a, b))
	})
	return each(ids[:min(len(ids), maxCounts)], func(id string) *lightoffv1.Count {
		return &lightoffv1.Count{Id: id, Title: cmp.Or(title(id), id), Count: int32(counts[id])}
	})
}
