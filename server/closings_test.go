package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/types/known/timestamppb"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/api"
)

// TestClosingsOutliveKills kills the server at random moments while a desk closes conversations and another system
// follows, going on each time where it was: every closing that was acknowledged arrives, and each under one id.
func TestClosingsOutliveKills(t *testing.T) { onBoth(t, checkClosingsOutliveKills) }

func checkClosingsOutliveKills(t *testing.T, place string) {
	args := placeArgs(place)
	made := run(t, "", append([]string{"token", "make", "-scope", "desk", "-name", "tickets"}, args...)...)
	require.Equal(t, exitDone, made.code, made.err)
	token := strings.TrimSpace(made.out)
	address := free(t)
	random := rand.New(rand.NewPCG(11, 11))
	closed := map[string]bool{}                    // tickets, as acknowledged
	told := map[string]string{}                    // ids of closings by ticket, as the other system keeps them
	since := timestamppb.New(time.Now().Add(-1e9)) // and how far it has come
	tickets := 0
	for range rounds(5) {
		server := startProcess(t, address, free(t), args...)
		ctx, stop := context.WithCancel(api.WithBearerToken(t.Context(), token))
		conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(t, err)
		var both sync.WaitGroup
		both.Go(func() {
			for ctx.Err() == nil {
				tickets++
				if ticket := fmt.Sprint("T-", tickets); closeOne(ctx, conn, ticket) == nil {
					closed[ticket] = true
				}
			}
		})
		both.Go(func() { since, err = followClosings(ctx, conn, since, told, nil) })
		time.Sleep(time.Duration(300+random.IntN(1500)) * time.Millisecond)
		server.kill()
		stop()
		both.Wait()
		require.NoError(t, err)
		require.NoError(t, conn.Close())
	}
	require.NotEmpty(t, closed)
	server := startProcess(t, address, free(t), args...)
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer conn.Close()
	ctx, cancel := context.WithTimeout(api.WithBearerToken(t.Context(), token), patience)
	defer cancel()
	missing := func() (some []string) {
		for ticket := range closed {
			if told[ticket] == "" {
				some = append(some, ticket)
			}
		}
		return some
	}
	_, err = followClosings(ctx, conn, since, told, func() bool { return len(missing()) == 0 })
	require.NoError(t, err)
	assert.Empty(t, missing(), "acknowledged and never told")
	t.Logf("%d closings acknowledged", len(closed))
	server.kill()
	whole(t, place)
}

// closeOne opens a conversation and closes it under a ticket.
func closeOne(ctx context.Context, conn *grpc.ClientConn, ticket string) error {
	desk := lightoffv1.NewDeskServiceClient(conn)
	opened, err := lightoffv1.NewConversationServiceClient(conn).OpenConversation(ctx,
		&lightoffv1.OpenConversationRequest{})
	if err != nil {
		return err
	}
	id := opened.GetConversation().GetId()
	if _, err = desk.SetTicket(ctx, &lightoffv1.SetTicketRequest{Id: id, Ticket: ticket}); err != nil {
		return err
	}
	_, err = desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id,
		Closing: &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_WORKSHOP}})
	return err
}

// followClosings takes closings until the stream breaks or it has enough, and returns from when to go on. The error is
// of a ticket that came under two ids.
func followClosings(ctx context.Context, conn *grpc.ClientConn, since *timestamppb.Timestamp, told map[string]string,
	enough func() bool) (*timestamppb.Timestamp, error) {
	stream, err := lightoffv1.NewDeskServiceClient(conn).WatchClosings(ctx, &lightoffv1.WatchClosingsRequest{Since: since})
	for err == nil && (enough == nil || !enough()) {
		var c *lightoffv1.WatchClosingsResponse
		if c, err = stream.Recv(); err != nil {
			break
		}
		if known := told[c.GetTicket()]; known != "" && known != c.GetClosingId() {
			return since, errors.New(c.GetTicket() + " came under two ids")
		}
		told[c.GetTicket()] = c.GetClosingId()
		since = c.GetClosedAt()
	}
	if enough != nil && err != nil && !errors.Is(err, io.EOF) {
		return since, fmt.Errorf("the last time, it breaks before all has come: %w", err)
	}
	return since, nil
}
