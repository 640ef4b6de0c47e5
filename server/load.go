package main

import (
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	mathrand "math/rand/v2"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

const loadUsage = `Plays callers against a server on this machine, half over gRPC and half over sockets.

  server load [-grpc 127.0.0.1:7430] [-web 127.0.0.1:7480]
              [-callers 50] [-rate 100] [-time 30s] [-idle 0] [-seed 1]

  server load -overload distinct|floods|restart [-grpc 127.0.0.1:7430] [-web 127.0.0.1:7480] [-time 10s] [-seed 1]
              [-flood 0]

distinct: cards that nobody has told before, from 200 addresses of this machine, at half, once, twice and four times
the rate that the server manages, whether or not those before are answered. floods: one address makes calls of one
kind, 64 at a time, while another goes on as usual; -flood says how many a second at most, for the caller works on the
same processors as the server, and 0 means as many as it can. Both print a table, a row for each -time. restart: 400
watch cards, until somebody ends the server and starts it again, and -time longer. Start the server with its usual limits.

callers at most 1000, idle sockets besides them at most 6000, rate in answers a second at most 2000, time at
most 10m. Start the server with "-requests 0 -opens 0 -sockets 0 -waiting 0
-connections 0", for all callers come from one address.
Prints latencies from sending an answer to having the next question, errors, and whether every
acknowledged answer is kept. Exit code 1 if one is not.
`

// What the load tool may do at most.
const (
	maxCallers = 1000
	maxIdle    = 6000
	maxRate    = 2000
	maxTime    = 10 * time.Minute
)

const (
	callLimit = 15 * time.Second
	// maxTold is how many events a simulated conversation grows to before its caller opens another.
	maxTold = 40
)

// player plays callers.
type player struct {
	callers, idle int
	rate          float64 // answers a second, of all callers together; 0 is as fast as they can
	time          time.Duration
	seed          uint64
	dial          []func() (line, error) // taken in turn

	mu      sync.Mutex
	took    []time.Duration
	errors  map[string]int  // by code
	acked   map[string]ack  // by conversation
	pending map[string]bool // conversations with an answer that was sent and never acknowledged
	answers int
}

// ack is the last answer of a conversation that was acknowledged.
type ack struct {
	event int64
	req   *lightoffv1.AnswerQuestionsRequest
}

// load is the subcommand.
func (c command) load(ctx context.Context, args []string) int {
	p := &player{}
	flags := flag.NewFlagSet("load", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	rpc := flags.String("grpc", "127.0.0.1:7430", "")
	web := flags.String("web", "127.0.0.1:7480", "")
	flags.IntVar(&p.callers, "callers", 50, "")
	flags.IntVar(&p.idle, "idle", 0, "")
	flags.Float64Var(&p.rate, "rate", 100, "")
	flags.DurationVar(&p.time, "time", 30*time.Second, "")
	flags.Uint64Var(&p.seed, "seed", 1, "")
	overload := flags.String("overload", "", "")
	flood := flags.Float64("flood", 0, "")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(c.out, loadUsage)
		return exitDone
	case err != nil:
		return c.fail(exitUse, "load: %v; \"load -h\" shows what there is", err)
	case flags.NArg() > 0:
		return c.fail(exitUse, "load takes no %q", flags.Arg(0))
	case p.callers < 1 || p.callers > maxCallers || p.idle < 0 || p.idle > maxIdle || p.rate <= 0 || p.rate > maxRate ||
		p.time <= 0 || p.time > maxTime || !(*flood >= 0):
		return c.fail(exitUse, "load: a number is out of its bounds; \"load -h\" shows them")
	}
	for _, address := range []string{*rpc, *web} {
		if err := onLoopback(address); err != nil {
			return c.fail(exitUse, "load: %v", err)
		}
	}
	if *overload != "" {
		return c.overload(ctx, *overload, &trial{grpc: *rpc, web: *web, time: p.time, seed: p.seed, watchers: watchers,
			flood: *flood, out: c.out})
	}
	p.dial = []func() (line, error){
		func() (line, error) { return dialRPC(*rpc) },
		func() (line, error) { return dialSocket("ws://" + *web + "/socket") },
	}
	idle, err := p.openIdle(ctx)
	defer func() {
		for _, l := range idle {
			l.close()
		}
	}()
	if err != nil {
		return c.fail(exitUse, "load: open idle sockets: %v", err)
	}
	start := time.Now()
	p.play(ctx)
	elapsed := time.Since(start)
	lost := p.verify(ctx, p.dial[0])
	p.report(c.out, elapsed, len(idle), lost)
	if len(lost) > 0 {
		return exitInput
	}
	return exitDone
}

// overload is the subcommand's other half.
func (c command) overload(ctx context.Context, how string, t *trial) int {
	play := map[string]func(context.Context) error{"distinct": t.openLoop, "floods": t.flooding, "restart": t.restart}[how]
	if play == nil {
		return c.fail(exitUse, "load: -overload is distinct, floods or restart, not %q", how)
	}
	err := t.prepare(ctx)
	if err == nil {
		err = play(ctx)
	}
	if err != nil {
		return c.fail(exitUse, "load: %s", oneLine(err))
	}
	return exitDone
}

// onLoopback returns an error unless the address is one of this machine's own.
func onLoopback(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return err
	}
	// RFC 6761, section 6.3: localhost is always this machine.
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return fmt.Errorf("%s is not a loopback address such as 127.0.0.1:7430", address)
	}
	return nil
}

// openIdle opens sockets that only watch, each a conversation of its own.
func (p *player) openIdle(ctx context.Context) (open []line, err error) {
	var mu sync.Mutex
	var work sync.WaitGroup
	slots := make(chan struct{}, 32)
	for range p.idle {
		slots <- struct{}{}
		work.Go(func() {
			defer func() { <-slots }()
			l, dialErr := p.dial[1]()
			if dialErr == nil {
				limited, cancel := context.WithTimeout(ctx, 4*callLimit)
				defer cancel()
				_, dialErr = l.open(limited)
			}
			mu.Lock()
			defer mu.Unlock()
			if dialErr != nil {
				err = dialErr
				return
			}
			open = append(open, l)
			if socket, ok := l.(*socketLine); ok {
				go drain(socket.conn)
			}
		})
	}
	work.Wait()
	return open, err
}

// play plays all callers until the time is over or the context ends.
func (p *player) play(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, p.time)
	defer cancel()
	p.errors, p.acked, p.pending = map[string]int{}, map[string]ack{}, map[string]bool{}
	every := time.Duration(0)
	if p.rate > 0 {
		every = time.Duration(float64(p.callers) / p.rate * float64(time.Second))
	}
	var work sync.WaitGroup
	for n := range p.callers {
		work.Go(func() {
			random := mathrand.New(mathrand.NewPCG(p.seed, uint64(n)))
			// Callers do not all speak at the same moment.
			if pause(ctx, time.Duration(random.Float64()*float64(every))) {
				p.call(ctx, random, every, p.dial[n%len(p.dial)])
			}
		})
	}
	work.Wait()
}

// pause waits and returns whether the context still runs.
func pause(ctx context.Context, d time.Duration) bool {
	select {
	case <-ctx.Done():
		return false
	case <-time.After(d):
		return ctx.Err() == nil
	}
}

// call plays one caller.
func (p *player) call(ctx context.Context, random *mathrand.Rand, every time.Duration, dial func() (line, error)) {
	l, err := dial()
	if err != nil {
		p.failed(err)
		return
	}
	defer l.close()
	var c shown
	for due := time.Now(); ctx.Err() == nil; due = due.Add(every) {
		if len(c.Next) == 0 || c.LastEvent >= maxTold {
			limited, cancel := context.WithTimeout(context.WithoutCancel(ctx), callLimit)
			c, err = l.open(limited)
			cancel()
			if err != nil {
				p.failed(err)
				pause(ctx, 50*time.Millisecond)
				c = shown{}
				continue
			}
		}
		// Whoever is late does not hurry afterwards: what is reported is what the server did at the rate reached.
		due = later(due, time.Now())
		if !pause(ctx, time.Until(due)) {
			return
		}
		c = p.tell(ctx, l, c, replies(random, c))
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// tell sends an answer until it is acknowledged and returns the conversation, or an empty one if it never was.
func (p *player) tell(ctx context.Context, l line, c shown, req *lightoffv1.AnswerQuestionsRequest) shown {
	start := time.Now()
	p.mu.Lock()
	p.pending[c.ID] = true
	p.mu.Unlock()
	for ctx.Err() == nil {
		// When the time is over, what is under way is awaited.
		limited, cancel := context.WithTimeout(context.WithoutCancel(ctx), callLimit)
		now, err := l.answer(limited, req)
		cancel()
		if err == nil {
			p.acknowledged(c, now, req, time.Since(start))
			return now
		}
		if ctx.Err() != nil {
			break
		}
		p.failed(err)
		if code := status.Code(err); code == codes.InvalidArgument || code == codes.NotFound {
			break
		}
		pause(ctx, max(50*time.Millisecond, retryOf(err)))
	}
	return shown{}
}

func (p *player) acknowledged(before, now shown, req *lightoffv1.AnswerQuestionsRequest, took time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.answers++
	p.took = append(p.took, took)
	if now.LastEvent != before.LastEvent+1 {
		p.errors[fmt.Sprintf("event %d after %d", now.LastEvent, before.LastEvent)]++
	}
	p.acked[now.ID] = ack{event: now.LastEvent, req: req}
	delete(p.pending, now.ID)
}

func (p *player) failed(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if code := status.Code(err); code != codes.Canceled && code != codes.DeadlineExceeded ||
		!errors.Is(err, context.Canceled) {
		p.errors[code.String()]++
	}
}

// replies answers what is asked: the whole safety card, well, or the first question, by chance.
func replies(random *mathrand.Rand, c shown) *lightoffv1.AnswerQuestionsRequest {
	req := &lightoffv1.AnswerQuestionsRequest{Id: c.ID, ClientKey: rand.Text()}
	for _, q := range c.Next {
		o := &lightoffv1.Observation{Id: q.ID}
		switch {
		case len(q.States) == 0:
			low := max(-1, float64(q.Minimum))
			high := min(low+20, float64(q.Maximum))
			o.Value = &lightoffv1.Observation_Number{Number: low + (0.3+0.4*random.Float64())*(high-low)}
		case q.SafetyCard:
			o.Value = &lightoffv1.Observation_State{State: q.States[0].ID}
		default:
			o.Value = &lightoffv1.Observation_State{State: q.States[random.IntN(len(q.States))].ID}
		}
		if random.IntN(10) == 0 {
			o.Value = &lightoffv1.Observation_Unknown{Unknown: true}
		}
		req.Observations = append(req.Observations, o)
		if !q.SafetyCard {
			break
		}
	}
	return req
}

// verify looks for every acknowledged answer, and sends the last of each conversation again, which must change
// nothing. It returns what is amiss.
func (p *player) verify(ctx context.Context, dial func() (line, error)) (lost []string) {
	l, err := dial()
	if err != nil {
		return []string{err.Error()}
	}
	defer l.close()
	for id, last := range p.acked {
		c, err := l.get(ctx, id)
		if err == nil && c.LastEvent < last.event {
			err = fmt.Errorf("ends at event %d", c.LastEvent)
		}
		if err == nil {
			var again shown
			// PostgreSQL may keep what a server had sent to it some time after that server is gone.
			late := p.pending[id] && c.LastEvent == last.event
			again, err = l.answer(ctx, last.req)
			if err == nil && again.LastEvent != c.LastEvent && !(late && again.LastEvent == c.LastEvent+1) {
				err = fmt.Errorf("an answer sent twice is event %d", again.LastEvent)
			}
		}
		if err != nil {
			lost = append(lost, fmt.Sprintf("%s, acknowledged up to event %d: %v", id, last.event, err))
		}
	}
	slices.Sort(lost)
	return lost
}

// report prints what was measured.
func (p *player) report(to io.Writer, elapsed time.Duration, idle int, lost []string) {
	slices.Sort(p.took)
	fmt.Fprintf(to, "answers  %d in %.1f s, %.0f/s (asked for %.0f/s), %d callers, %d idle sockets, %d conversations\n",
		p.answers, elapsed.Seconds(), float64(p.answers)/elapsed.Seconds(), p.rate, p.callers, idle, len(p.acked))
	if n := len(p.took); n > 0 {
		fmt.Fprint(to, "latency ")
		for _, q := range []float64{0.5, 0.9, 0.99, 1} {
			fmt.Fprintf(to, " p%g %.1f ms", 100*q, float64(p.took[min(n-1, int(q*float64(n)))].Microseconds())/1000)
		}
		fmt.Fprintln(to)
	}
	var errs []string
	for _, code := range slices.Sorted(maps.Keys(p.errors)) {
		errs = append(errs, fmt.Sprintf("%s %d", code, p.errors[code]))
	}
	fmt.Fprintf(to, "errors   %s\n", strings.Join(append(errs, "none")[:max(1, len(errs))], ", "))
	fmt.Fprintf(to, "lost     %d\n", len(lost))
	for _, l := range lost {
		fmt.Fprintln(to, "  "+l)
	}
}
