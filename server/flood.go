package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"io"
	mathrand "math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/websocket"
	"golang.org/x/time/rate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// trial tries to overload a server from many addresses of this machine.
type trial struct {
	grpc, web string
	time      time.Duration // for each row of a table
	seed      uint64
	watchers  int
	flood     float64 // calls a second that a flood makes at most; 0 is as many as it can
	out       io.Writer

	cards []*lightoffv1.ObservationInfo // what random cards are made of
}

// clients are the services as one address reaches them.
type clients struct {
	conn         *grpc.ClientConn
	conversation lightoffv1.ConversationServiceClient
	diagnosis    lightoffv1.DiagnosisServiceClient
}

// from dials from an address, all of which a Linux machine has from 127.0.0.1 to 127.255.255.254.
func from(address string) net.Dialer {
	return net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(address)}}
}

func (t *trial) dial(address string) (clients, error) {
	dialer := from(address)
	conn, err := grpc.NewClient("passthrough:///"+t.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, to string) (net.Conn,
			error) {
			return dialer.DialContext(ctx, "tcp", to)
		}))
	if err != nil {
		return clients{}, err
	}
	return clients{conn, lightoffv1.NewConversationServiceClient(conn), lightoffv1.NewDiagnosisServiceClient(conn)}, nil
}

// prepare learns what random cards may hold: what is no code, whose meaning hangs on another answer, and is on no
// safety card.
func (t *trial) prepare(ctx context.Context) error {
	c, err := t.dial("127.0.0.1")
	if err != nil {
		return err
	}
	defer c.conn.Close()
	list, err := lightoffv1.NewKnowledgeServiceClient(c.conn).ListObservations(ctx, &lightoffv1.ListObservationsRequest{})
	for _, o := range list.GetObservations() {
		if !o.GetSafetyCard() && !strings.Contains(o.GetId(), "code") {
			t.cards = append(t.cards, o)
		}
	}
	return err
}

// card is a card that nobody has told before.
func (t *trial) card(random *mathrand.Rand) *lightoffv1.AssessRequest {
	req := &lightoffv1.AssessRequest{DangersKnown: true, EurosPerMinute: random.Float64()}
	for _, i := range random.Perm(len(t.cards))[:min(6, len(t.cards))] {
		o := t.cards[i]
		told := &lightoffv1.Observation{Id: o.GetId()}
		if n := len(o.GetStates()); n > 0 {
			told.Value = &lightoffv1.Observation_State{State: o.GetStates()[random.IntN(n)].GetId()}
		} else {
			low := max(-1, o.GetMinimum())
			told.Value = &lightoffv1.Observation_Number{Number: low + random.Float64()*(min(low+20, o.GetMaximum())-low)}
		}
		req.Observations = append(req.Observations, told)
	}
	return req
}

// times are how long answers took, and what became of others.
type times struct {
	mu      sync.Mutex
	took    []time.Duration
	refused []time.Duration // told to come again
	failed  map[codes.Code]int
}

// note takes the end of a call down.
func (t *times) note(took time.Duration, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch code := status.Code(err); {
	case err == nil:
		t.took = append(t.took, took)
	case code == codes.ResourceExhausted && retryOf(err) > 0:
		t.refused = append(t.refused, took)
	default:
		if t.failed == nil {
			t.failed = map[codes.Code]int{}
		}
		t.failed[code]++
	}
}

// retryOf is how long a refusal says to wait; 0 if it does not.
func retryOf(err error) time.Duration {
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.RetryInfo); ok {
			return info.GetRetryDelay().AsDuration()
		}
	}
	return 0
}

// at is a quantile in milliseconds.
func at(took []time.Duration, q float64) string {
	if len(took) == 0 {
		return "-"
	}
	sorted := slices.Sorted(slices.Values(took))
	return fmt.Sprintf("%.1f", float64(sorted[min(len(sorted)-1, int(q*float64(len(sorted))))].Microseconds())/1000)
}

// play sends calls at a fixed rate, whether or not those before are answered, and waits for all of them.
func (t *trial) play(ctx context.Context, rate float64, call func(ctx context.Context, n int) error) *times {
	out := &times{}
	var work sync.WaitGroup
	start := time.Now()
	for n := 0; ; n++ {
		due := time.Duration(float64(n) / rate * float64(time.Second))
		if due > t.time || !pause(ctx, time.Until(start.Add(due))) {
			break
		}
		work.Go(func() {
			limited, cancel := context.WithTimeout(ctx, callLimit)
			defer cancel()
			began := time.Now()
			err := call(limited, n)
			out.note(time.Since(began), err)
		})
	}
	work.Wait()
	return out
}

// openLoop finds out how many assessments a second two callers for each processor get, and then asks for parts and
// multiples of that, in distinct cards from many addresses.
func (t *trial) openLoop(ctx context.Context) error {
	const places = 200
	var callers []clients
	for n := range places {
		c, err := t.dial(fmt.Sprintf("127.1.%d.1", n))
		if err != nil {
			return err
		}
		defer c.conn.Close()
		callers = append(callers, c)
	}
	ask := func(ctx context.Context, n int) error {
		random := mathrand.New(mathrand.NewPCG(t.seed, uint64(n)))
		_, err := callers[n%places].diagnosis.Assess(ctx, t.card(random))
		return err
	}
	var work sync.WaitGroup
	var closed times
	until := time.Now().Add(t.time / 2)
	for worker := range 4 {
		work.Go(func() {
			for n := worker; time.Now().Before(until) && ctx.Err() == nil; n += 4 {
				limited, cancel := context.WithTimeout(ctx, callLimit)
				began := time.Now()
				err := ask(limited, 1_000_000+n)
				closed.note(time.Since(began), err)
				cancel()
			}
		})
	}
	work.Wait()
	capacity := float64(len(closed.took)) / (t.time / 2).Seconds()
	fmt.Fprintf(t.out, "capacity %.1f/s (four callers, each asking again when answered)\n", capacity)
	fmt.Fprintf(t.out, "%-8s %6s %9s %8s %8s %8s %8s %11s  %s\n", "rate/s", "sent", "answered", "p50 ms", "p99 ms",
		"max ms", "refused", "p99 refused", "failed")
	for i, part := range []float64{0.5, 1, 2, 4} {
		rate := max(1, capacity*part)
		got := t.play(ctx, rate, func(ctx context.Context, n int) error { return ask(ctx, i*100_000+n) })
		fmt.Fprintf(t.out, "%-8.1f %6d %9d %8s %8s %8s %8d %11s  %v\n", rate,
			len(got.took)+len(got.refused)+count(got.failed), len(got.took),
			at(got.took, .5), at(got.took, .99), at(got.took, 1), len(got.refused), at(got.refused, .99), got.failed)
	}
	return nil
}

func count(failed map[codes.Code]int) (n int) {
	for _, some := range failed {
		n += some
	}
	return n
}

// flood is a kind of call that one address makes as fast as it can.
type flood struct {
	name string
	// call makes one; release ends what it holds open.
	call act
}

// act makes a call, and returns what ends whatever it holds open.
type act func(ctx context.Context, c clients, random *mathrand.Rand) (release func(), err error)

// floods are all kinds. Each worker of a flood has a conversation.
func (t *trial) floods(id string) []flood {
	none := func() {}
	plain := func(call func(ctx context.Context, c clients, random *mathrand.Rand) error) func(context.Context, clients,
		*mathrand.Rand) (func(), error) {
		return func(ctx context.Context, c clients, random *mathrand.Rand) (func(), error) {
			return none, call(ctx, c, random)
		}
	}
	socket := func(origin string) func(context.Context, clients, *mathrand.Rand) (func(), error) {
		return func(ctx context.Context, _ clients, _ *mathrand.Rand) (func(), error) {
			home := from("127.0.0.2")
			dialer := websocket.Dialer{NetDialContext: home.DialContext}
			head := http.Header{}
			if origin != "" {
				head.Set("Origin", origin)
			}
			conn, _, err := dialer.DialContext(ctx, "ws://"+t.web+"/socket", head)
			if err != nil {
				return none, err
			}
			go drain(conn)
			return func() { conn.Close() }, nil
		}
	}
	card := func(state string) []*lightoffv1.Observation { return []*lightoffv1.Observation{unwell(state)} }
	return []flood{
		{"nothing", nil},
		{"Assess", plain(func(ctx context.Context, c clients, random *mathrand.Rand) error {
			_, err := c.diagnosis.Assess(ctx, t.card(random))
			return err
		})},
		{"Assess, safety card", plain(func(ctx context.Context, c clients, random *mathrand.Rand) error {
			req := &lightoffv1.AssessRequest{EurosPerMinute: random.Float64(), Observations: card("no")}
			_, err := c.diagnosis.Assess(ctx, req)
			return err
		})},
		{"Assess, in danger", plain(func(ctx context.Context, c clients, random *mathrand.Rand) error {
			req := &lightoffv1.AssessRequest{EurosPerMinute: random.Float64(), Observations: card("yes")}
			_, err := c.diagnosis.Assess(ctx, req)
			return err
		})},
		{"Open", plain(func(ctx context.Context, c clients, _ *mathrand.Rand) error {
			_, err := c.conversation.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
			return err
		})},
		{"Answer, safety card", plain(func(ctx context.Context, c clients, random *mathrand.Rand) error {
			state := []string{"no", "yes"}[random.IntN(2)]
			_, err := c.conversation.AnswerQuestions(ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, Observations: card(state)})
			return err
		})},
		{"Get, made-up languages", plain(func(ctx context.Context, c clients, random *mathrand.Rand) error {
			_, err := c.conversation.GetConversation(ctx,
				&lightoffv1.GetConversationRequest{Id: id, Locale: fmt.Sprintf("xx-%d", random.Int())})
			return err
		})},
		{"bad tokens", plain(func(ctx context.Context, c clients, _ *mathrand.Rand) error {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+rand.Text())
			_, err := c.conversation.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: id})
			return err
		})},
		{"streams", func(ctx context.Context, c clients, _ *mathrand.Rand) (func(), error) {
			ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
			stream, err := c.conversation.WatchConversation(ctx, &lightoffv1.WatchConversationRequest{Id: id})
			if err == nil {
				_, err = stream.Recv()
			}
			if err != nil {
				cancel()
			}
			return cancel, err
		}},
		{"connections", func(ctx context.Context, _ clients, _ *mathrand.Rand) (func(), error) {
			home := from("127.0.0.2")
			conn, err := home.DialContext(ctx, "tcp", t.grpc)
			if err != nil {
				return none, err
			}
			// RFC 9113, section 3.4: the preface, with an empty SETTINGS frame.
			_, err = conn.Write([]byte("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\x00\x00\x04\x00\x00\x00\x00\x00"))
			return func() { conn.Close() }, err
		}},
		{"sockets", socket("")},
		{"odd origins", socket("https://" + strings.Repeat("x", 14<<10) + ".example")},
	}
}

// unwell is the answer to the safety card's first question.
func unwell(state string) *lightoffv1.Observation {
	return &lightoffv1.Observation{Id: "people_unwell", Value: &lightoffv1.Observation_State{State: state}}
}

// maxHeld is the most that a flood holds open at the same time.
const maxHeld = 1500

// flooding lets one address make calls of a kind while another one goes on as usual, for each kind, and prints what
// both got.
func (t *trial) flooding(ctx context.Context) error {
	const workers = 64
	bad, err := t.dial("127.0.0.2")
	if err != nil {
		return err
	}
	defer bad.conn.Close()
	opened, err := bad.conversation.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "%-24s %9s %9s | %25s | %20s\n", "one address floods with", "done/s", "refused/s",
		"another's answer p50 p99", "its danger p50 p99")
	for i, kind := range t.floods(opened.GetConversation().GetId()) {
		flooding, stop := context.WithTimeout(ctx, t.time)
		var work sync.WaitGroup
		var done times
		held := make(chan func(), maxHeld)
		pace := rate.NewLimiter(rate.Inf, 1)
		if t.flood > 0 {
			pace = rate.NewLimiter(rate.Limit(t.flood), 1)
		}
		for worker := range workers {
			if kind.call == nil {
				break
			}
			work.Go(func() {
				random := mathrand.New(mathrand.NewPCG(t.seed, uint64(i*workers+worker)))
				for pace.Wait(flooding) == nil {
					release, err := kind.call(flooding, bad, random)
					done.note(0, err)
					select {
					case held <- release:
					default:
						release()
					}
				}
			})
		}
		answers, dangers, err := t.usual(flooding, fmt.Sprintf("127.0.3.%d", i+1), uint64(i))
		stop()
		work.Wait()
		close(held)
		for release := range held {
			release()
		}
		if err != nil {
			return fmt.Errorf("while there were floods of %s: %w", kind.name, err)
		}
		each := func(n int) string { return fmt.Sprintf("%.0f", float64(n)/t.time.Seconds()) }
		fmt.Fprintf(t.out, "%-24s %9s %9s | %12s %12s | %9s %10s %s\n", kind.name, each(len(done.took)),
			each(len(done.refused)+count(done.failed)),
			at(answers.took, .5), at(answers.took, .99), at(dangers.took, .5), at(dangers.took, .99), fails(answers, dangers))
		pause(ctx, min(time.Second, t.time))
	}
	return nil
}

func fails(of ...*times) string {
	out := ""
	for _, t := range of {
		if len(t.failed) > 0 || len(t.refused) > 0 {
			out += fmt.Sprintf(" refused %d, failed %v", len(t.refused), t.failed)
		}
	}
	return out
}

// usual plays one owner: answers with readings that nobody has told before, and now and then somebody is unwell.
func (t *trial) usual(ctx context.Context, address string, n uint64) (answers, dangers *times, err error) {
	answers, dangers = &times{}, &times{}
	c, err := t.dial(address)
	if err != nil {
		return nil, nil, err
	}
	defer c.conn.Close()
	calm, cancel := context.WithTimeout(context.WithoutCancel(ctx), callLimit)
	defer cancel()
	one, err := c.conversation.OpenConversation(calm, &lightoffv1.OpenConversationRequest{})
	if err != nil {
		return nil, nil, err
	}
	two, err := c.conversation.OpenConversation(calm, &lightoffv1.OpenConversationRequest{})
	if err != nil {
		return nil, nil, err
	}
	random := mathrand.New(mathrand.NewPCG(t.seed, 1<<32+n))
	timed := func(to *times, id string, told ...*lightoffv1.Observation) {
		limited, cancel := context.WithTimeout(context.WithoutCancel(ctx), callLimit)
		defer cancel()
		began := time.Now()
		_, err := c.conversation.AnswerQuestions(limited,
			&lightoffv1.AnswerQuestionsRequest{Id: id, Observations: told, ClientKey: rand.Text()})
		to.note(time.Since(began), err)
	}
	for ctx.Err() == nil {
		timed(answers, one.GetConversation().GetId(), t.card(random).GetObservations()[:1]...)
		pause(ctx, 100*time.Millisecond)
		in := two.GetConversation().GetId()
		timed(dangers, in, unwell("yes"))
		limited, cancel := context.WithTimeout(context.WithoutCancel(ctx), callLimit)
		// Something else is told meanwhile, so that none of it is known already.
		other := t.card(random).GetObservations()[:1]
		_, _ = c.conversation.AnswerQuestions(limited, &lightoffv1.AnswerQuestionsRequest{Id: in, Observations: other})
		_, _ = c.conversation.RetractAnswer(limited, &lightoffv1.RetractAnswerRequest{Id: in, ObservationId: "people_unwell"})
		cancel()
		pause(ctx, 100*time.Millisecond)
	}
	return answers, dangers, nil
}
