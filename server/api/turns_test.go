package api

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestTurns: an address has some calls worked at, some wait, and more are refused at once; another is not held up, and
// what must be let in waits with the rest.
func TestTurns(t *testing.T) {
	turns := &turns{callers: map[string]*turn{}}
	gone, cancel := context.WithCancel(t.Context())
	defer cancel()
	var leave func()
	for range atWork {
		end, err := turns.enter(t.Context(), "203.0.113.7", false)
		require.NoError(t, err)
		leave = end
	}
	ended := make(chan error, waitsWork+1)
	wait := func(must bool) {
		before := turns.of("203.0.113.7")
		go func() {
			end, err := turns.enter(gone, "203.0.113.7", must)
			if err == nil {
				defer end()
			}
			ended <- err
		}()
		require.Eventually(t, func() bool { return turns.of("203.0.113.7") > before }, patience, time.Millisecond)
	}
	for range waitsWork {
		wait(false)
	}
	var full *busy
	_, err := turns.enter(t.Context(), "203.0.113.7", false)
	require.ErrorAs(t, err, &full)
	wait(true)
	other, err := turns.enter(t.Context(), "203.0.113.8", false)
	require.NoError(t, err)
	other()
	leave()
	leave() // twice counts once
	for range waitsWork + 1 {
		require.NoError(t, <-ended, "each gets its turn")
	}
	assert.Equal(t, atWork-1, turns.of("203.0.113.7"))
	last, err := turns.enter(t.Context(), "203.0.113.7", false)
	require.NoError(t, err)
	wait(false)
	cancel()
	require.ErrorIs(t, <-ended, context.Canceled, "whose caller is gone waits no longer")
	last()
	assert.NotContains(t, turns.callers, "203.0.113.8", "who has nothing under way is forgotten")
}

// of is how many calls of an address are worked at or wait.
func (t *turns) of(caller string) int {
	t.mu.Lock()
	defer t.mu.Unlock()
	if c := t.callers[caller]; c != nil {
		return c.calls
	}
	return 0
}
