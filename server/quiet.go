package main

import (
	"context"
	"log/slog"
	"sync"
	"unicode/utf8"

	"golang.org/x/time/rate"
)

// What one message may put into the log: so many lines at once, and then so many a second; and how many characters of a
// value.
const (
	logBurst  = 20
	logRate   = 1
	maxLogged = 200
	maxError  = 4000 // characters of an error, which may hold a stack
	// messages beyond so many different ones share one allowance.
	maxMessages = 256
)

// quiet keeps callers from filling the log: lines of one message beyond some are counted and left out, and long values
// are cut. The next line that is written says how many were not.
type quiet struct {
	next   slog.Handler
	shared *allowances
}

type allowances struct {
	mu       sync.Mutex
	messages map[string]*allowance
}

type allowance struct {
	limiter *rate.Limiter
	left    int // out
}

func newQuiet(next slog.Handler) *quiet {
	return &quiet{next: next, shared: &allowances{messages: map[string]*allowance{}}}
}

// take reports whether a line with the message may be written, and how many were not since the last.
func (a *allowances) take(message string) (ok bool, left int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.messages[message] == nil && len(a.messages) >= maxMessages {
		message = ""
	}
	m := a.messages[message]
	if m == nil {
		m = &allowance{limiter: rate.NewLimiter(logRate, logBurst)}
		a.messages[message] = m
	}
	if !m.limiter.Allow() {
		m.left++
		return false, 0
	}
	left, m.left = m.left, 0
	return true, left
}

// Enabled implements slog.Handler.
func (q *quiet) Enabled(ctx context.Context, level slog.Level) bool {
	return q.next.Enabled(ctx, level)
}

// Handle implements slog.Handler. Messages of libraries hold addresses, so only their beginnings tell them apart.
func (q *quiet) Handle(ctx context.Context, r slog.Record) error {
	ok, left := q.shared.take(r.Message[:min(len(r.Message), 24)])
	if !ok {
		return nil
	}
	out := slog.NewRecord(r.Time, r.Level, cut(r.Message, maxLogged), r.PC)
	r.Attrs(func(a slog.Attr) bool { out.AddAttrs(shorter(a)); return true })
	if left > 0 {
		out.AddAttrs(slog.Int("left_out", left))
	}
	return q.next.Handle(ctx, out)
}

// WithAttrs implements slog.Handler.
func (q *quiet) WithAttrs(attrs []slog.Attr) slog.Handler {
	short := make([]slog.Attr, len(attrs))
	for i, a := range attrs {
		short[i] = shorter(a)
	}
	return &quiet{next: q.next.WithAttrs(short), shared: q.shared}
}

// WithGroup implements slog.Handler.
func (q *quiet) WithGroup(name string) slog.Handler {
	return &quiet{next: q.next.WithGroup(name), shared: q.shared}
}

// shorter cuts a value; errors are values, too.
func shorter(a slog.Attr) slog.Attr {
	v := a.Value.Resolve()
	switch v.Kind() {
	case slog.KindString:
		return slog.String(a.Key, cut(v.String(), maxLogged))
	case slog.KindAny:
		if err, ok := v.Any().(error); ok {
			return slog.String(a.Key, cut(err.Error(), maxError))
		}
	}
	return a
}

func cut(text string, most int) string {
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:most-1]) + "…"
}
