// Package statistics counts conversations: by week, by cause, by outcome, by how long they took. It knows neither a
// store nor a message, and it reads no clock: what it counts is handed to it.
package statistics

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"lightoff/engine/diagnosis"
)

const (
	// MaxChecks is the last bar of checks to the right repair: so many or more.
	MaxChecks = 8
	// NoCode stands for conversations in which no fault code was told.
	NoCode = "none"

	foretellers = 10 // groups of what was said
	week        = 7 * 24 * time.Hour
)

// timeBars are the upper bounds of the histogram of times, in minutes; the last bar has none.
var timeBars = []int{5, 10, 20, 40, 60, 120, 0}

// Monday is when the week of a time begins, in UTC.
func Monday(t time.Time) time.Time {
	day := t.UTC().Truncate(24 * time.Hour)
	return day.AddDate(0, 0, -(int(day.Weekday())+6)%7)
}

// Conversation is what is counted of one.
type Conversation struct {
	ID       string
	OpenedAt time.Time
	Events   []diagnosis.Event
	At       []time.Time // of each event
}

// Model is what counting must know of a model.
type Model struct {
	Panel   string                // the observation of the panel's code
	IsCheck func(id string) bool  // whether an observation is about the heater and not about safety or setup
	Mends   func(string) []string // the causes that a repair mends
}

// Week counts the conversations that were opened in a week.
type Week struct {
	BeginsAt                time.Time
	Opened, Closed, Settled int
}

// Counts are how many conversations there were of each id.
type Counts map[string]int

// Weekly are how many there were of each id, week by week.
type Weekly map[string][]int

// Foretold holds what was said of some settled conversations against what they were settled with.
type Foretold struct {
	Said         float64 // mean probability of what led; the sum while it is counted
	Count, Right int
}

// TimeBar is a bar of the histogram of times.
type TimeBar struct {
	UpToMinutes int // 0 for the last bar, which has no bound
	Count       int
}

// Tally counts conversations. Begin with New.
type Tally struct {
	Weeks                    []Week
	Causes, Checks, Outcomes Counts
	Codes, SettledCauses     Weekly         // codes that came in, causes of settled conversations
	Settled                  []Conversation // in the order in which they were added
	NotForetold              int            // settled conversations of which it is not known yet what was said

	model    Model
	times    []time.Duration
	toRepair [MaxChecks + 1]int
	foretold [foretellers]Foretold
}

// New begins a tally of a number of weeks, at least one, the first of which begins at begin.
func New(begin time.Time, weeks int, model Model) *Tally {
	t := &Tally{model: model, Causes: Counts{}, Checks: Counts{}, Outcomes: Counts{}, Codes: Weekly{},
		SettledCauses: Weekly{}}
	for i := range weeks {
		t.Weeks = append(t.Weeks, Week{BeginsAt: begin.Add(time.Duration(i) * week)})
	}
	return t
}

// Add counts a conversation, unless it was opened before the first week or nothing was told in it.
func (t *Tally) Add(c Conversation) {
	begin := t.Weeks[0].BeginsAt
	state := diagnosis.Fold(c.Events)
	if c.OpenedAt.Before(begin) || len(state.Told) == 0 {
		return
	}
	at := min(int(c.OpenedAt.Sub(begin)/week), len(t.Weeks)-1)
	w := &t.Weeks[at]
	w.Opened++
	code := NoCode
	for _, told := range state.Told {
		if told.Observation.ID == t.model.Panel && told.Observation.State != "" {
			code = told.Observation.State
		}
	}
	t.count(t.Codes, code, at)
	for id := range t.checked(c.Events) {
		t.Checks[id]++
	}
	var last time.Time
	for i, e := range c.Events {
		switch e.Kind {
		case diagnosis.Said, diagnosis.Answered, diagnosis.Retracted, diagnosis.Confirmed:
			last = c.At[i]
		}
	}
	t.times = append(t.times, last.Sub(c.OpenedAt))
	if state.Closed == nil || state.Closed.Closing == nil {
		return
	}
	closing := state.Closed.Closing
	w.Closed++
	t.Outcomes[string(closing.Outcome)]++
	for _, id := range closing.Causes {
		t.Causes[id]++
		t.count(t.SettledCauses, id, at)
	}
	if closing.Outcome == diagnosis.Settled {
		w.Settled++
		t.Settled = append(t.Settled, c)
		t.toRepair[min(t.checksBefore(c.Events, closing.Causes), MaxChecks)]++
	}
}

func (t *Tally) count(in Weekly, id string, week int) {
	if in[id] == nil {
		in[id] = make([]int, len(t.Weeks))
	}
	in[id][week]++
}

// checked are the checks that were answered, apart from the safety card.
func (t *Tally) checked(events []diagnosis.Event) map[string]bool {
	checks := map[string]bool{}
	for _, e := range events {
		if e.Kind != diagnosis.Answered {
			continue
		}
		for _, o := range e.Observations {
			if o.Kind != diagnosis.UnknownValue && t.model.IsCheck(o.ID) {
				checks[o.ID] = true
			}
		}
	}
	return checks
}

// checksBefore counts the checks that were answered before the repair that mended one of the causes, or, without one,
// before the end. A check that is answered twice counts once.
func (t *Tally) checksBefore(events []diagnosis.Event, causes []string) int {
	end := slices.IndexFunc(events, func(e diagnosis.Event) bool {
		return e.Kind == diagnosis.Closed || e.Kind == diagnosis.Mended &&
			slices.ContainsFunc(t.model.Mends(e.RepairID), func(id string) bool { return slices.Contains(causes, id) })
	})
	if end < 0 {
		end = len(events)
	}
	return len(t.checked(events[:end]))
}

// Foretell holds what was said of a settled conversation, the cause that led and its probability, against what it was
// settled with.
func (t *Tally) Foretell(c Conversation, cause string, p float64) {
	f := &t.foretold[min(int(p*foretellers), foretellers-1)]
	f.Said += p
	f.Count++
	if slices.Contains(diagnosis.Fold(c.Events).Closed.Closing.Causes, cause) {
		f.Right++
	}
}

// Foretold are the groups of what was said that hold any conversation, the least likely first.
func (t *Tally) Foretold() (out []Foretold) {
	for _, f := range t.foretold {
		if f.Count > 0 {
			f.Said /= float64(f.Count)
			out = append(out, f)
		}
	}
	return out
}

// Conversations is how many were counted.
func (t *Tally) Conversations() int { return len(t.times) }

// ChecksToRepair counts settled conversations by the checks before the right repair, none where none is settled.
func (t *Tally) ChecksToRepair() []int {
	if len(t.Settled) == 0 {
		return nil
	}
	return t.toRepair[:]
}

// Times is the histogram of how long conversations took.
func (t *Tally) Times() (out []TimeBar) {
	for _, bound := range timeBars {
		out = append(out, TimeBar{UpToMinutes: bound})
	}
	for _, took := range t.times {
		i := slices.IndexFunc(timeBars, func(b int) bool { return b == 0 || took <= time.Duration(b)*time.Minute })
		out[i].Count++
	}
	return out
}

// MedianTime is how long the middle one took, or false where none was counted.
func (t *Tally) MedianTime() (time.Duration, bool) {
	n := len(t.times)
	if n == 0 {
		return 0, false
	}
	times := slices.Sorted(slices.Values(t.times))
	return (times[(n-1)/2] + times[n/2]) / 2, true
}

// Ranked are at most so many ids, the most frequent first, ties by id.
func (c Counts) Ranked(most int) []string {
	ids := slices.SortedFunc(maps.Keys(c), func(a, b string) int {
		return cmp.Or(cmp.Compare(c[b], c[a]), cmp.Compare(a, b))
	})
	return ids[:min(len(ids), most)]
}

// Ranked are at most so many ids, those with the highest sums first, ties by id.
func (w Weekly) Ranked(most int) []string {
	sums := Counts{}
	for id, counts := range w {
		for _, n := range counts {
			sums[id] += n
		}
	}
	return sums.Ranked(most)
}
