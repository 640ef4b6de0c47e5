package api

import (
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// checkBackAfter is how long after a case was settled somebody asks whether the repair has held: long enough for a fault that
// comes and goes to come again, and short enough for the owner to know what was done. Common practice, no source.
const checkBackAfter = 4 * week

var (
	stages = map[diagnosis.Stage]lightoffv1.Stage{
		diagnosis.Searching: lightoffv1.Stage_STAGE_UNSPECIFIED, diagnosis.Starting: lightoffv1.Stage_STAGE_START,
		diagnosis.Doubtful: lightoffv1.Stage_STAGE_DOUBTFUL, diagnosis.Well: lightoffv1.Stage_STAGE_WELL,
	}
	holdings = map[lightoffv1.Holding]diagnosis.Held{
		lightoffv1.Holding_HOLDING_WELL: diagnosis.HeldWell, lightoffv1.Holding_HOLDING_CAME_BACK: diagnosis.CameBack,
		lightoffv1.Holding_HOLDING_OTHER: diagnosis.OtherFault, lightoffv1.Holding_HOLDING_UNKNOWN: diagnosis.NotKnown,
	}
)

// Mend implements the RPC.
func (c *conversations) ReportRepair(ctx context.Context, req *lightoffv1.ReportRepairRequest) (*lightoffv1.ReportRepairResponse, error) {
	var v violations
	v.keys(req)
	v.name("repair_id", req.GetRepairId())
	if !c.hasRepair(req.GetRepairId()) {
		v.add("repair_id", "no repair is called %q", clip(req.GetRepairId()))
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		e := diagnosis.Event{Kind: diagnosis.Mended, RepairID: req.GetRepairId()}
		if req.GetTakeBack() {
			done := func(d diagnosis.Done) bool { return d.RepairID == req.GetRepairId() }
			if e.Kind = diagnosis.Unmended; !slices.ContainsFunc(log.state().Mended, done) {
				return e, errNotTold
			}
		}
		return e, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReportRepairResponse{Conversation: shown}, nil
}

// ReportStart implements the RPC.
func (c *conversations) ReportStart(ctx context.Context, req *lightoffv1.ReportStartRequest) (*lightoffv1.ReportStartResponse, error) {
	var v violations
	v.keys(req)
	if req.Ran == nil {
		v.add("ran", "is missing: say whether it ran")
	}
	started := diagnosis.Event{Kind: diagnosis.Started, Ran: req.GetRan(), Observations: v.observations("observations", req.GetObservations())}
	if err := v.err(); err != nil {
		return nil, err
	}
	if err := c.engine.Check(diagnosis.Request{Observations: started.Observations}); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		return started, log.fits(started)
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReportStartResponse{Conversation: shown}, nil
}

// Settle implements the RPC.
func (c *conversations) SettleConversation(ctx context.Context, req *lightoffv1.SettleConversationRequest) (*lightoffv1.SettleConversationResponse, error) {
	var v violations
	v.keys(req)
	closing := &diagnosis.Closing{Outcome: diagnosis.Settled, Causes: req.GetCauseIds(), FoundBy: finders[req.GetFoundBy()], Surety: sureties[req.GetSurety()]}
	c.settled(&v, "", closing)
	if err := v.err(); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		state := log.state()
		if err := log.safe(); err != nil {
			return diagnosis.Event{}, err
		}
		if closing.Surety == "proved" && (len(state.Mended) == 0 || state.Start == nil || !state.Start.Ran) {
			return diagnosis.Event{}, errUnproved
		}
		return diagnosis.Event{Kind: diagnosis.Closed, Closing: closing}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SettleConversationResponse{Conversation: shown}, nil
}

// settled checks what is said of a settled conversation, below a field.
func (c core) settled(v *violations, field string, closing *diagnosis.Closing) {
	if len(closing.Causes) == 0 || len(closing.Causes) > 10 {
		v.add(field+"cause_ids", "name one to ten causes")
	}
	for i, id := range closing.Causes {
		if _, ok := c.model.Cause(id); !ok || slices.Contains(closing.Causes[:i], id) {
			v.add(field+"cause_ids", "no cause is called %q, or it stands twice", clip(id))
			break
		}
	}
	if closing.FoundBy == "" {
		v.add(field+"found_by", "is missing")
	}
	if closing.Surety == "" {
		v.add(field+"surety", "is missing")
	}
}

// safe returns nil unless a danger stands, while which nothing is settled.
func (a *account) safe() error {
	for _, danger := range a.sound().evidence.Dangers() {
		if danger.Severity > diagnosis.Caution {
			return errUnsafe
		}
	}
	return nil
}

// CheckBack implements the RPC.
func (c *conversations) ReportHolding(ctx context.Context, req *lightoffv1.ReportHoldingRequest) (*lightoffv1.ReportHoldingResponse, error) {
	var v violations
	v.keys(req)
	held := holdings[req.GetHolding()]
	if held == "" {
		v.add("holding", "is missing")
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	shown, err := c.append(ctx, req.GetId(), request(req, ""), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		state := log.state()
		if state.Closed == nil || state.Closed.Closing.Outcome != diagnosis.Settled {
			return diagnosis.Event{}, errNotSettled
		}
		return diagnosis.Event{Kind: diagnosis.CheckedBack, Held: held, By: whoCalls(ctx).name}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReportHoldingResponse{Conversation: shown}, nil
}

// recovery shows what came of the repairs; nil before the first.
func (f face) recovery(state diagnosis.Conversation, r *diagnosis.Recovery) *lightoffv1.Recovery {
	if len(state.Mended) == 0 {
		return nil
	}
	out := &lightoffv1.Recovery{Stage: stages[r.Stage], Remaining: each(r.Remaining, toCause), Roots: each(r.Roots, toChain),
		Prevention: r.Prevention, Parts: r.Parts, Started: state.Start != nil, Ran: state.Start != nil && state.Start.Ran}
	if r.Stage >= diagnosis.Doubtful {
		out.ProbabilityWell, out.Likelihood = r.Probability, r.Likelihood
	}
	for _, d := range state.Mended {
		i := slices.IndexFunc(f.model.Repairs, func(r knowledge.Repair) bool { return r.ID == d.RepairID })
		out.Repairs = append(out.Repairs, &lightoffv1.DoneRepair{RepairId: d.RepairID, Event: d.Event,
			Title: f.model.Text(f.locale).Repairs[d.RepairID].Title, CauseIds: f.model.Repairs[i].Mends})
	}
	for _, id := range r.Watch {
		out.Watch = append(out.Watch, f.observation(id))
	}
	return out
}

// settlement shows how a conversation was settled; nil if it was not.
func (f face) settlement(c store.Conversation, state diagnosis.Conversation) *lightoffv1.Settlement {
	if state.Closed == nil || state.Closed.Closing.Outcome != diagnosis.Settled {
		return nil
	}
	closing, at := state.Closed.Closing, c.At[state.Closed.Number-1]
	out := &lightoffv1.Settlement{FoundBy: keyFor(finders, closing.FoundBy), Surety: keyFor(sureties, closing.Surety),
		SettledAt: timestamppb.New(at), Holding: keyFor(holdings, state.Held)}
	if state.Held == "" {
		out.CheckBackAt = timestamppb.New(at.Add(checkBackAfter))
	}
	for _, id := range closing.Causes {
		out.Causes = append(out.Causes, &lightoffv1.RankedCause{Id: id, Title: f.model.Text(f.locale).Causes[id].Title})
	}
	return out
}

// dueBack tells whether somebody should ask whether a repair has held.
func dueBack(c store.Conversation, state diagnosis.Conversation, now time.Time) bool {
	return state.Closed != nil && state.Closed.Closing.Outcome == diagnosis.Settled && state.Held == "" &&
		!now.Before(c.At[state.Closed.Number-1].Add(checkBackAfter))
}
