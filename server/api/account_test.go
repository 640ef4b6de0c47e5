package api

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

// TestAnAnswerIsCheckedOnce: what lets an answer in is what it is assessed by. What is only thought of is not mixed up
// with what is kept.
func TestAnAnswerIsCheckedOnce(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	log := NewDiagnosis(m).account([]diagnosis.Event{{Number: 1, Kind: diagnosis.Opened}}, "")
	lamp := func(state string) diagnosis.Event {
		return diagnosis.Event{Kind: diagnosis.Answered, Observations: []diagnosis.Observation{{ID: "lamp", State: state}}}
	}
	require.NoError(t, log.fits(lamp("on")))
	passed := log.next.evidence
	on := log.with(lamp("on"))
	assert.Same(t, passed, on.evidence)
	assert.Equal(t, int64(2), on.state.LastEvent)
	off := log.with(lamp("off"))
	assert.NotSame(t, passed, off.evidence)
	assert.Equal(t, "off", off.state.Told[0].Observation.State)
	assert.Empty(t, log.sound().state.Told, "the log itself is as it was")
	assert.Same(t, log.sound().evidence, log.sound().evidence)
	assert.Error(t, log.fits(lamp("green")))
}

// TestWhatTheModelDoesNotAcceptIsLeftOut folds logs that no request could have made.
func TestWhatTheModelDoesNotAcceptIsLeftOut(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	rate, willing := -1.0, 9
	log := NewDiagnosis(m).account([]diagnosis.Event{
		{Number: 1, Kind: diagnosis.Opened, Tools: []string{"wand"}},
		{Number: 2, Kind: diagnosis.Answered, Skipped: []string{"aura"}, Observations: []diagnosis.Observation{
			{ID: "lamp", State: "on"}, {ID: "deposit", State: "green"}, {ID: "karma", State: "bad"}}},
		{Number: 3, Kind: diagnosis.Mended, RepairID: "wish"},
		{Number: 4, Kind: diagnosis.ToolsSet, Tools: []string{"wand"}, EurosPerMinute: &rate, Willing: &willing},
	}, "")
	found := log.sound()
	assert.Equal(t, map[string]bool{"aura": true, "deposit": true, "karma": true}, found.unsound)
	require.Len(t, found.state.Told, 1)
	assert.Equal(t, "lamp", found.state.Told[0].Observation.ID)
	assert.Empty(t, found.state.Tools)
	assert.Empty(t, found.state.Mended)
	assert.Zero(t, found.state.EurosPerMinute)
	assert.Zero(t, found.state.Willing)
	_, err = found.evidence.Guide(found.state)
	assert.NoError(t, err)
}
