package api

import (
	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// dangers is what a page needs to warn by itself.
func (f face) dangers() *lightoffv1.ListDangersResponse {
	t := f.model.Text(f.locale)
	g := t.AlarmGrammar
	return &lightoffv1.ListDangersResponse{
		Rules:  each(f.model.Dangers, f.dangerRule),
		Alarms: each(t.Alarms, f.alarm),
		Grammar: &lightoffv1.AlarmGrammar{
			Negate: knowledge.AnyOf(g.Negate), NegateLast: knowledge.AnyOf(g.NegateLast), Spent: knowledge.AnyOf(g.Spent),
			Fillers: knowledge.AnyOf(g.Fillers), Doubt: knowledge.AnyOf(g.Doubt), Lists: knowledge.AnyOf(g.Lists),
			Breaks: knowledge.AnyOf(g.Breaks),
		},
		Locale: f.locale,
	}
}

func (f face) dangerRule(d knowledge.Danger) *lightoffv1.DangerRule {
	x := f.model.Text(f.locale).Dangers[d.ID]
	shown := diagnosis.Danger{ID: d.ID, Title: x.Title, Text: x.Text, Severity: diagnosis.Severity(d.Severity),
		CallEmergency: d.CallEmergency, Steps: x.Steps, WayOut: x.WayOut, Forbids: d.Forbids.Names()}
	return &lightoffv1.DangerRule{
		Danger: toDanger(shown),
		Any: each(d.Any, func(t knowledge.Trigger) *lightoffv1.DangerTrigger {
			return &lightoffv1.DangerTrigger{All: each(t.All, toCondition)}
		}),
		LiftedBy: each(d.LiftedBy, func(l knowledge.Lift) *lightoffv1.DangerLiftRule {
			out := &lightoffv1.DangerLiftRule{All: each(l.All, toCondition), OfIds: l.Of}
			for _, trip := range l.All {
				if o, ok := f.model.Observation(trip.ID); ok && o.Since {
					out.SinceIds = append(out.SinceIds, trip.ID)
				}
			}
			return out
		}),
	}
}

func toCondition(trip knowledge.Trip) *lightoffv1.DangerCondition {
	return &lightoffv1.DangerCondition{ObservationId: trip.ID, States: trip.States, Not: trip.Not,
		Below: trip.Below, Above: trip.Above}
}

func (f face) alarm(a knowledge.Alarm) *lightoffv1.Alarm {
	titles := f.model.Text(f.locale).Observations[a.ID].States
	return &lightoffv1.Alarm{
		ObservationId: a.ID, State: a.State, NoState: a.No, Groups: each(a.Groups, knowledge.AnyOf),
		WithinWords: int32(a.Within), Doubt: knowledge.AnyOf(a.Doubt), Asks: a.Asks, Question: a.Ask,
		Choices: each(a.Choices, func(s string) *lightoffv1.StateInfo {
			return &lightoffv1.StateInfo{Id: s, Title: titles[s]}
		}),
	}
}
