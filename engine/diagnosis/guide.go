package diagnosis

import "slices"

// Guidance is what a conversation shows: the assessment and what to ask next.
type Guidance struct {
	Assessment *Assessment
	Next       []string // observation ids; several for the safety card, else one or none
	Reason     string   // in plain words
}

// enough is the information, in bits, below which the conversation stops asking.
const enough = 0.02

// Guide assesses a conversation and chooses the next question: first the safety card, then what the panel shows and the
// heater does, whether a carbon monoxide alarm watches, what from memory might bring out a danger, and from there on the most
// useful check.
func (e *Engine) Guide(c Conversation) (*Guidance, error) {
	a, err := e.Assess(c.Request())
	if err != nil {
		return nil, err
	}
	t := e.model.Text(c.Locale)
	ask := func(reason string, ids ...string) *Guidance { return &Guidance{a, ids, t.Phrases[reason]} }
	if card := e.openCard(c); len(card) > 0 {
		return ask("reason_card", card...), nil
	}
	if slices.ContainsFunc(a.Dangers, func(d Danger) bool { return d.Severity == LeaveNow }) {
		return ask("plan_leave"), nil
	}
	for _, id := range e.opening(c) {
		if !c.asked(id) {
			reason := map[string]string{"fault_code": "reason_code", "complaint": "reason_complaint"}[id]
			if reason == "" {
				reason = "reason_card"
			}
			return ask(reason, id), nil
		}
	}
	for _, check := range a.NextChecks {
		if check.Warns && !c.asked(check.ObservationID) {
			return ask("reason_danger", check.ObservationID), nil
		}
	}
	for _, check := range a.NextChecks {
		if check.GainBits >= enough && !c.asked(check.ObservationID) {
			return &Guidance{a, []string{check.ObservationID}, check.Reason}, nil
		}
	}
	return ask("reason_none"), nil
}

// openCard lists the safety card's questions while one of them, the alarm apart, is open. Silence of an alarm proves
// nothing, so it is asked by itself once it is known that one is fitted.
func (e *Engine) openCard(c Conversation) []string {
	var card []string
	open := false
	for _, o := range e.model.Observations {
		if !o.SafetyCard || c.asked(o.ID) {
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
func (e *Engine) opening(c Conversation) []string {
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

func (c Conversation) asked(id string) bool {
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
