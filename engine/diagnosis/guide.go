package diagnosis

import (
	"cmp"
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

// Guide assesses a conversation and chooses the next question: first the safety card, then what the panel shows and the
// heater does, whether a carbon monoxide alarm watches, what from memory might bring out a danger, and from there on the most
// useful step: the check that saves most beyond its price, or, where none saves more than it costs, the first repair of the
// plan. On callers' cases that is as often right as asking on for as long as anything can be learnt, after two fifths of the
// checks. After a repair, what set off a danger is asked anew, and then a start is to be watched; while it is, and once
// the heater is well, nothing is asked.
func (e *Engine) Guide(c Conversation) (*Guidance, error) {
	s, err := e.subject(c.Request())
	if err != nil {
		return nil, err
	}
	defer e.pool.Put(s.in)
	a, err := s.assess()
	if err != nil {
		return nil, err
	}
	g := &Guidance{Assessment: a}
	if g.Recovery, err = e.recover(c, s); err != nil {
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
	for _, id := range s.opening(c) {
		if g.Recovery.Stage == Searching && !s.asked(c, id) {
			reason := map[string]string{"fault_code": "reason_code", "complaint": "reason_complaint"}[id]
			say(cmp.Or(reason, "reason_card"), id)
			return nil
		}
	}
	s.advance(c, g)
	from := warnFrom
	if s.starts(g) {
		from = startWarnFrom
	}
	warning, err := s.warning(c, from)
	if err == nil && warning != "" {
		say("reason_danger", warning)
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

// starts tells whether what comes next needs a start.
func (s *subject) starts(g *Guidance) bool {
	if g.Recovery.Stage == Starting {
		return true
	}
	if r, ok := s.repair(g.Repair); ok {
		return r.Gates.NeedsStart
	}
	return slices.ContainsFunc(g.Next, func(id string) bool {
		o, ok := s.model.Observation(id)
		return ok && o.Gates.NeedsStart
	})
}

// warnFrom is the chance from which on an answer that sets off a danger may well be given.
const warnFrom = 0.02

// startWarnFrom is the same where what comes next needs a start, for then the danger is at hand.
const startWarnFrom = 0.004

// warning is what can be answered from memory and may well bring out a danger that nobody has been told of, the likeliest first.
// Dangers come before diagnosis, so a conversation asks it before all else: it costs nothing but the asking.
func (s *subject) warning(c Conversation, from float64) (id string, err error) {
	s.in.Enter(s.findings)
	most := from
	for _, o := range s.model.Observations {
		if !o.Recalled || c.told(o.ID) || !s.applies(o.OnlyIf) {
			continue
		}
		chance := 0.0
		for _, state := range o.States {
			with := append(slices.Clone(s.told), knowledge.Finding{ID: o.ID, State: state})
			if slices.ContainsFunc(s.newDangers(with), func(d Danger) bool { return d.Severity >= NoStart }) {
				p, err := s.in.Chance(o.ID, state)
				if err != nil {
					return "", err
				}
				chance += p
			}
		}
		if chance > most {
			id, most = o.ID, chance
		}
	}
	return id, nil
}

// newDangers lists the dangers that stand with some findings and don't without.
func (s *subject) newDangers(findings []knowledge.Finding) []Danger {
	return slices.DeleteFunc(s.Engine.dangers(findings, s.texts), func(d Danger) bool {
		return slices.ContainsFunc(s.dangers, func(now Danger) bool { return now.ID == d.ID })
	})
}

// planned takes the next step from the plan, if it has one that can be made: its check, its first repair, or what has to be looked
// at before that.
func (s *subject) planned(c Conversation, g *Guidance) bool {
	plan := g.Assessment.Plan
	if next := plan.NextCheck; next != "" && !s.asked(c, next) {
		i := slices.IndexFunc(g.Assessment.NextChecks, func(k AdvisedCheck) bool { return k.ObservationID == next })
		g.Next, g.Reason = []string{next}, g.Assessment.NextChecks[i].Reason
		return true
	}
	if plan.NextCheck != "" || len(plan.Steps) == 0 || plan.Ending != nil && plan.Ending.After == 0 {
		return false
	}
	first := plan.Steps[0]
	if first.HeldBack == "" {
		g.Repair, g.Reason = first.RepairID, s.texts.Phrases["reason_repair"]
		return true
	}
	r, _ := s.repair(first.RepairID)
	if i := slices.IndexFunc(r.After, func(id string) bool { return s.waitsFor(id) && !s.asked(c, id) }); i >= 0 && s.gates.forbids(r.Gates) == "" {
		g.Next, g.Reason = []string{r.After[i]}, s.texts.Phrases["reason_before"]+first.Title
		return true
	}
	return false
}

// again is an observation that set off a danger before the latest repair and may be another now, where a start is wanted.
func (s *subject) again(c Conversation) string {
	if len(c.Mended) == 0 || c.Start != nil {
		return ""
	}
	for _, d := range s.dangers {
		i := slices.IndexFunc(s.model.Dangers, func(k knowledge.Danger) bool { return k.ID == d.ID })
		if !s.model.Dangers[i].Forbids.NeedsStart {
			continue
		}
		for _, id := range d.Triggers {
			_, seen := s.model.Observation(id)
			if seen && id != "fault_code" && id != "complaint" && id != "fails_when" && slices.Contains(s.request.Before, id) {
				return id
			}
		}
	}
	return ""
}

// feared is an observation that something said may mean and that would be a danger. It is asked even where it was answered
// before: what was said later may be the truer.
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

// bringsOut tells whether a danger that forbids a start would stand with an observation and does not without.
func (s *subject) bringsOut(o Observation) bool {
	f := knowledge.Finding{ID: o.ID, State: o.State, Number: o.Number, IsNumber: o.Kind == NumberValue}
	with := slices.DeleteFunc(slices.Clone(s.told), func(f knowledge.Finding) bool { return f.ID == o.ID })
	return slices.ContainsFunc(s.newDangers(append(with, f)), func(d Danger) bool { return d.Severity >= NoStart })
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
		open = open || o.ID != "co_alarm"
	}
	if !open {
		return nil
	}
	return card
}

// opening lists what is asked of everybody after the card.
func (s *subject) opening(c Conversation) []string {
	ids := []string{"fault_code"}
	switch c.state("fault_code") {
	case "", "none", "other":
		ids = append(ids, "complaint")
	}
	ids = append(ids, "co_alarm_fitted")
	if c.state("co_alarm_fitted") == "yes" {
		ids = append(ids, "co_alarm")
	}
	return ids
}

// asked tells whether a question was answered or skipped, and nothing has been done since that may have changed the answer.
func (s *subject) asked(c Conversation, id string) bool { return c.told(id) && !s.past[id] }

func (c Conversation) told(id string) bool {
	return slices.ContainsFunc(c.Told, func(t Told) bool { return t.Observation.ID == id })
}

func (c Conversation) state(id string) string {
	for _, t := range c.Told {
		if t.Observation.ID == id {
			return t.Observation.State
		}
	}
	return ""
}
