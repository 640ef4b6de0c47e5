package lightoffv1_test

import (
	"context"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// Ask a server on this machine. INTEGRATING.md says what else a program should know.
func ExampleDiagnosisServiceClient() {
	conn, err := grpc.NewClient("127.0.0.1:7430", grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = conn.Close() }()
	answer, err := lightoffv1.NewDiagnosisServiceClient(conn).Assess(context.Background(), &lightoffv1.AssessRequest{
		Observations: []*lightoffv1.Observation{
			{Id: "fault_code", Value: &lightoffv1.Observation_State{State: "E-08"}},
			{Id: "bubbles", Value: &lightoffv1.Observation_State{State: "many"}},
		},
	})
	if err != nil {
		fmt.Println(err) // its google.rpc.ErrorInfo says why
		return
	}
	for _, danger := range answer.GetDangers() {
		fmt.Println(danger.GetText())
	}
	for _, cause := range answer.GetCauses()[:3] {
		fmt.Printf("%s %.2f\n", cause.GetTitle(), cause.GetProbability())
	}
}
