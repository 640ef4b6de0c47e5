package api

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store/pgtest"
)

// TestTwoServersOnOneDatabase watches on one what is said on the other, and on both, also after the database was gone.
func TestTwoServersOnOneDatabase(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	database, place := pgtest.New(t)
	one, two := startAt(t, m, place, Options{}), startAt(t, m, place, Options{})
	id := one.open(t)
	var streams []grpc.ServerStreamingClient[lightoffv1.WatchConversationResponse]
	for _, r := range []*running{one, two} {
		stream := r.watch(t, id, 1)
		_, err := stream.Header()
		require.NoError(t, err)
		streams = append(streams, stream)
	}
	for n, said := range []*running{one, two, one} {
		c := said.answer(t, id, number("age", float64(n)))
		for _, stream := range streams {
			seen := next(t, stream)
			assert.True(t, proto.Equal(c, seen), "event %d and %d", c.LastEvent, seen.LastEvent)
		}
	}

	database.Stop()
	request := &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "during",
		Observations: observations{state("lamp", "on")}}
	_, err = one.AnswerQuestions(one.ctx, request)
	require.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
	health := func(want healthv1.HealthCheckResponse_ServingStatus) {
		assert.Eventually(t, func() bool {
			answer, err := healthv1.NewHealthClient(one.conn).Check(one.ctx, &healthv1.HealthCheckRequest{})
			return err == nil && answer.Status == want &&
				one.server.Ready(one.ctx) == (want == healthv1.HealthCheckResponse_SERVING)
		}, patience, 50*time.Millisecond, "%v", want)
	}
	health(healthv1.HealthCheckResponse_NOT_SERVING)
	require.NoError(t, database.Start())
	var c *lightoffv1.Conversation
	require.Eventually(t, func() bool {
		answer, err := one.AnswerQuestions(one.ctx, request)
		c = answer.GetConversation()
		return err == nil
	}, patience, 50*time.Millisecond)
	assert.Equal(t, int64(5), c.LastEvent, "asked twice, kept once")
	for _, stream := range streams {
		assert.Equal(t, int64(5), next(t, stream).LastEvent)
	}
	health(healthv1.HealthCheckResponse_SERVING)

	_, err = two.DeleteConversation(two.ctx, &lightoffv1.DeleteConversationRequest{Id: id})
	require.NoError(t, err)
	for i, r := range []*running{one, two} {
		_, err = streams[i].Recv()
		assert.Equal(t, codes.NotFound, status.Code(err), "%v", err)
		_, err = r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
		assert.Equal(t, codes.NotFound, status.Code(err))
		assert.NotContains(t, r.log.String(), id, "a conversation's key is not logged")
	}
}

func TestDelete(t *testing.T) {
	r := start(t)
	id := r.open(t)
	stream := r.watch(t, id, 1)
	_, err := stream.Header()
	require.NoError(t, err)
	_, err = r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{Id: id})
	require.NoError(t, err)
	_, err = stream.Recv()
	assert.Equal(t, codes.NotFound, status.Code(err), "%v", err)
	for _, id := range []string{id, "NOBODY", "nobody\x00"} {
		_, err = r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{Id: id})
		assert.Equal(t, codes.NotFound, status.Code(err), id)
	}
	_, err = r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{})
	assert.Equal(t, []string{"id"}, fields(t, err))
}

// TestNothingPersonalIsLogged says odd words in every way and looks for them, and for the key, at the lowest level.
func TestNothingPersonalIsLogged(t *testing.T) {
	r := start(t)
	r.level.Set(slog.LevelDebug)
	const odd = "Zwetschgenmus"
	id := r.open(t)
	calls := []func() error{
		func() error {
			_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: odd, ClientKey: odd})
			return err
		},
		func() error {
			_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: odd, AskedId: odd})
			return err
		},
		func() error {
			_, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: odd})
			return err
		},
		func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
				Observations: observations{state("lamp", odd), state(odd, "on")}})
			return err
		},
		func() error {
			_, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: odd, Locale: odd})
			return err
		},
		func() error {
			_, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id, Tools: []string{odd}})
			return err
		},
	}
	for _, call := range calls {
		_ = call()
	}
	r.broken = true
	require.NoError(t, r.store.Close())
	for _, call := range calls {
		_ = call() // these now fail inside, and are logged
	}
	assert.NotEmpty(t, r.log.String())
	for _, word := range []string{odd, strings.ToLower(odd), id} {
		assert.NotContains(t, r.log.String(), word)
	}
}

// TestDeskOnTwoServers: a desk at one server sees what a caller tells another.
func TestDeskOnTwoServers(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	_, place := pgtest.New(t)
	one, two := startAt(t, m, place, Options{}), startAt(t, m, place, Options{})
	desk, ctx := two.atDesk(t, "Ines")
	stream, err := desk.WatchConversations(ctx, &lightoffv1.WatchConversationsRequest{})
	require.NoError(t, err)
	_, err = stream.Recv()
	require.NoError(t, err)
	one.answer(t, one.open(t), live()...)
	for told := false; !told; {
		list, err := stream.Recv()
		require.NoError(t, err)
		told = len(list.Entries) == 1 && len(list.Entries[0].Dangers) == 1
	}
}
