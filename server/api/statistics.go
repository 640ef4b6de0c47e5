//go:build !js

package api

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"sync"
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
	maxCounts  = 12   // rows of a kind
	maxSeries  = 8    // codes, and causes, week by week
	maxChecks  = 8    // the last bar of checks to the right repair: so many or more
	// maxForetold is how many earlier assessments are worked out for one look at the statistics, some 12 ms each.
	maxForetold = 80
	foretellers = 10 // groups of what was said
)

// timeBars are the upper bounds of the histogram of times, in minutes; the last bar has none.
var timeBars = []int32{5, 10, 20, 40, 60, 120, 0}

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
	begin := monday(time.Now()).Add(-time.Duration(weeks-1) * week)
	all, more, err := d.store.Since(ctx, begin, maxCounted)
	if err != nil {
		return nil, err
	}
	t := newTally(begin, weeks, d.model.Roles.Code)
	for _, c := range all {
		if !c.OpenedAt.Before(begin) {
			t.add(c, d.isComplaint, d.mends)
		}
	}
	if err := d.foretell(ctx, t); err != nil {
		return nil, err
	}
	out := t.answer()
	out.Locale = locale
	f := face{model: d.model, engine: d.engine, locale: locale}
	texts := d.model.Text(f.locale)
	out.Truncated = more
	out.Causes = ranked(t.causes, func(id string) string { return texts.Causes[id].Title })
	out.Checks = ranked(t.checks, func(id string) string { return texts.Observations[id].Title })
	codes, _ := d.model.Observation(d.model.Roles.Code)
	out.Codes = t.series(t.codes, func(id string) string { return cmp.Or(texts.Observations[codes.ID].States[id], id) })
	out.SettledCauses = t.series(t.weekly, func(id string) string { return texts.Causes[id].Title })
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
	panel                    string // the observation of the panel's code
	weeks                    []*lightoffv1.Week
	causes, checks, outcomes map[string]int
	times                    []time.Duration
	codes, weekly            map[string][]int32 // by week: codes that came in, causes of settled conversations
	settled                  []store.Conversation
	toRepair                 [maxChecks + 1]int32
	foretold                 [foretellers]lightoffv1.Foretold
	notForetold              int32
}

func newTally(begin time.Time, weeks int, panel string) *tally {
	t := &tally{begin: begin, panel: panel, causes: map[string]int{}, checks: map[string]int{}, outcomes: map[string]int{},
		codes: map[string][]int32{}, weekly: map[string][]int32{}}
	for i := range weeks {
		t.weeks = append(t.weeks, &lightoffv1.Week{BeginsAt: timestamppb.New(begin.Add(time.Duration(i) * week))})
	}
	return t
}

// count counts one in a week.
func (t *tally) count(in map[string][]int32, id string, week int) {
	if in[id] == nil {
		in[id] = make([]int32, len(t.weeks))
	}
	in[id][week]++
}

func (t *tally) add(c store.Conversation, isCheck func(string) bool, mends func(string) []string) {
	state := diagnosis.Fold(c.Events)
	if len(state.Told) == 0 {
		return
	}
	at := min(int(c.OpenedAt.Sub(t.begin)/week), len(t.weeks)-1)
	w := t.weeks[at]
	w.Opened++
	code := noCode
	for _, told := range state.Told {
		if told.Observation.ID == t.panel && told.Observation.State != "" {
			code = told.Observation.State
		}
	}
	t.count(t.codes, code, at)
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
	for _, id := range state.Closed.Closing.Causes {
		t.causes[id]++
		t.count(t.weekly, id, at)
	}
	if state.Closed.Closing.Outcome == diagnosis.Settled {
		w.Settled++
		t.settled = append(t.settled, c)
		t.toRepair[min(checksBefore(c, state.Closed.Closing.Causes, isCheck, mends), maxChecks)]++
	}
}

func (t *tally) answer() *lightoffv1.GetStatisticsResponse {
	out := &lightoffv1.GetStatisticsResponse{Weeks: t.weeks, Conversations: int32(len(t.times)),
		NotForetold: t.notForetold}
	for i := range t.foretold {
		if f := &t.foretold[i]; f.Count > 0 {
			f.Said /= float64(f.Count)
			out.Foretold = append(out.Foretold, f)
		}
	}
	if len(t.settled) > 0 {
		for checks, n := range t.toRepair {
			out.ChecksToRepair = append(out.ChecksToRepair, &lightoffv1.ChecksBar{Checks: int32(checks), Count: n})
		}
	}
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

// noCode stands for conversations in which no fault code was told.
const noCode = "none"

// series are the most frequent, ties by id.
func (t *tally) series(counts map[string][]int32, title func(string) string) []*lightoffv1.Series {
	sum := func(id string) (n int32) {
		for _, c := range counts[id] {
			n += c
		}
		return n
	}
	ids := slices.SortedFunc(maps.Keys(counts), func(a,
		b string) int {
		return cmp.Or(cmp.Compare(sum(b), sum(a)), cmp.Compare(a, b))
	})
	return each(ids[:min(len(ids), maxSeries)], func(id string) *lightoffv1.Series {
		return &lightoffv1.Series{Id: id, Title: cmp.Or(title(id), id), Counts: counts[id]}
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

// checksBefore counts the checks that were answered, apart from the safety card, before the repair that mended one of
// the causes, or, without one, before the end. A check that is answered twice counts once.
func checksBefore(c store.Conversation, causes []string, isCheck func(string) bool, mends func(string) []string) int {
	right := func(e diagnosis.Event) bool {
		return e.Kind == diagnosis.Mended &&
			slices.ContainsFunc(mends(e.RepairID), func(id string) bool { return slices.Contains(causes, id) })
	}
	checks := map[string]bool{}
	for _, e := range c.Events {
		if right(e) || e.Kind == diagnosis.Closed {
			break
		}
		if e.Kind == diagnosis.Answered {
			for _, o := range e.Observations {
				if o.Kind != diagnosis.UnknownValue && isCheck(o.ID) {
					checks[o.ID] = true
				}
			}
		}
	}
	return len(checks)
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
func (d *desk) foretell(ctx context.Context, t *tally) error {
	thoughts := 0
	for _, c := range t.settled {
		s, known, err := d.saidOf(ctx, c, &thoughts)
		if err != nil {
			return err
		}
		if !known {
			t.notForetold++
			continue
		}
		if s.cause == "" {
			continue // nothing was told that could be assessed
		}
		f := &t.foretold[min(int(s.p*foretellers), foretellers-1)]
		f.Said += s.p
		f.Count++
		f.Right += int32(one(slices.Contains(diagnosis.Fold(c.Events).Closed.Closing.Causes, s.cause)))
	}
	return nil
}

// saidOf is what was said before the first repair, if it is known or may still be worked out.
func (d *desk) saidOf(ctx context.Context, c store.Conversation, thoughts *int) (said, bool, error) {
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
