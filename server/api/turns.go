//go:build !js

package api

import (
	"context"
	"sync"
)

// What one address may have under way at the same time: calls that are worked at, and calls that wait until one of
// those has ended. Whatever a call costs, others find the store and the processors free for theirs.
const (
	atWork    = 4
	waitsWork = 64
)

// turns let the calls of one address wait for each other. It is safe for concurrent use.
type turns struct {
	mu      sync.Mutex
	callers map[string]*turn
}

// turn is what one address has under way.
type turn struct {
	free  chan struct{} // holds what may still begin
	calls int           // that are worked at or wait
}

// enter waits until a call may be worked at; leave ends it. The error is a *busy where too many wait, save for those
// that must be let in, or the context's.
func (t *turns) enter(ctx context.Context, caller string, must bool) (leave func(), err error) {
	most := atWork * int(factor(caller))
	t.mu.Lock()
	c := t.callers[caller]
	if c == nil {
		c = &turn{free: make(chan struct{}, most)}
		t.callers[caller] = c
	}
	if !must && c.calls >= most+waitsWork*int(factor(caller)) {
		t.mu.Unlock()
		return nil, &busy{wait: retryAfter}
	}
	c.calls++
	t.mu.Unlock()
	forget := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if c.calls--; c.calls == 0 {
			delete(t.callers, caller)
		}
	}
	select {
	case c.free <- struct{}{}:
		return sync.OnceFunc(func() { <-c.free; forget() }), nil
	case <-ctx.Done():
		forget()
		return nil, ctx.Err()
	}
}
