package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"lightoff/engine/diagnosis"
	"lightoff/engine/judge"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// demo fills the service with invented callers whose heaters are simulated. Each tells what it is asked, at a person's
// pace, makes the repairs, tries the starts and says what it was, until somebody else answers in its conversation, and
// so has taken it over, or nothing is left to do.
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
var names = []string{"Wanda in the grey van", "Piet on the boat Amsel", "Old Tom's workshop", "Ilse in the lorry",
	"the Marsh Lane shed", "Noor with the portable box"}

// demoCall is a caller's conversation as it was left.
type demoCall struct {
	caller *judge.Caller
	last   *lightoffv1.Conversation
}

// run opens the conversations, prints where to watch them, and answers until the context ends.
func (d *demo) run(ctx context.Context) error {
	client := lightoffv1.NewConversationServiceClient(d.conn)
	var calls []*demoCall
	fmt.Fprintln(d.out, "Invented callers with simulated heaters. Open one to watch; answer a question yourself to take "+
		"it over:")
	for i := range d.callers {
		caller := judge.NewCaller(d.model, d.seed, uint64(i))
		reply, err := client.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{Tools: caller.Tools})
		if err != nil {
			return fmt.Errorf("open a caller's conversation: %w", err)
		}
		calls = append(calls, &demoCall{caller, reply.GetConversation()})
		fmt.Fprintf(d.out, "  %s: %sc/%s\n", names[i%len(names)], d.url, reply.GetConversation().GetId())
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
		now, err := client.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: call.last.GetId()})
		if err == nil && now.GetConversation().GetLastEvent() == call.last.GetLastEvent() {
			before := call.last
			call.last, err = d.turn(ctx, client, call)
			if status.Code(err) == codes.ResourceExhausted {
				call.last, err = before, nil // the next turn tries again
			}
			if err != nil && ctx.Err() == nil {
				return fmt.Errorf("answer as a caller: %w", err)
			}
		} else {
			call.last = nil // taken over
		}
		if call.last == nil {
			calls = append(calls[:at:at], calls[at+1:]...)
		}
	}
	return nil
}

// demoRepairs is how many repairs a caller makes before giving up.
const demoRepairs = 4

// turn does what the conversation asks for next: answers, makes a repair, tries a start, or says what it was. It
// returns nil where nothing is left to do.
func (d *demo) turn(ctx context.Context, client lightoffv1.ConversationServiceClient,
	call *demoCall) (*lightoffv1.Conversation, error) {
	c := call.last
	key := fmt.Sprintf("demo-%d", c.GetLastEvent())
	mended := c.GetRecovery().GetRepairs()
	switch {
	case c.GetClosed():
		return nil, nil
	case c.GetAssessment().GetPending():
		reply, err := client.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: c.GetId()})
		return reply.GetConversation(), err
	case c.GetRecovery().GetRan():
		reply, err := client.SettleConversation(ctx, &lightoffv1.SettleConversationRequest{Id: c.GetId(),
			CauseIds: call.caller.Found(repairIDs(mended)), FoundBy: lightoffv1.Finder_FINDER_OWNER,
			Surety: lightoffv1.Surety_SURETY_PROVED, ClientKey: key})
		return reply.GetConversation(), err
	case c.GetRecovery().GetStage() == lightoffv1.Stage_STAGE_START:
		ran := call.caller.Runs(repairIDs(mended))
		reply, err := client.ReportStart(ctx, &lightoffv1.ReportStartRequest{Id: c.GetId(), Ran: &ran, ClientKey: key})
		return reply.GetConversation(), err
	case len(c.GetNext()) > 0:
		reply, err := client.AnswerQuestions(ctx, answers(call.caller, c.GetId(), key, asked(c)))
		return reply.GetConversation(), err
	case c.GetNextRepairId() != "" && len(mended) < demoRepairs:
		reply, err := client.ReportRepair(ctx, &lightoffv1.ReportRepairRequest{Id: c.GetId(), RepairId: c.GetNextRepairId(),
			ClientKey: key})
		return reply.GetConversation(), err
	}
	return nil, nil
}

func repairIDs(done []*lightoffv1.DoneRepair) (ids []string) {
	for _, r := range done {
		ids = append(ids, r.GetRepairId())
	}
	return ids
}

func asked(c *lightoffv1.Conversation) (ids []string) {
	for _, info := range c.GetNext() {
		ids = append(ids, info.GetId())
	}
	return ids
}

func answers(caller *judge.Caller, id, key string, ids []string) *lightoffv1.AnswerQuestionsRequest {
	request := &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: key}
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
