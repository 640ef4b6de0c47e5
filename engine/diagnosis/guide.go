package diagnosis

import (
	"cmp"
	"maps"
	"slices"

	"lightoff/engine/knowledge"
)

// Guidance is what a conversation shows: the assessment and what to ask next.
type Guidance struct {
	Assessment *Assessment
	Next       []string // observation ids; several for the safety card, else one or none
	Reason     string   // in plain words
	Repair     string   // id: where nothing is asked, the repair to make now, the first of the plan
	Warns      bool     // it is asked because the answer may bring out a danger
	Recovery   *Recovery
}

// enough is the information, in bits, below which the conversation stops asking.
const enough = 0.02

// Guide assesses a conversation and chooses the next question: first the safety card, then what was told may be of a
// dangerous kind, what the panel shows and the heater does, in one question for them all what from memory might bring
// out a danger, and from there on the most useful step: the check that saves most beyond its price, or, where none
// saves more than it costs, the first repair of the plan. On callers' cases that is as often right as asking on for as
// long as anything can be learnt, after two fifths of the checks. After a repair, what set off a danger is asked anew,
// and then a start is to be watched; while it is, and once the heater is well, nothing is asked.
func (e *Engine) Guide(c Conversation) (*Guidance, error) {
	v, err := e.Evidence(c.Request())
	if err != nil {
		return nil, err
	}
	return v.Guide(c)
}

// Guide is Engine.Guide for a conversation whose Request the evidence was made of. An error is the model's own failure,
// or an *InputError about what was known before a repair.
func (v *Evidence) Guide(c Conversation) (*Guidance, error) {
	s, err := v.subject()
	if err != nil {
		return nil, err
	}
	defer s.pool.Put(s.in)
	a, err := s.assess()
	if err != nil {
		return nil, err
	}
	if err := s.wanted(); err != nil {
		return nil, err
	}
	g := &Guidance{Assessment: a}
	if g.Recovery, err = s.recover(c, s); err != nil {
		return nil, err
	}
	return g, s.next(c, g)
}

// next chooses what to ask or to do, and why.
func (s *subject) next(c Conversation, g *Guidance) error {
	say := func(reason string, ids ...string) { g.Next, g.Reason = ids, s.texts.Phrases[reason] }
	if card := s.openCard(c); len(card) > 0 {
		say("reason_card", card...)
		return nil
	}
	if s.gates.leave {
		say("plan_leave")
		return nil
	}
	if feared := s.feared(c); feared != "" {
		say("reason_said", feared)
		g.Warns = true
		return nil
	}
	if again := s.again(c); again != "" {
		say("reason_again", again)
		return nil
	}
	if g.Recovery.Stage == Well {
		say("reason_well")
		return nil
	}
	if doubtful := s.doubtful(c); doubtful != "" {
		say("reason_danger", doubtful)
		g.Warns = true
		return nil
	}
	for _, id := range s.opening(c) {
		if g.Recovery.Stage == Searching && !s.asked(c, id) {
			say(map[string]string{s.model.Roles.Code: "reason_code", s.model.Roles.Complaint: "reason_complaint"}[id], id)
			return nil
		}
	}
	s.advance(c, g)
	from := warnFrom
	if s.starts(g) {
		from = startWarnFrom
	}
	warning, err := s.warning(c, from)
	reason := "reason_danger"
	if warning == "" && (g.Recovery.Stage == Starting || s.diagnosed(c)) {
		warning, reason = s.alarm(c), "reason_card"
	}
	if err == nil && warning != "" {
		say(reason, warning)
		g.Warns, g.Repair, g.Recovery = true, "", &Recovery{}
	}
	return err
}

// advance chooses the start, the check or the repair that comes next.
func (s *subject) advance(c Conversation, g *Guidance) {
	if g.Recovery.Stage == Starting {
		g.Reason = s.texts.Phrases["reason_start"]
		return
	}
	if s.planned(c, g) {
		return
	}
	for _, check := range g.Assessment.NextChecks {
		if check.GainBits >= enough && !s.asked(c, check.ObservationID) {
			g.Next, g.Reason = []string{check.ObservationID}, check.Reason
			return
		}
	}
	g.Reason = s.texts.Phrases["reason_none"]
}

// starts reports whether what comes next needs a start.
func (s *subject) starts(g *Guidance) bool {
	if g.Recovery.Stage == Starting {
		return true
	}
	if r, ok := s.repair(g.Repair); ok {
		return r.Gates.NeedsStart
	}
	return slices.ContainsFunc(g.Next, s.needsStart)
}

// warnFrom is the chance from which on an answer that sets off a danger may well be given.
const warnFrom = 0.02

// startWarnFrom is the same where what comes next needs a start, for then the danger is at hand.
const startWarnFrom = 0.004

// warning is what can be answered from memory and could reveal an unreported danger. Dangers come
// before diagnosis, so a conversation asks it before all else; but not one by one: the first is the question that asks
// for all of them at once, and only if something of it was so, or could not be told, the likeliest of them follow.
func (s *subject) warning(c Conversation, from float64) (id string, err error) {
	together := s.together()
	some, denied := false, []string(nil)
	if together != nil && c.told(together.ID) {
		some = c.state(together.ID) == together.States[len(together.States)-1] && !s.found(together.Denies)
		if c.state(together.ID) == together.States[0] {
			denied = together.Denies
		}
	}
	flooded := together != nil && s.found(together.Denies)
	most := 0.0
	for _, o := range s.model.Observations {
		if !o.Recalled || o.SafetyCard || c.told(o.ID) || !s.applies(o.OnlyIf) || slices.Contains(denied, o.ID) {
			continue
		}
		chance, least := 0.0, from
		for _, state := range o.States {
			if now := (Observation{ID: o.ID, State: state}); s.bringsOut(now) {
				switch {
				case !flooded || !slices.Contains(together.Denies, o.ID):
				case s.asGrave(now):
					least = 0 // one such sign was told, so the worst are at hand, however rare
				default:
					least = min(least, startWarnFrom)
				}
				p, err := s.in.Probability(o.ID, state)
				if err != nil {
					return "", err
				}
				chance += p
			}
		}
		if some && chance > 0 && slices.Contains(together.Denies, o.ID) {
			chance++ // one of them was so
		}
		if chance > max(least, most) {
			id, most = o.ID, chance
		}
	}
	if together != nil && !flooded && !c.told(together.ID) && slices.Contains(together.Denies, id) &&
		c.untold(together.Denies) > 2 {
		return together.ID, nil
	}
	return id, nil
}

// together is the question that asks for several observations at once; nil if the model has none.
func (s *subject) together() *knowledge.Observation {
	i := slices.IndexFunc(s.model.Observations, func(o knowledge.Observation) bool { return len(o.Denies) > 0 })
	if i < 0 {
		return nil
	}
	return &s.model.Observations[i]
}

// found reports whether one of some observations has triggered a danger that stands.
func (s *subject) found(ids []string) bool {
	return slices.ContainsFunc(s.dangers, func(d Danger) bool {
		return d.Severity >= NoStart && slices.ContainsFunc(d.Triggers,
			func(id string) bool { return slices.Contains(ids, id) })
	})
}

// doubtful is a question that tells which of two things was told, one of them dangerous.
func (s *subject) doubtful(c Conversation) string {
	for _, o := range s.model.Observations {
		if o.AtOnce && !s.asked(c, o.ID) && s.applies(o.OnlyIf) {
			return o.ID
		}
	}
	return ""
}

// diagnosed reports whether a question that serves the diagnosis has been asked: one that takes a look, or a fact of
// the installation.
func (s *subject) diagnosed(c Conversation) bool {
	return slices.ContainsFunc(c.Told, func(t Told) bool {
		if t.Words != "" || slices.Contains([]string{s.model.Roles.AlarmFitted, s.model.Roles.CodeTable}, t.Observation.ID) {
			return false
		}
		o, ok := s.model.Observation(t.Observation.ID)
		return !ok || !o.Recalled && !o.AtOnce && !o.Since
	})
}

// alarm asks whether a carbon monoxide alarm watches, which no start should be without, and whether it was tested.
func (s *subject) alarm(c Conversation) string {
	fitted, does := s.model.Roles.AlarmFitted, s.model.Roles.Alarm
	switch {
	case !s.known(fitted):
	case !c.told(fitted):
		return fitted
	case c.state(fitted) == "yes" && !c.told(does):
		return does
	}
	return ""
}

// newDangers lists the dangers that would stand if something were told now, and don't.
func (s *subject) newDangers(now knowledge.Finding) []Danger {
	with := slices.DeleteFunc(slices.Clone(s.told), func(f knowledge.Finding) bool { return f.ID == now.ID })
	f := factsOf(append(with, now), maps.Clone(s.request.Order))
	if f.at != nil {
		f.at[now.ID] = len(f.at) + 1
	}
	return slices.DeleteFunc(s.Engine.dangers(f, s.texts), func(d Danger) bool {
		return slices.ContainsFunc(s.dangers, func(now Danger) bool { return now.ID == d.ID })
	})
}

// planned takes the next step from the plan, if it has one that can be made: its check, its first repair, or what has
// to be looked at before that.
func (s *subject) planned(c Conversation, g *Guidance) bool {
	plan := g.Assessment.Plan
	first, urgent := PlanStep{}, false
	if len(plan.Steps) > 0 {
		first = plan.Steps[0]
		urgent = first.HeldBack == "" && s.severity(first.Danger) >= Urgent
	}
	if next := plan.NextCheck; next != "" && !urgent && !s.asked(c, next) {
		i := slices.IndexFunc(g.Assessment.NextChecks, func(k AdvisedCheck) bool { return k.ObservationID == next })
		g.Next, g.Reason = []string{next}, g.Assessment.NextChecks[i].Reason
		return true
	}
	if plan.NextCheck != "" && !urgent || len(plan.Steps) == 0 || plan.Ending != nil && plan.Ending.After == 0 {
		return false
	}
	if first.HeldBack == "" {
		g.Repair, g.Reason = first.RepairID, s.texts.Phrases["reason_repair"]
		return true
	}
	r, _ := s.repair(first.RepairID)
	if i := slices.IndexFunc(r.After, func(id string) bool { return s.waitsFor(id) && !s.asked(c, id) }); i >= 0 &&
		s.gates.forbidsRepair(r) == "" {
		g.Next, g.Reason = []string{r.After[i]}, s.texts.Phrases["reason_before"]+first.Title
		return true
	}
	return false
}

// severity is that of a danger that stands; 0 if it does not.
func (s *subject) severity(danger string) Severity {
	for _, d := range s.dangers {
		if d.ID == danger {
			return d.Severity
		}
	}
	return 0
}

// again is what may have changed with the latest repair, where a start is wanted and a danger forbids it: what would
// lift the danger, or else what has triggered it.
func (s *subject) again(c Conversation) string {
	if len(c.Mended) == 0 || c.Start != nil {
		return ""
	}
	before := func(id string) bool { return slices.Contains(s.request.Before, id) }
	for _, d := range s.dangers {
		if !slices.Contains(d.Forbids, "needs_start") || !slices.ContainsFunc(d.Triggers, before) {
			continue
		}
		if since, told := s.since(c, d); since != "" || told {
			if !told {
				return since
			}
			continue
		}
		for _, id := range d.Triggers {
			_, seen := s.model.Observation(id)
			if seen && !slices.Contains(s.gathered(), id) && before(id) {
				return id
			}
		}
	}
	return ""
}

// since is the question whether what a danger asks for was done, and whether that was told after the latest repair.
func (s *subject) since(c Conversation, d Danger) (id string, told bool) {
	for _, l := range d.LiftedBy {
		for _, x := range l.Told {
			if o, ok := s.model.Observation(x.ID); ok && o.Since {
				if c.told(x.ID) && !slices.Contains(s.request.Before, x.ID) {
					return x.ID, true
				}
				id = cmp.Or(id, x.ID)
			}
		}
	}
	return id, false
}

// feared is an observation that something said may mean and that would be a danger. It is asked even where it was
// answered before: what was said later may be the truer.
func (s *subject) feared(c Conversation) string {
	for _, p := range c.Offers {
		for _, r := range append([]Reading{p.Reading}, p.Alternatives...) {
			if _, ok := s.model.Observation(r.Observation.ID); ok && p.Danger && s.bringsOut(r.Observation) {
				return r.Observation.ID
			}
		}
	}
	return ""
}

// bringsOut reports whether a danger that forbids a start would stand with an observation and does not without.
func (s *subject) bringsOut(o Observation) bool {
	f := knowledge.Finding{ID: o.ID, State: o.State, Number: o.Number, IsNumber: o.Kind == NumberValue}
	return slices.ContainsFunc(s.newDangers(f), func(d Danger) bool { return d.Severity >= NoStart })
}

// asGrave reports whether an observation would bring out an urgent danger, or a worse one, and nothing that stands is
// more severe.
func (s *subject) asGrave(o Observation) bool {
	standing := slices.MaxFunc(s.dangers, func(a, b Danger) int { return cmp.Compare(a.Severity, b.Severity) }).Severity
	return slices.ContainsFunc(s.newDangers(knowledge.Finding{ID: o.ID, State: o.State}), func(d Danger) bool {
		return d.Severity >= max(standing, Urgent)
	})
}

// openCard lists the safety card's questions while one of them, the alarm apart, is open. Silence of an alarm proves
// nothing, so it is asked by itself once it is known that one is fitted.
func (s *subject) openCard(c Conversation) []string {
	var card []string
	open := false
	for _, o := range s.model.Observations {
		if !o.SafetyCard || c.told(o.ID) {
			continue
		}
		card = append(card, o.ID)
		open = open || o.ID != s.model.Roles.Alarm
	}
	if !open {
		return nil
	}
	return card
}

// opening lists what is asked of everybody after the card.
func (s *subject) opening(c Conversation) []string {
	r := s.model.Roles
	switch c.state(r.Code) {
	case "", "none", "other":
		return named(r.Code, r.Complaint)
	}
	return named(r.Code)
}

// gathered are the observations that sum up a failed start. They are no sign that can be looked at again.
func (s *subject) gathered() []string {
	r := s.model.Roles
	return named(r.Code, r.Complaint, r.FailsWhen)
}

// named leaves out the roles that a model does not have.
func named(roles ...string) []string {
	return slices.DeleteFunc(roles, func(id string) bool { return id == "" })
}

// asked reports whether a question was answered or skipped, and nothing has been done since that may have changed the
// answer.
func (s *subject) asked(c Conversation, id string) bool { return c.told(id) && !s.past[id] }

func (c Conversation) told(id string) bool {
	return slices.ContainsFunc(c.Told, func(t Told) bool { return t.Observation.ID == id })
}

func (c Conversation) untold(ids []string) (n int) {
	for _, id := range ids {
		if !c.told(id) {
			n++
		}
	}
	return n
}

func (c Conversation) state(id string) string {
	for _, t := range c.Told {
		if t.Observation.ID == id {
			return t.Observation.State
		}
	}
	return ""
}
