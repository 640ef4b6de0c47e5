//go:build !js

package api

import (
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Limits bound what one address, or the holder of one token, may ask for. Zero means no limit.
type Limits struct {
	Requests float64 // a second, on average; ten seconds' worth may come at once
	Opens    float64 // conversations opened in an hour, on average; a sixth of that may come at once
	Sockets  int     // sockets and streams open at the same time
	Waiting  int     // assessments that wait for an inference slot at the same time

	Connections int // open at the same time
	AllSockets  int // sockets and streams of all callers together; each takes some hundred kilobytes
}

// tokenFactor is how much more the holder of a token may ask for: many people stand behind a desk or program.
const tokenFactor = 20

// guesses is how many spoken codes one address may try in an hour, on average; a sixth of that may be tried at once. It
// is no option: codes are short.
const guesses = 60

// cardAnswers is how many answers to the safety card one address may give in a second, on average; ten seconds' worth
// at once. It is far more than people do, and no option: nobody's answer may wait for what else somebody asks for.
const cardAnswers = 10

// badTokens is how many tokens that are not taken one address may try in a second, on average; ten seconds' worth at
// once.
const badTokens = 1

// Remembered callers: above some, those who have not been heard of for a while are forgotten.
const (
	manyCallers = 4096
	forgetAfter = 20 * time.Minute // longer than any allowance takes to fill up again
)

// Limiter keeps count for each caller. It is safe for concurrent use.
type Limiter struct {
	limits Limits
	now    func() time.Time

	mu      sync.Mutex
	callers map[string]*allowance
	sweepAt int
	sockets int // of all
}

type allowance struct {
	requests, opens *rate.Limiter
	guesses, tokens *rate.Limiter
	cards           *rate.Limiter
	sockets         int
	seen            time.Time
}

// NewLimiter returns a limiter for which nobody has asked for anything yet.
func NewLimiter(limits Limits) *Limiter {
	return &Limiter{limits: limits, now: time.Now, callers: map[string]*allowance{}, sweepAt: manyCallers}
}

// allowanceOf returns what is known of a caller; the lock is held.
func (l *Limiter) allowanceOf(key string) *allowance {
	now := l.now()
	a := l.callers[key]
	if a == nil {
		if len(l.callers) >= l.sweepAt {
			for key, old := range l.callers {
				if old.sockets == 0 && now.Sub(old.seen) > forgetAfter {
					delete(l.callers, key)
				}
			}
			l.sweepAt = max(manyCallers, 2*len(l.callers))
		}
		f := factor(key)
		a = &allowance{
			requests: rate.NewLimiter(rate.Limit(f*l.limits.Requests), max(1, int(10*f*l.limits.Requests))),
			guesses:  rate.NewLimiter(rate.Limit(f*guesses/3600), guesses/6*int(f)),
			cards:    rate.NewLimiter(rate.Limit(f*cardAnswers), 10*cardAnswers*int(f)),
			tokens:   rate.NewLimiter(rate.Limit(badTokens), 10*badTokens),
			opens:    rate.NewLimiter(rate.Limit(f*l.limits.Opens/3600), max(1, int(f*l.limits.Opens/6))),
		}
		l.callers[key] = a
	}
	a.seen = now
	return a
}

func factor(key string) float64 {
	if strings.HasPrefix(key, "token ") {
		return tokenFactor
	}
	return 1
}

// request takes one request off the allowance, or returns how long to wait.
func (l *Limiter) request(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.limits.Requests <= 0 {
		return 0
	}
	return l.takeFrom(l.allowanceOf(key).requests)
}

// open takes one new conversation off the allowance, or returns how long to wait.
func (l *Limiter) open(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.limits.Opens <= 0 {
		return 0
	}
	return l.takeFrom(l.allowanceOf(key).opens)
}

// guess takes one try at a spoken code off the allowance, or returns how long to wait.
func (l *Limiter) guess(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.takeFrom(l.allowanceOf(key).guesses)
}

// card takes one answer to the safety card off the allowance, or returns how long to wait.
func (l *Limiter) card(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.limits.Requests <= 0 {
		return 0
	}
	return l.takeFrom(l.allowanceOf(key).cards)
}

// badToken takes one try with a token that was not taken off the allowance, or returns how long to wait.
func (l *Limiter) badToken(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.takeFrom(l.allowanceOf(key).tokens)
}

// barred reports whether an address has tried too many of those lately.
func (l *Limiter) barred(key string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.allowanceOf(key).tokens.TokensAt(l.now()) < 1
}

func (l *Limiter) takeFrom(r *rate.Limiter) time.Duration {
	now := l.now()
	taken := r.ReserveN(now, 1)
	wait := taken.DelayFrom(now)
	if wait > 0 {
		taken.CancelAt(now)
	}
	return wait
}

// socketWait is how long one who has too many sockets is told to wait: nobody knows when another of his will end.
const socketWait = 10 * time.Second

// Socket takes a socket or stream off the allowance until leave is called, or says how long to wait.
func (l *Limiter) Socket(key string) (leave func(), wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	a := l.allowanceOf(key)
	if l.limits.Sockets > 0 && a.sockets >= l.limits.Sockets*int(factor(key)) || l.limits.AllSockets > 0 &&
		l.sockets >= l.limits.AllSockets {
		return nil, socketWait
	}
	a.sockets++
	l.sockets++
	return sync.OnceFunc(func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		a.sockets--
		l.sockets--
	}), 0
}
