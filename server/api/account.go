package api

import (
	"cmp"
	"reflect"
	"slices"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
)

// understanding is what a conversation is understood by: the model, its engine and the reader of texts. It is shared.
type understanding struct {
	model  *knowledge.Model
	engine *diagnosis.Engine
	reader *words.Reader
}

// account is a conversation's log with what it comes to, now and with the event that is to join it. Either is folded
// and checked once, when it is first asked for. It is not safe for concurrent use.
type account struct {
	understanding
	events []diagnosis.Event
	locale string // that the answer is wanted in; empty for the conversation's own
	folded *diagnosis.Conversation
	now    *sound
	event  diagnosis.Event // that next has taken in
	next   *sound
}

func (u understanding) account(events []diagnosis.Event, locale string) *account {
	// Capped, so that an event that joins cannot reach the array behind.
	return &account{understanding: u, events: events[:len(events):len(events)], locale: locale}
}

// state is what the log folds to, with what the model does not accept. It must not be changed.
func (a *account) state() diagnosis.Conversation {
	if a.folded == nil {
		state := diagnosis.Fold(a.events)
		a.folded = &state
	}
	return *a.folded
}

// sound is what the log comes to.
func (a *account) sound() sound {
	if a.now == nil {
		now := a.heard(a.state(), a.locale)
		a.now = &now
	}
	return *a.now
}

// with is what the log comes to with an event, which it numbers.
func (a *account) with(e diagnosis.Event) sound {
	e.Number = int64(len(a.events)) + 1
	if a.next == nil || !reflect.DeepEqual(a.event, e) {
		next := a.heard(diagnosis.Fold(append(a.events, e)), a.locale)
		a.event, a.next = e, &next
	}
	return *a.next
}

// alarms reports whether there is one among the dangers that does not stand by the log.
func (a *account) alarms(dangers []diagnosis.Danger) bool {
	if len(dangers) == 0 {
		return false
	}
	stand := a.sound().evidence.Dangers()
	return slices.ContainsFunc(dangers, func(d diagnosis.Danger) bool {
		return !slices.ContainsFunc(stand, func(s diagnosis.Danger) bool { return s.ID == d.ID })
	})
}

// sound is a conversation by what the model accepts of it, with the evidence that it gives.
type sound struct {
	state    diagnosis.Conversation
	evidence *diagnosis.Evidence
	unsound  map[string]bool // observations that were left out
}

// heard is what a conversation's state comes to, in a language or, if that is empty, in its own. It leaves out what the
// model does not accept: a log outlives the model that it was written under.
func (u understanding) heard(state diagnosis.Conversation, locale string) sound {
	state.Locale = language(u.model, cmp.Or(locale, state.Locale))
	s := sound{state: state, unsound: map[string]bool{}}
	for _, t := range state.Told {
		if t.Skipped && !knows(u.model, t.Observation.ID) {
			s.unsound[t.Observation.ID] = true
		}
	}
	s.state.Mended = slices.DeleteFunc(slices.Clone(state.Mended),
		func(d diagnosis.Done) bool { return !u.hasRepair(d.RepairID) })
	s.state.First, s.state.Latest = u.soundRequest(state.First), u.soundRequest(state.Latest)
	s.state.Tools = u.soundTools(state.Tools)
	for {
		s.state.Told = slices.DeleteFunc(slices.Clone(s.state.Told),
			func(t diagnosis.Told) bool { return s.unsound[t.Observation.ID] })
		request := s.state.Request()
		var err error
		if s.evidence, err = u.engine.Evidence(request); err == nil {
			return s
		}
		found, ok := faults(err, "observations")
		switch {
		case ok:
			for _, f := range found {
				s.unsound[request.Observations[f.place].ID] = true
			}
		case s.state.EurosPerMinute == 0 && s.state.Willing == 0:
			panic("api: " + err.Error()) // all else was looked through above
		default:
			s.state.EurosPerMinute, s.state.Willing = 0, 0 // the door lets no such thing in
		}
	}
}

func (u understanding) soundTools(tools []string) []string {
	return slices.DeleteFunc(slices.Clone(tools), func(tool string) bool { return !slices.Contains(u.model.Tools, tool) })
}
