package api

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

type closingsClient = grpc.ServerStreamingClient[lightoffv1.WatchClosingsResponse]

func watchClosings(ctx context.Context, t *testing.T, desk lightoffv1.DeskServiceClient,
	since time.Time) closingsClient {
	req := &lightoffv1.WatchClosingsRequest{Locale: "en"}
	if !since.IsZero() {
		req.Since = timestamppb.New(since)
	}
	stream, err := desk.WatchClosings(ctx, req)
	require.NoError(t, err)
	return stream
}

func received(t *testing.T, stream closingsClient) *lightoffv1.WatchClosingsResponse {
	c, err := stream.Recv()
	require.NoError(t, err)
	return c
}

// Another system hears of every closing, under an id by which it knows what it has dealt with, and goes on where it
// was.
func TestClosingsForTickets(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	closeAs := func(id string, c *lightoffv1.Closing) {
		_, err := desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id, Closing: c})
		require.NoError(t, err)
	}
	settled := &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_SETTLED, CauseIds: []string{"scaled_up"},
		FoundBy: 2, Surety: 2,
		Remark: "scale of a thumb"}
	first, second := r.open(t), r.open(t)
	r.answer(t, first, state("fault_code", "heat"))
	_, err := desk.SetTicket(ctx, &lightoffv1.SetTicketRequest{Id: first, Ticket: "HD-2217"})
	require.NoError(t, err)
	closeAs(first, settled)

	stream := watchClosings(ctx, t, desk, time.Now().Add(-time.Hour))
	one := received(t, stream)
	assert.Equal(t, "HD-2217", one.Ticket)
	assert.Equal(t, "Ines", one.ClosedBy)
	assert.Equal(t, first, r.keyOf(t, one.ConversationId))
	assert.False(t, strings.Contains(one.String(), first), "the key itself is not handed out")
	assert.Equal(t, "scale of a thumb", one.Closing.Remark)
	require.Len(t, one.Causes, 1)
	assert.NotEqual(t, "scaled_up", one.Causes[0])
	assert.Len(t, one.ClosingId, 32)

	closeAs(second, &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_WORKSHOP})
	two := received(t, stream)
	assert.Equal(t, second, r.keyOf(t, two.ConversationId), "what is closed while it watches, and nothing twice")
	assert.Empty(t, two.Causes)
	r.answer(t, second, state("fault_code", "heat")) // its owner goes on
	closeAs(second, &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_NOT_REACHED})
	again := received(t, stream)
	assert.Equal(t, lightoffv1.Outcome_OUTCOME_NOT_REACHED, again.Closing.Outcome)
	assert.NotEqual(t, two.ClosingId, again.ClosingId)

	// Another desk, later, which had dealt with the first: what lies within the minute before comes once more, under its
	// id.
	other, otherCtx := r.atDesk(t, "Bo")
	resumed := watchClosings(otherCtx, t, other, one.ClosedAt.AsTime())
	for _, want := range []*lightoffv1.WatchClosingsResponse{one, two, again} {
		got := received(t, resumed)
		assert.Equal(t, want.ClosingId, got.ClosingId)
		assert.NotEqual(t, want.ConversationId, got.ConversationId, "a handle is one desk's own")
	}

	// A key that was changed changes no id.
	changed, err := r.ChangeKey(r.ctx, &lightoffv1.ChangeKeyRequest{Id: first, ClientKey: strings.Repeat("k", 32)})
	require.NoError(t, err)
	moved := received(t, watchClosings(otherCtx, t, other, one.ClosedAt.AsTime()))
	assert.Equal(t, one.ClosingId, moved.ClosingId)
	assert.Equal(t, changed.Id, r.keyOf(t, moved.ConversationId))
}

// Without a time it is what is closed from now on; a time to come, or none that can be, is refused.
func TestClosingsFromWhen(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	for _, since := range []*timestamppb.Timestamp{timestamppb.New(time.Now().Add(time.Hour)), {Nanos: -1}} {
		stream, err := desk.WatchClosings(ctx, &lightoffv1.WatchClosingsRequest{Since: since})
		require.NoError(t, err)
		_, err = stream.Recv()
		assert.Equal(t, []string{"since"}, fields(t, err))
	}
	closing := &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_OTHER_APPLIANCE}
	before, after := r.open(t), r.open(t)
	_, err := desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: before, Closing: closing})
	require.NoError(t, err)
	stream := watchClosings(ctx, t, desk, time.Time{})
	_, err = stream.Header()
	require.NoError(t, err)
	_, err = desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: after, Closing: closing})
	require.NoError(t, err)
	assert.Equal(t, after, r.keyOf(t, received(t, stream).ConversationId))
}

// A reader who came back after long, and for whom there is nothing, reads the old part of the log once and not at every
// change.
func TestClosingsReadOn(t *testing.T) {
	r := start(t)
	client, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	_, err := client.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id,
		Closing: &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_WORKSHOP}})
	require.NoError(t, err)
	var sent []*lightoffv1.WatchClosingsResponse
	began := time.Now()
	c := closings{desk: &desk{conversations: r.server.conversations}, locale: "en", sent: map[string]time.Time{},
		latest: began.AddDate(0, -1, 0), send: func(answer *lightoffv1.WatchClosingsResponse) error {
			sent = append(sent, answer)
			return nil
		}}
	for range 2 {
		require.NoError(t, c.catchUp(t.Context()))
		assert.Len(t, sent, 1, "once")
		assert.False(t, c.latest.Before(began))
	}
}
