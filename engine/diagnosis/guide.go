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
	Recovery   *Recovery
}

// enough is the information, in bits, below which the conversation stops asking.
const enough = 0.02

// Guide assesses a conversation and chooses the next question: first the safety card, then what the panel shows and the
// heater does, whether a carbon monoxide alarm watches, what from memory might bring out a danger, and from there on the most
// useful check. After a repair, what set off a danger is asked anew, and then a start is to be watched; while it is, and once
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
	g.Next, g.Reason = s.next(c, g)
	return g, nil
}

// next chooses what to ask, and why.
func (s *subject) next(c Conversation, g *Guidance) (ids []string, reason string) {
	phrase := func(key string) string { return s.texts.Phrases[key] }
	if card := s.openCard(c); len(card) > 0 {
		return card, phrase("reason_card")
	}
	if s.gates.leave {
		return nil, phrase("plan_leave")
	}
	if again := s.again(c); again != "" {
		return []string{again}, phrase("reason_again")
	}
	switch g.Recovery.Stage {
	case Starting:
		return nil, phrase("reason_start")
	case Well:
		return nil, phrase("reason_well")
	}
	for _, id := range s.opening(c) {
		if g.Recovery.Stage == Searching && !s.asked(c, id) {
			reason := map[string]string{"fault_code": "reason_code", "complaint": "reason_complaint"}[id]
			return []string{id}, phrase(cmp.Or(reason, "reason_card"))
		}
	}
	for _, check := range g.Assessment.NextChecks {
		if check.Warns && !s.asked(c, check.ObservationID) {
			return []string{check.ObservationID}, phrase("reason_danger")
		}
	}
	for _, check := range g.Assessment.NextChecks {
		if check.GainBits >= enough && !s.asked(c, check.ObservationID) {
			return []string{check.ObservationID}, check.Reason
		}
	}
	return nil, phrase("reason_none")
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
