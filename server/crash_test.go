package main

import (
	"context"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
	"lightoff/server/store/pgtest"
)

// whole checks that a store's logs have no gap.
func whole(t *testing.T, place string) {
	t.Helper()
	s, err := store.Open(t.Context(), place)
	require.NoError(t, err)
	assert.NoError(t, s.Check(t.Context()))
	assert.NoError(t, s.Close())
}

// TestKilledUnderLoad kills the server at random moments while callers answer as fast as they can, over gRPC and over
// sockets, and starts it again: every answer that was acknowledged is there, once, and no number is missing.
func TestKilledUnderLoad(t *testing.T) { onBoth(t, checkKilledUnderLoad) }

func checkKilledUnderLoad(t *testing.T, place string) {
	grpc, web := free(t), free(t)
	random := rand.New(rand.NewPCG(7, 7))
	server := startProcess(t, grpc, web, placeArgs(place)...)
	answers := 0
	for round := range rounds(5) {
		p := &player{callers: 8, time: time.Minute, seed: uint64(round), dial: server.dialers()}
		ctx, stop := context.WithCancel(t.Context())
		played := make(chan struct{})
		go func() { p.play(ctx); close(played) }()
		time.Sleep(time.Duration(20+random.IntN(300)) * time.Millisecond)
		server.kill()
		stop()
		<-played
		answers += p.answers
		server = startProcess(t, grpc, web, placeArgs(place)...)
		require.Empty(t, p.verify(t.Context(), server.dialers()[round%2]), "round %d", round)
	}
	assert.Positive(t, answers)
	t.Logf("%d answers acknowledged", answers)
	server.kill()
	whole(t, place)
}

// TestDatabaseStoppedUnderLoad stops PostgreSQL under a server's feet, without a clean shutdown, and starts it again.
// Callers who were told to ask again do so, and nothing is lost or kept twice.
func TestDatabaseStoppedUnderLoad(t *testing.T) {
	database, place := pgtest.New(t)
	server := startProcess(t, free(t), free(t), placeArgs(place)...)
	p := &player{callers: 8, time: maxTime, dial: server.dialers()}
	ctx, stop := context.WithCancel(t.Context())
	played := make(chan struct{})
	go func() { p.play(ctx); close(played) }()
	for range rounds(2) {
		time.Sleep(300 * time.Millisecond)
		database.Stop()
		time.Sleep(100 * time.Millisecond)
		require.NoError(t, database.Start())
	}
	p.mu.Lock()
	before := p.answers
	p.mu.Unlock()
	assert.Eventually(t, func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		return p.answers > before+20
	}, patience, 20*time.Millisecond, "it goes on by itself")
	stop()
	<-played
	for code := range p.errors {
		assert.Contains(t, []string{"Unavailable", "DeadlineExceeded", "Canceled"}, code, "%v", p.errors)
	}
	assert.Empty(t, p.verify(t.Context(), server.dialers()[0]))
	server.kill()
	whole(t, place)
}

// cutter passes connections on and cuts each after so many bytes of answer.
type cutter struct {
	net.Listener
	to string

	mu    sync.Mutex
	after int64
}

func newCutter(t *testing.T, to string) *cutter {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	c := &cutter{Listener: l, to: to}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go c.pass(conn)
		}
	}()
	return c
}

func (c *cutter) pass(conn net.Conn) {
	defer conn.Close()
	onward, err := net.Dial("tcp", c.to)
	if err != nil {
		return
	}
	defer onward.Close()
	c.mu.Lock()
	after := c.after
	c.mu.Unlock()
	go func() { _, _ = io.Copy(onward, conn) }()
	_, _ = io.CopyN(conn, onward, after)
}

// TestConnectionCutInEachCall cuts the connection at several places of every call's answer, then sends the call again
// over a whole one: it counts once.
func TestConnectionCutInEachCall(t *testing.T) {
	p := opened(t, newProgram(t.TempDir()))
	cut := newCutter(t, p.GRPCAddress())
	sound := lightoffv1.NewConversationServiceClient(dial(t, p))
	type client = lightoffv1.ConversationServiceClient
	const key = "the same"
	calls := map[string]func(context.Context, client, string) error{
		"Get": func(ctx context.Context, c client, id string) error {
			_, err := c.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: id})
			return err
		},
		"Say": func(ctx context.Context, c client, id string) error {
			_, err := c.SayText(ctx, &lightoffv1.SayTextRequest{Id: id, Text: "thick crust", ClientKey: key})
			return err
		},
		"Answer": func(ctx context.Context, c client, id string) error {
			_, err := c.AnswerQuestions(ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, SkippedIds: []string{"deposit"},
				ClientKey: key})
			return err
		},
		"Retract": func(ctx context.Context, c client, id string) error {
			_, err := c.RetractAnswer(ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "lamp", ClientKey: key})
			return err
		},
		"SetTools": func(ctx context.Context, c client, id string) error {
			_, err := c.SetTools(ctx, &lightoffv1.SetToolsRequest{Id: id, Tools: []string{"multimeter"}, ClientKey: key})
			return err
		},
		"Watch": func(ctx context.Context, c client, id string) error {
			stream, err := c.WatchConversation(ctx, &lightoffv1.WatchConversationRequest{Id: id})
			if err == nil {
				_, err = stream.Recv()
			}
			return err
		},
		"Delete": func(ctx context.Context, c client, id string) error {
			_, err := c.DeleteConversation(ctx, &lightoffv1.DeleteConversationRequest{Id: id})
			return err
		},
		"Open": func(ctx context.Context, c client, _ string) error {
			_, err := c.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
			return err
		},
	}
	for name, call := range calls {
		for _, after := range []int64{0, 40, 90, 200, 700} {
			open, err := sound.OpenConversation(t.Context(), &lightoffv1.OpenConversationRequest{})
			require.NoError(t, err)
			id := open.Conversation.Id
			_, err = sound.AnswerQuestions(t.Context(), &lightoffv1.AnswerQuestionsRequest{Id: id,
				Observations: []*lightoffv1.Observation{{Id: "lamp", Value: &lightoffv1.Observation_State{State: "on"}}}})
			require.NoError(t, err)
			cut.mu.Lock()
			cut.after = after
			cut.mu.Unlock()
			conn, err := dialRPC(cut.Addr().String())
			require.NoError(t, err)
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			if err := call(ctx, conn.(*rpcLine).client, id); err != nil {
				assert.Contains(t, []codes.Code{codes.Unavailable, codes.Internal}, status.Code(err), "%s after %d: %v", name,
					after, err)
			}
			conn.close()
			err = call(ctx, sound, id)
			cancel()
			now, getErr := sound.GetConversation(t.Context(), &lightoffv1.GetConversationRequest{Id: id})
			if name == "Delete" {
				assert.Equal(t, codes.NotFound, status.Code(getErr), "gone, whichever of the two did it: %v", err)
				continue
			}
			require.NoError(t, err, "%s after %d", name, after)
			require.NoError(t, getErr)
			want := int64(3)
			if name == "Get" || name == "Watch" || name == "Open" {
				want = 2
			}
			assert.Equal(t, want, now.Conversation.LastEvent, "%s after %d", name, after)
		}
	}
}
