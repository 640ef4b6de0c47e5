package api

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// checkBackAfter is how long after a case was settled somebody asks whether the repair has held: long enough for a
// fault that comes and goes to come again, and short enough for the owner to know what was done. Common practice, no
// source.
const checkBackAfter = 4 * week

const week = 7 * 24 * time.Hour

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

// One row for each word, so that neither side's can drift unseen.
var (
	outcomes = map[lightoffv1.Outcome]diagnosis.Outcome{
		lightoffv1.Outcome_OUTCOME_SETTLED: diagnosis.Settled, lightoffv1.Outcome_OUTCOME_WORKSHOP: diagnosis.ToWorkshop,
		lightoffv1.Outcome_OUTCOME_OUT_OF_USE:      diagnosis.OutOfUse,
		lightoffv1.Outcome_OUTCOME_NOT_REACHED:     diagnosis.NotReached,
		lightoffv1.Outcome_OUTCOME_OTHER_APPLIANCE: diagnosis.OtherAppliance,
		lightoffv1.Outcome_OUTCOME_MODERATED:       diagnosis.ByModerator,
	}
	finders = map[lightoffv1.Finder]string{lightoffv1.Finder_FINDER_OWNER: "owner", lightoffv1.Finder_FINDER_DESK: "desk",
		lightoffv1.Finder_FINDER_WORKSHOP: "workshop"}
	sureties = map[lightoffv1.Surety]string{lightoffv1.Surety_SURETY_PROVED: "proved",
		lightoffv1.Surety_SURETY_LIKELY:  "likely",
		lightoffv1.Surety_SURETY_GUESSED: "guessed"}
)

// keyFor is the key whose value it is, or the zero key.
func keyFor[K, V comparable](m map[K]V, value V) K {
	for k, v := range m {
		if v == value {
			return k
		}
	}
	var none K
	return none
}

// recovery shows what came of the repairs; nil before the first.
func (f face) recovery(state diagnosis.Conversation, r *diagnosis.Recovery) *lightoffv1.Recovery {
	if len(state.Mended) == 0 {
		return nil
	}
	out := &lightoffv1.Recovery{Stage: stages[r.Stage], Remaining: each(r.Remaining, toCause),
		Roots:      each(r.Roots, toChain),
		Prevention: r.Prevention, Parts: r.Parts, Started: state.Start != nil, Ran: state.Start != nil && state.Start.Ran}
	if r.Stage >= diagnosis.Doubtful {
		out.ProbabilityWell, out.Likelihood = r.Probability, r.Likelihood
	}
	for _, d := range state.Mended {
		i := slices.IndexFunc(f.model.Repairs, func(r knowledge.Repair) bool { return r.ID == d.RepairID })
		out.Repairs = append(out.Repairs, &lightoffv1.DoneRepair{RepairId: d.RepairID, Event: d.Event,
			Title: f.model.Text(f.locale).Repairs[d.RepairID].Title, CauseIds: f.model.Repairs[i].Mends})
	}
	if r.Stage == diagnosis.Starting {
		out.Phases = each(f.model.StartPhases, func(p knowledge.StartPhase) *lightoffv1.StartPhase {
			return &lightoffv1.StartPhase{Id: p.ID, FromSeconds: p.From, UntilSeconds: p.Until}
		})
	}
	for _, id := range r.Watch {
		out.Watch = append(out.Watch, f.observation(id))
	}
	return out
}

// settlement shows how a conversation was settled; nil if it was not.
func (f face) settlement(c dated, state diagnosis.Conversation) *lightoffv1.Settlement {
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
