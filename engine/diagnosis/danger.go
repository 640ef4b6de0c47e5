package diagnosis

import (
	"cmp"
	"slices"

	"lightoff/engine/knowledge"
)

// dangers are the rules that hold for what was told, most severe first. They look at no probability.
func (e *Engine) dangers(findings []knowledge.Finding, t *knowledge.Texts) []Danger {
	told := map[string]knowledge.Finding{}
	for _, f := range findings {
		told[f.ID] = f
	}
	var out []Danger
	for _, d := range e.model.Dangers {
		var triggers []string
		for _, trigger := range d.Any {
			if tripped(trigger, told) {
				for _, trip := range trigger.All {
					if !slices.Contains(triggers, trip.ID) {
						triggers = append(triggers, trip.ID)
					}
				}
			}
		}
		if len(triggers) > 0 {
			x := t.Dangers[d.ID]
			out = append(out, Danger{d.ID, x.Title, x.Text, Severity(d.Severity), triggers, d.CallEmergency})
		}
	}
	slices.SortStableFunc(out, func(a, b Danger) int { return cmp.Compare(b.Severity, a.Severity) })
	return out
}

func tripped(t knowledge.Trigger, told map[string]knowledge.Finding) bool {
	for _, trip := range t.All {
		f, ok := told[trip.ID]
		switch {
		case !ok:
			return false
		case trip.Below != nil && f.Number >= *trip.Below, trip.Above != nil && f.Number < *trip.Above:
			return false
		case len(trip.States) > 0 && slices.Contains(trip.States, f.State) == trip.Not:
			return false
		}
	}
	return true
}

// gate is what must not be advised now, with the danger that forbids it.
type gate struct {
	needsStart, opensFuel, opensBurner, touchesHot string // id of a danger; empty: allowed
	leave                                          bool   // people are to be outside
}

// gate joins what the standing dangers forbid with what a too probable dangerous cause does.
func (s *subject) gate() gate {
	var g gate
	for _, d := range s.dangers {
		i := slices.IndexFunc(s.model.Dangers, func(k knowledge.Danger) bool { return k.ID == d.ID })
		g.forbid(s.model.Dangers[i].Forbids, d.ID)
		g.leave = g.leave || d.Severity == LeaveNow
	}
	for _, l := range s.model.Limits {
		i := slices.IndexFunc(s.model.Causes, func(c knowledge.Cause) bool { return c.ID == l.Cause })
		if s.posterior[i] > l.Above {
			g.forbid(l.Forbids, l.Danger)
		}
	}
	return g
}

func (g *gate) forbid(what knowledge.Gates, danger string) {
	set := func(forbidden bool, by *string) {
		if forbidden && *by == "" {
			*by = danger
		}
	}
	set(what.NeedsStart, &g.needsStart)
	set(what.OpensFuel, &g.opensFuel)
	set(what.OpensBurner, &g.opensBurner)
	set(what.TouchesHot, &g.touchesHot)
}

// forbids names the danger that forbids what something involves; empty if it is allowed.
func (g gate) forbids(what knowledge.Gates) string {
	for _, x := range []struct {
		involved bool
		by       string
	}{{what.NeedsStart, g.needsStart}, {what.OpensFuel, g.opensFuel}, {what.OpensBurner, g.opensBurner}, {what.TouchesHot, g.touchesHot}} {
		if x.involved && x.by != "" {
			return x.by
		}
	}
	return ""
}

// Dangers are those that stand by what was told, most severe first, at little cost. The request must be one that Check
// accepts.
func (e *Engine) Dangers(r Request) []Danger {
	var findings []knowledge.Finding
	for _, o := range r.Observations {
		if o.Kind != UnknownValue {
			findings = append(findings, o.finding())
		}
	}
	return e.dangers(findings, e.model.Text(r.Locale))
}
