package diagnosis

import (
	"cmp"
	"slices"

	"lightoff/engine/knowledge"
)

// facts are what was told, and in which order: nil where all was told at once.
type facts struct {
	told map[string]knowledge.Finding
	at   map[string]int
}

func factsOf(findings []knowledge.Finding, at map[string]int) facts {
	f := facts{told: make(map[string]knowledge.Finding, len(findings)), at: at}
	for _, x := range findings {
		f.told[x.ID] = x
	}
	return f
}

// dangers are the rules that hold for what was told, most severe first. They look at no probability.
func (e *Engine) dangers(f facts, t *knowledge.Texts) []Danger {
	var out []Danger
	for _, d := range e.model.Dangers {
		var triggers []string
		for _, trigger := range d.Any {
			if !f.all(trigger.All) || e.lifted(d, trigger, f) {
				continue
			}
			for _, trip := range trigger.All {
				if !slices.Contains(triggers, trip.ID) {
					triggers = append(triggers, trip.ID)
				}
			}
		}
		if len(triggers) > 0 {
			x := t.Dangers[d.ID]
			out = append(out, Danger{ID: d.ID, Title: x.Title, Text: x.Text, Steps: x.Steps, WayOut: x.WayOut,
				Severity: Severity(d.Severity), Triggers: triggers, CallEmergency: d.CallEmergency,
				Forbids: d.Forbids.Names(), LiftedBy: ways(d, triggers), MendedBy: mendedBy(d, triggers)})
		}
	}
	slices.SortStableFunc(out, func(a, b Danger) int { return cmp.Compare(b.Severity, a.Severity) })
	return out
}

// all reports whether all conditions hold.
func (f facts) all(trips []knowledge.Trip) bool {
	for _, trip := range trips {
		x, ok := f.told[trip.ID]
		switch {
		case !ok:
			return false
		case trip.Below != nil && x.Number >= *trip.Below, trip.Above != nil && x.Number < *trip.Above:
			return false
		case len(trip.States) > 0 && slices.Contains(trip.States, x.State) == trip.Not:
			return false
		}
	}
	return true
}

// lifted reports whether what was told takes a trigger away. What has been done or has changed since must have been
// told no earlier than what it takes away.
func (e *Engine) lifted(d knowledge.Danger, t knowledge.Trigger, f facts) bool {
	latest := 0
	for _, trip := range t.All {
		latest = max(latest, f.at[trip.ID])
	}
	return slices.ContainsFunc(d.LiftedBy, func(l knowledge.Lift) bool {
		return l.Lifts(t) && f.all(l.All) && !slices.ContainsFunc(l.All, func(trip knowledge.Trip) bool {
			o, ok := e.model.Observation(trip.ID)
			return ok && o.Since && f.at[trip.ID] < latest
		})
	})
}

// ways are what would lift a danger that some observations have triggered.
func ways(d knowledge.Danger, triggers []string) (out []Lift) {
	for _, l := range d.LiftedBy {
		x := Lift{Of: l.Of}
		for _, trip := range l.All {
			if len(trip.States) > 0 && !trip.Not {
				x.Told = append(x.Told, Observation{ID: trip.ID, State: trip.States[0]})
			}
		}
		if len(x.Told) == len(l.All) && concerns(l.Of, triggers) {
			out = append(out, x)
		}
	}
	return out
}

// concerns reports whether one of some triggers is named, or none is.
func concerns(of, triggers []string) bool {
	return len(of) == 0 || slices.ContainsFunc(of, func(id string) bool { return slices.Contains(triggers, id) })
}

// mendedBy are the repairs that a danger asks for.
func mendedBy(d knowledge.Danger, triggers []string) (ids []string) {
	for _, m := range d.MendedBy {
		if concerns(m.Of, triggers) {
			ids = append(ids, m.Repair)
		}
	}
	return ids
}

// ban is a danger with what it forbids: one that stands, or one whose cause is too probable.
type ban struct {
	knowledge.Danger
	forbids knowledge.Gates
}

// gate is what must not be advised now.
type gate struct {
	bans  []ban
	leave bool // people are to be outside
}

// gate joins what the standing dangers forbid with what a too probable dangerous cause does, unless that was dealt
// with.
func (s *subject) gate() gate {
	var g gate
	for _, d := range s.dangers {
		k := s.model.Dangers[slices.IndexFunc(s.model.Dangers, func(k knowledge.Danger) bool { return k.ID == d.ID })]
		g.bans = append(g.bans, ban{k, k.Forbids})
		g.leave = g.leave || d.Severity == LeaveNow
	}
	for _, l := range s.model.Limits {
		i := slices.IndexFunc(s.model.Causes, func(c knowledge.Cause) bool { return c.ID == l.Cause })
		k := s.model.Dangers[slices.IndexFunc(s.model.Dangers, func(k knowledge.Danger) bool { return k.ID == l.Danger })]
		if s.posterior[i] > l.Above && !s.dealtWith(k, s.facts) {
			g.bans = append(g.bans, ban{k, l.Forbids})
		}
	}
	return g
}

// dealtWith reports whether something that was done since lifts a danger, whatever triggers it.
func (s *subject) dealtWith(d knowledge.Danger, f facts) bool {
	return slices.ContainsFunc(d.LiftedBy, func(l knowledge.Lift) bool {
		return len(l.Of) == 0 && f.all(l.All) && slices.ContainsFunc(l.All, func(trip knowledge.Trip) bool {
			o, ok := s.model.Observation(trip.ID)
			return ok && o.Since
		})
	})
}

// forbids names the danger that forbids what something involves; empty if it is allowed.
func (g gate) forbids(what knowledge.Gates) string {
	for _, b := range g.bans {
		if b.forbids.Overlaps(what) {
			return b.ID
		}
	}
	return ""
}

// forbidsRepair is the same of a repair, which a danger may allow in spite of its gates.
func (g gate) forbidsRepair(r knowledge.Repair) string {
	for _, b := range g.bans {
		if b.forbids.Overlaps(r.Gates) && !b.Permits(r.ID) {
			return b.ID
		}
	}
	return ""
}

// forbidsStart reports whether no start may be made.
func (g gate) forbidsStart() bool { return g.forbids(knowledge.Gates{NeedsStart: true}) != "" }
