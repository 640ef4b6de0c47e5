package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/grpc"

	"lightoff/engine/diagnosis"
	"lightoff/engine/judge"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// demo fills the service with invented callers whose heaters are simulated. Each tells what it is asked, at a person's
// pace, until somebody else answers in its conversation, and so has taken it over, or nothing is left to ask.
type demo struct {
	conn    grpc.ClientConnInterface
	model   *knowledge.Model
	out     io.Writer
	url     string
	callers int
	seed    uint64
	pace    time.Duration
}

// names are invented.
var names = []string{"Wanda in the grey van", "Piet on the boat Amsel", "Old Tom's workshop", "Ilse in the lorry", "the Marsh Lane shed", "Noor with the portable box"}

// run opens the conversations, prints where to watch them, and answers until the context ends.
func (d *demo) run(ctx context.Context) error {
	client := lightoffv1.NewConversationServiceClient(d.conn)
	type open struct {
		caller *judge.Caller
		id     string
		last   int64
		next   []string
	}
	var calls []*open
	fmt.Fprintln(d.out, "Invented callers with simulated heaters. Open one to watch; answer a question yourself to take it over:")
	for i := range d.callers {
		caller := judge.NewCaller(d.model, d.seed, uint64(i))
		reply, err := client.Open(ctx, &lightoffv1.OpenRequest{Tools: caller.Tools})
		if err != nil {
			return fmt.Errorf("open a caller's conversation: %w", err)
		}
		c := reply.GetConversation()
		calls = append(calls, &open{caller, c.GetId(), c.GetLastEvent(), asked(c)})
		fmt.Fprintf(d.out, "  %s: %sc/%s\n", names[i%len(names)], d.url, c.GetId())
	}
	turn := time.NewTicker(d.pace)
	defer turn.Stop()
	for i := 0; len(calls) > 0; i++ {
		select {
		case <-ctx.Done():
			return nil
		case <-turn.C:
		}
		at := i % len(calls)
		call := calls[at]
		now, err := client.Get(ctx, &lightoffv1.GetRequest{Id: call.id})
		if err != nil || now.GetConversation().GetLastEvent() != call.last || len(call.next) == 0 {
			calls = append(calls[:at:at], calls[at+1:]...) // taken over, or at its end
			continue
		}
		reply, err := client.Answer(ctx, answers(call.caller, call.id, call.last, call.next))
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("answer as a caller: %w", err)
		}
		call.last, call.next = reply.GetConversation().GetLastEvent(), asked(reply.GetConversation())
	}
	return nil
}

func asked(c *lightoffv1.Conversation) (ids []string) {
	for _, info := range c.GetNext() {
		ids = append(ids, info.GetId())
	}
	return ids
}

func answers(caller *judge.Caller, id string, last int64, ids []string) *lightoffv1.AnswerRequest {
	request := &lightoffv1.AnswerRequest{Id: id, ClientKey: fmt.Sprintf("demo-%d-%s", last, strings.Join(ids, "-"))}
	for _, ask := range ids {
		o := &lightoffv1.Observation{Id: ask}
		switch a := caller.Answer(ask); a.Kind {
		case diagnosis.StateValue:
			o.Value = &lightoffv1.Observation_State{State: a.State}
		case diagnosis.NumberValue:
			o.Value = &lightoffv1.Observation_Number{Number: a.Number}
		default:
			o.Value = &lightoffv1.Observation_Unknown{Unknown: true}
		}
		request.Observations = append(request.Observations, o)
	}
	return request
}
