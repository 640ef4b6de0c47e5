package diagnosis

import (
	"slices"
)

// EventKind says what happened in a conversation.
type EventKind string

// The events of a conversation.
const (
	Opened    EventKind = "opened"    // Locale and Tools set
	Said      EventKind = "said"      // Text, Readings and Unclear set
	Answered  EventKind = "answered"  // Observations and Skipped set
	Retracted EventKind = "retracted" // ObservationID set
	ToolsSet  EventKind = "tools_set" // Tools set

	// What those who help do. None of it tells anything about the heater, save a suggestion that the owner confirms.
	Assigned  EventKind = "assigned"  // By and, unless it goes back to the queue, To set
	Noted     EventKind = "noted"     // By and Text set
	Closed    EventKind = "closed"    // By and Closing set
	Reopened  EventKind = "reopened"  // By set
	Hidden    EventKind = "hidden"    // By set: nobody looks on any more
	Shown     EventKind = "shown"     // By set: who has the key may look on again
	Suggested EventKind = "suggested" // By and Observations, just one, set
	Confirmed EventKind = "confirmed" // Observations, as suggested, and Suggestion set
	Declined  EventKind = "declined"  // Suggestion set
)

// Outcome is what became of a conversation.
type Outcome string

// The outcomes.
const (
	Settled        Outcome = "settled"         // Closing names the causes
	ToWorkshop     Outcome = "workshop"        // others look further
	OutOfUse       Outcome = "out_of_use"      // unsafe, and not to be used
	NotReached     Outcome = "not_reached"     // nobody answered any more
	OtherAppliance Outcome = "other_appliance" // it was no such heater
	ByModerator    Outcome = "moderated"       // a forum's moderator has ended it
)

// Closing is how a conversation ended.
type Closing struct {
	Outcome Outcome  `json:"outcome"`
	Causes  []string `json:"causes,omitempty"`   // ids; only of a settled one
	FoundBy string   `json:"found_by,omitempty"` // owner, desk or workshop
	Surety  string   `json:"surety,omitempty"`   // proved, likely or guessed
	Remark  string   `json:"remark,omitempty"`
}

// Event is one entry of a conversation's log. Only the fields of its kind are set. It is stored as JSON, so field names
// are a format: add, never rename.
type Event struct {
	Number        int64         `json:"number"` // from 1, without gaps
	Kind          EventKind     `json:"kind"`
	Locale        string        `json:"locale,omitempty"`
	Tools         []string      `json:"tools,omitempty"`
	Text          string        `json:"text,omitempty"`
	Readings      []Reading     `json:"readings,omitempty"`
	Unclear       []string      `json:"unclear,omitempty"`
	Observations  []Observation `json:"observations,omitempty"`
	Skipped       []string      `json:"skipped,omitempty"`
	ObservationID string        `json:"observation_id,omitempty"`
	By            string        `json:"by,omitempty"` // who helps: the name of a desk's token, or what one who looks on calls himself
	To            string        `json:"to,omitempty"`
	Closing       *Closing      `json:"closing,omitempty"`
	Suggestion    int64         `json:"suggestion,omitempty"` // number of the event that made it
}

// Reading is an observation found in free text, with the words it came from.
type Reading struct {
	Observation Observation `json:"observation"`
	Words       string      `json:"words"`
}

// Told is one thing that was told and still stands.
type Told struct {
	Observation Observation // ID only, if Skipped
	Skipped     bool
	Words       string // from free text
	Event       int64  // that told it
}

// Conversation is the state that a log of events folds to.
type Conversation struct {
	LastEvent   int64
	Locale      string
	Tools       []string
	Told        []Told // in the order of first telling
	Sayings     []Event
	AssignedTo  string  // who attends to it; empty while nobody does
	Notes       []Event // which the caller never sees
	Closed      *Event  // how it ended; nil while it is open
	Hidden      bool    // from those who look on
	Suggestions []Event // that the owner has neither confirmed nor declined
}

// Fold replays a conversation's events, oldest first. It is the only meaning that events have.
func Fold(events []Event) Conversation {
	var c Conversation
	for _, e := range events {
		c.apply(e)
	}
	return c
}

func (c *Conversation) apply(e Event) {
	c.LastEvent = e.Number
	switch e.Kind {
	case Said, Answered, Retracted, Confirmed:
		c.Closed = nil // whoever goes on has not ended
	}
	switch e.Kind {
	case Opened:
		c.Locale, c.Tools = e.Locale, e.Tools
	case ToolsSet:
		c.Tools = e.Tools
	case Said:
		c.Sayings = append(c.Sayings, e)
		for _, r := range e.Readings {
			c.tell(Told{Observation: r.Observation, Words: r.Words, Event: e.Number})
		}
	case Answered:
		for _, o := range e.Observations {
			c.tell(Told{Observation: o, Event: e.Number})
		}
		for _, id := range e.Skipped {
			c.tell(Told{Observation: Observation{ID: id}, Skipped: true, Event: e.Number})
		}
	case Assigned:
		c.AssignedTo = e.To
	case Noted:
		c.Notes = append(c.Notes, e)
	case Closed:
		c.Closed = &e
	case Reopened:
		c.Closed = nil
	case Hidden, Shown:
		c.Hidden = e.Kind == Hidden
	case Suggested:
		c.Suggestions = append(c.Suggestions, e)
	case Confirmed, Declined:
		c.Suggestions = slices.DeleteFunc(c.Suggestions, func(s Event) bool { return s.Number == e.Suggestion })
		for _, o := range e.Observations {
			c.tell(Told{Observation: o, Event: e.Number})
		}
	case Retracted:
		c.Told = slices.DeleteFunc(c.Told, func(t Told) bool { return t.Observation.ID == e.ObservationID })
	}
}

// tell keeps the place of an earlier answer to the same question, so that a card does not jump when one is changed.
func (c *Conversation) tell(t Told) {
	i := slices.IndexFunc(c.Told, func(o Told) bool { return o.Observation.ID == t.Observation.ID })
	if i < 0 {
		c.Told = append(c.Told, t)
		return
	}
	c.Told[i] = t
}

// Request is what the engine is to assess. Skipped questions are no evidence and are left out.
func (c Conversation) Request() Request {
	r := Request{Tools: c.Tools, Locale: c.Locale}
	for _, t := range c.Told {
		if !t.Skipped {
			r.Observations = append(r.Observations, t.Observation)
		}
	}
	return r
}
