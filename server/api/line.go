//go:build !js

package api

import (
	"context"
	"slices"
	"sync"
	"time"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// haste is what somebody wants who asks for an inference while others do.
type haste int

const (
	inTurn haste = iota // waits for an inference slot, if not too many wait already
	atOnce              // takes a processor that is free, or none
)

// busy means that there is no processor to think on: none is free now, or too many wait for one.
type busy struct{ wait time.Duration }

func (b *busy) Error() string { return "the service has too much to think about; wait and ask again" }

func (b *busy) exhausted() (lightoffv1.ErrorReason, time.Duration) {
	return lightoffv1.ErrorReason_ERROR_REASON_BUSY, b.wait
}

// What is kept waiting, at most. Whoever is admitted should wait no longer than maxWait, as far as inferences take what
// they took lately; the rest is refused at once and comes back later.
const (
	maxWait    = 100 * time.Millisecond
	minInLine  = 2  // for each processor, however long inferences take
	maxInLine  = 64 // in all
	retryAfter = time.Second
)

// line is where whoever wants an inference waits for an inference slot. Callers, known by address or token, take turns,
// whatever number of inferences each of them wants. It is safe for concurrent use.
type line struct {
	processors int
	share      int // waiting inferences that one address may have; 0 bounds nobody

	mu      sync.Mutex
	free    int
	callers map[string]*queued
	turns   []string // callers with somebody waiting, who is next first
	waiting int
	usual   time.Duration // that an inference took lately
}

// queued is what one caller has under way.
type queued struct {
	running int
	waiting []chan struct{} // closed when it is its turn
}

func newLine(processors, share int) *line {
	return &line{processors: processors, share: share, free: processors, callers: map[string]*queued{},
		usual: 50 * time.Millisecond}
}

// acquire waits for an inference slot; leave gives it back. The error is a *busy or the context's.
func (l *line) acquire(ctx context.Context, caller string, u haste) (leave func(), err error) {
	l.mu.Lock()
	q := l.callers[caller]
	if q == nil {
		q = &queued{}
		l.callers[caller] = q
	}
	switch {
	case l.free > 0 && len(q.waiting) == 0 && (q.running == 0 || q.running < l.most(caller)):
		l.begin(q)
		l.mu.Unlock()
		return l.leaver(caller), nil
	case u == atOnce, l.waiting >= l.room(), l.share > 0 && len(q.waiting) >= l.share*int(factor(caller)):
		l.drop(caller)
		l.mu.Unlock()
		return nil, &busy{wait: retryAfter}
	}
	turn := make(chan struct{})
	if len(q.waiting) == 0 {
		l.turns = append(l.turns, caller)
	}
	q.waiting = append(q.waiting, turn)
	l.waiting++
	l.mu.Unlock()
	select {
	case <-turn:
		return l.leaver(caller), nil
	case <-ctx.Done():
		l.giveUp(caller, turn)
		return nil, ctx.Err()
	}
}

// most is how many processors one caller may hold: one address leaves one to the others, if there are several.
func (l *line) most(caller string) int {
	if l.share == 0 {
		return l.processors
	}
	return max(1, l.processors-1)
}

// room is how many may wait. The lock is held.
func (l *line) room() int {
	soon := int64(l.processors) * int64(maxWait) / int64(max(l.usual, time.Millisecond))
	return min(maxInLine, max(minInLine*l.processors, int(soon)))
}

// begin gives a processor to a caller. The lock is held.
func (l *line) begin(q *queued) {
	l.free--
	q.running++
}

// leaver returns what ends an inference that has begun.
func (l *line) leaver(caller string) func() {
	start := time.Now()
	return sync.OnceFunc(func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.usual += (min(time.Since(start), time.Second) - l.usual) / 8
		l.end(caller)
	})
}

// end takes a processor back and gives it to whoever is next. The lock is held.
func (l *line) end(caller string) {
	l.free++
	l.callers[caller].running--
	l.drop(caller)
	for l.free > 0 {
		if !l.callNext() {
			return
		}
	}
}

// callNext lets one who waits begin: the first in turn who may. The lock is held.
func (l *line) callNext() bool {
	for i, caller := range l.turns {
		q := l.callers[caller]
		if q.running > 0 && q.running >= l.most(caller) {
			continue
		}
		l.turns = slices.Delete(l.turns, i, i+1)
		turn := q.waiting[0]
		q.waiting = q.waiting[1:]
		l.waiting--
		if len(q.waiting) > 0 {
			l.turns = append(l.turns, caller)
		}
		l.begin(q)
		close(turn)
		return true
	}
	return false
}

// giveUp takes one who does not want to wait any more out of the line, or lets go of the processor that it was just
// given.
func (l *line) giveUp(caller string, turn chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	q := l.callers[caller]
	i := slices.Index(q.waiting, turn)
	if i < 0 {
		l.end(caller)
		return
	}
	q.waiting = slices.Delete(q.waiting, i, i+1)
	l.waiting--
	if len(q.waiting) == 0 {
		l.turns = slices.DeleteFunc(l.turns, func(c string) bool { return c == caller })
	}
	l.drop(caller)
}

// drop forgets a caller who has nothing under way. The lock is held.
func (l *line) drop(caller string) {
	if q := l.callers[caller]; q != nil && q.running == 0 && len(q.waiting) == 0 {
		delete(l.callers, caller)
	}
}
