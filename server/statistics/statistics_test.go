package statistics_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"lightoff/engine/diagnosis"
	"lightoff/server/statistics"
)

func TestMonday(t *testing.T) {
	// ISO 8601 weeks begin on Monday; 1 January 2026 is a Thursday (by any calendar).
	monday := func(at time.Time) string { return statistics.Monday(at).Format(time.DateOnly) }
	assert.Equal(t, "2025-12-29", monday(time.Date(2026, 1, 1, 23, 59, 0, 0, time.UTC)))
	assert.Equal(t, "2026-01-05", monday(time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)))
	assert.Equal(t, "2025-12-29", monday(time.Date(2026, 1, 4, 12, 0, 0, 0, time.UTC)))
}

var begin = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)

// conversation is one whose events follow each other by ten minutes, the first at the opening.
func conversation(opened time.Time, events ...diagnosis.Event) statistics.Conversation {
	c := statistics.Conversation{OpenedAt: opened}
	for i, e := range append([]diagnosis.Event{{Kind: diagnosis.Opened}}, events...) {
		e.Number = int64(i + 1)
		c.Events, c.At = append(c.Events, e), append(c.At, opened.Add(time.Duration(i)*10*time.Minute))
	}
	return c
}

func answer(id, state string) diagnosis.Event {
	return diagnosis.Event{Kind: diagnosis.Answered,
		Observations: []diagnosis.Observation{{ID: id, Kind: diagnosis.StateValue, State: state}}}
}

func closed(outcome diagnosis.Outcome, causes ...string) diagnosis.Event {
	return diagnosis.Event{Kind: diagnosis.Closed, Closing: &diagnosis.Closing{Outcome: outcome, Causes: causes}}
}

func mended(repair string) diagnosis.Event {
	return diagnosis.Event{Kind: diagnosis.Mended, RepairID: repair}
}

// TestTally is counted by hand.
func TestTally(t *testing.T) {
	tally := statistics.New(begin, 2, statistics.Model{
		Panel:   "code",
		IsCheck: func(id string) bool { return id != "alarm" },
		Mends: func(repair string) []string {
			return map[string][]string{"refuel": {"empty"}, "clean": {"soot"}}[repair]
		},
	})
	next := begin.Add(8 * 24 * time.Hour)
	first := conversation(begin, answer("code", "no_fuel"), answer("alarm", "no"), mended("clean"),
		answer("smoke", "white"), answer("smoke", "none"), mended("refuel"), answer("noise", "no"),
		closed(diagnosis.Settled, "empty")) // 70 minutes to the last answer; code and smoke before the right repair
	second := conversation(next, answer("code", "no_fuel"), closed(diagnosis.Settled, "soot")) // 10 minutes, one check
	for _, c := range []statistics.Conversation{first, second,
		conversation(next, answer("smoke", "white"), closed(diagnosis.ToWorkshop)), // 10 minutes
		conversation(begin, answer("smoke", "white"), answer("noise", "no")),       // 20 minutes, open
		conversation(begin), // nothing was told
		conversation(begin.Add(-time.Hour), answer("code", "x"), closed(diagnosis.Settled, "soot")), // before the weeks
	} {
		tally.Add(c)
	}
	assert.Equal(t, []statistics.Week{{BeginsAt: begin, Opened: 2, Closed: 1, Settled: 1},
		{BeginsAt: begin.AddDate(0, 0, 7), Opened: 2, Closed: 2, Settled: 1}}, tally.Weeks)
	assert.Equal(t, 4, tally.Conversations())
	assert.Equal(t, statistics.Counts{"empty": 1, "soot": 1}, tally.Causes)
	assert.Equal(t, statistics.Counts{"code": 2, "smoke": 3, "noise": 2}, tally.Checks)
	assert.Equal(t, []string{"smoke", "code"}, tally.Checks.Ranked(2), "ties by id")
	assert.Equal(t, statistics.Counts{"settled": 2, string(diagnosis.ToWorkshop): 1}, tally.Outcomes)
	assert.Equal(t, statistics.Weekly{"no_fuel": {1, 1}, statistics.NoCode: {1, 1}}, tally.Codes)
	assert.Equal(t, []string{"no_fuel", statistics.NoCode}, tally.Codes.Ranked(8))
	assert.Equal(t, statistics.Weekly{"empty": {1, 0}, "soot": {0, 1}}, tally.SettledCauses)
	assert.Equal(t, []int{0, 1, 1, 0, 0, 0, 0, 0, 0}, tally.ChecksToRepair())
	assert.Equal(t, []statistics.TimeBar{{UpToMinutes: 5}, {UpToMinutes: 10, Count: 2}, {UpToMinutes: 20, Count: 1},
		{UpToMinutes: 40}, {UpToMinutes: 60}, {UpToMinutes: 120, Count: 1}, {}}, tally.Times())
	median, ok := tally.MedianTime()
	assert.True(t, ok)
	assert.Equal(t, 15*time.Minute, median, "of 10, 10, 20 and 70")

	tally.Foretell(first, "empty", 0.75)
	tally.Foretell(second, "empty", 0.71)
	tally.Foretell(second, "soot", 1)
	got := tally.Foretold()
	assert.Len(t, got, 2)
	assert.InDelta(t, 0.73, got[0].Said, 1e-12)
	assert.Equal(t, []int{2, 1, 1, 1}, []int{got[0].Count, got[0].Right, got[1].Count, got[1].Right})
}

func TestNothingCounted(t *testing.T) {
	tally := statistics.New(begin, 1, statistics.Model{})
	_, ok := tally.MedianTime()
	assert.False(t, ok)
	assert.Empty(t, tally.ChecksToRepair())
	assert.Empty(t, tally.Foretold())
}
