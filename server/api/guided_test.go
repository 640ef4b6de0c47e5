package api

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

func TestGuided(t *testing.T) {
	told := func(state string) diagnosis.Conversation {
		return diagnosis.Conversation{Locale: "en", Told: []diagnosis.Told{
			{Observation: diagnosis.Observation{ID: "lamp", State: state}, Words: state, Event: int64(len(state))}}}
	}
	on, off := told("on"), told("off")
	elsewhere := told("on")
	elsewhere.LastEvent, elsewhere.Told[0].Event, elsewhere.Told[0].Words = 7, 5, "glows"
	assert.Equal(t, keyOf("v", on), keyOf("v", elsewhere), "when and in which words does not matter")
	skipped, german, tools := told("on"), told("on"), told("on")
	skipped.Told[0].Skipped, german.Locale, tools.Tools = true, "de", []string{"multimeter"}
	for _, other := range []diagnosis.Conversation{off, skipped, german, tools, {}} {
		assert.NotEqual(t, keyOf("v", on), keyOf("v", other))
	}
	assert.NotEqual(t, keyOf("v", on), keyOf("w", on), "another model says something else")

	g := newGuided()
	first := &diagnosis.Guidance{}
	put := func(state diagnosis.Conversation, guidance *diagnosis.Guidance) {
		known, other, done := g.begin(keyOf("v", state))
		assert.Nil(t, known)
		assert.Nil(t, other)
		done(guidance)
	}
	put(on, first)
	for n := range 2 * maxGuided {
		assert.Same(t, first, g.get(keyOf("v", on)), "what is in use stays")
		put(diagnosis.Conversation{Tools: []string{string(rune(n))}}, &diagnosis.Guidance{})
	}
	assert.Len(t, g.known, maxGuided)
	assert.Equal(t, maxGuided, g.order.Len())

	_, other, done := g.begin(keyOf("v", off))
	assert.Nil(t, other)
	_, waits, _ := g.begin(keyOf("v", off))
	require.NotNil(t, waits, "two who ask the same make one inference")
	done(nil)
	<-waits
	_, other, _ = g.begin(keyOf("v", off))
	assert.Nil(t, other, "nothing came of it, so the next one tries")
	known, _, _ := g.begin(keyOf("v", on))
	assert.Same(t, first, known)
}
