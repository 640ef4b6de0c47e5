package api_test

import (
	"context"
	"fmt"
	"log"
	"log/slog"
	"net"
	"os"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/api"
	"lightoff/server/store"
)

// Serve the heater's model on this machine and ask it, as any program with the generated client does. Dangers come
// first.
func Example() {
	address, _, stop := serving()
	defer stop()

	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		log.Fatal(err)
	}
	defer conn.Close()
	answer, err := lightoffv1.NewDiagnosisServiceClient(conn).Assess(context.Background(), &lightoffv1.AssessRequest{
		Observations: []*lightoffv1.Observation{
			{Id: "fault_code", Value: &lightoffv1.Observation_State{State: "E-08"}},
			{Id: "line_type", Value: &lightoffv1.Observation_State{State: "soft"}},
			{Id: "bubbles", Value: &lightoffv1.Observation_State{State: "many"}},
		},
	})
	if err != nil {
		log.Fatal(err) // its google.rpc.ErrorInfo says why
	}
	for _, danger := range answer.GetDangers() {
		fmt.Println(danger.GetText())
	}
	fmt.Println(answer.GetCauses()[0].GetTitle())
	// Output: Soft hose gathers air
}

// Follow how a desk's calls end, for another system's tickets. What was dealt with is known by its id, and where to go
// on by its time; both are the reader's to keep.
func Example_closings() {
	address, desk, stop := serving()
	defer stop()

	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		log.Fatal(err)
	}
	defer conn.Close()
	ctx, cancel := context.WithTimeout(api.WithBearerToken(context.Background(), desk), time.Minute)
	defer cancel()

	client := lightoffv1.NewDeskServiceClient(conn)
	closings, err := client.WatchClosings(ctx, &lightoffv1.WatchClosingsRequest{Since: timestamppb.New(time.Now())})
	if err != nil {
		log.Fatal(err)
	}
	call, err := lightoffv1.NewConversationServiceClient(conn).OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
	if err != nil {
		log.Fatal(err)
	}
	if _, err = client.SetTicket(ctx, &lightoffv1.SetTicketRequest{Id: call.GetConversation().GetId(),
		Ticket: "HD-2217"}); err != nil {
		log.Fatal(err)
	}
	if _, err = client.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: call.GetConversation().GetId(),
		Closing: &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_WORKSHOP}}); err != nil {
		log.Fatal(err)
	}

	done := map[string]bool{} // kept on disk, together with the time
	closing, err := closings.Recv()
	if err != nil {
		log.Fatal(err) // come back, with the time of the last one
	}
	if !done[closing.GetClosingId()] {
		fmt.Println(closing.GetTicket(), closing.GetClosing().GetOutcome())
		done[closing.GetClosingId()] = true
	}
	// Output: HD-2217 OUTCOME_WORKSHOP
}

// serving is a server on a free port of this machine, with a desk's token.
func serving() (address, desk string, stop func()) {
	model, err := heater.Model()
	if err != nil {
		log.Fatal(err)
	}
	folder, err := os.MkdirTemp("", "lightoff")
	if err != nil {
		log.Fatal(err)
	}
	events, err := store.Open(context.Background(), folder)
	if err != nil {
		log.Fatal(err)
	}
	if desk, _, err = events.MakeToken(context.Background(), "tickets", store.Desk, time.Hour); err != nil {
		log.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		log.Fatal(err)
	}
	server := api.New(model, events, slog.New(slog.DiscardHandler), api.Options{})
	go func() { _ = server.Serve(listener) }()
	return listener.Addr().String(), desk, func() {
		server.Close(context.Background())
		_ = events.Close()
		_ = os.RemoveAll(folder)
	}
}
