package diagnosis

import (
	"fmt"
	"slices"
)

// EventKind says what happened in a conversation.
type EventKind string

// The events of a conversation.
const (
	Opened    EventKind = "opened"    // Locale and Tools set
	Said      EventKind = "said"      // Text, Readings, Offers and Unclear set
	Answered  EventKind = "answered"  // Observations, Skipped and Dismissed set
	Retracted EventKind = "retracted" // ObservationID set
	ToolsSet  EventKind = "tools_set" // Tools set, and EurosPerMinute and Willing if they are to change

	// What was done about it, and what came of it.
	Mended      EventKind = "mended"       // RepairID set: it was done
	Unmended    EventKind = "unmended"     // RepairID set: it was not, after all
	Started     EventKind = "started"      // Ran and, as far as they were watched, Observations set
	CheckedBack EventKind = "checked_back" // Held set: weeks after it was settled

	// What those who help do. None of it tells anything about the heater, save a suggestion that the owner confirms.
	Assigned EventKind = "assigned" // By and, unless it goes back to the queue, To set
	Noted    EventKind = "noted"    // By and Text set
	Ticketed EventKind = "ticketed" // By and, unless it is taken away, Text set: its number elsewhere
	Closed   EventKind = "closed"   // By and Closing set
	Reopened EventKind = "reopened" // By set
	Hidden   EventKind = "hidden"   // By set: nobody looks on any more
	Shown    EventKind = "shown"    // By set: who has the key may look on again
	// By and just one of Observations, with one entry, CauseID, ObservationID and Text set
	Suggested EventKind = "suggested"
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

// Held is whether a repair has held, weeks later.
type Held string

// The answers to that.
const (
	HeldWell   Held = "well"      // it has run since
	CameBack   Held = "came_back" // the same fault is back
	OtherFault Held = "other"     // another one has come, which is another conversation's matter
	NotKnown   Held = "unknown"   // nobody can tell
)

// Event is one entry of a conversation's log. Only the fields of its kind are set. It is stored as JSON, so field names
// are a format: add, never rename.
type Event struct {
	Number        int64         `json:"number"` // from 1, without gaps
	Kind          EventKind     `json:"kind"`
	Locale        string        `json:"locale,omitempty"`
	Tools         []string      `json:"tools,omitempty"`
	Text          string        `json:"text,omitempty"`
	Readings      []Reading     `json:"readings,omitempty"`
	Offers        []Offer       `json:"offers,omitempty"`
	Unclear       []string      `json:"unclear,omitempty"`
	Observations  []Observation `json:"observations,omitempty"`
	Skipped       []string      `json:"skipped,omitempty"`
	Dismissed     []string      `json:"dismissed,omitempty"` // ids of pending offers
	ObservationID string        `json:"observation_id,omitempty"`
	// who helps: the name of a desk's token, or what one who looks on calls himself
	By         string   `json:"by,omitempty"`
	To         string   `json:"to,omitempty"`
	Closing    *Closing `json:"closing,omitempty"`
	Suggestion int64    `json:"suggestion,omitempty"` // number of the event that made it
	CauseID    string   `json:"cause_id,omitempty"`
	RepairID   string   `json:"repair_id,omitempty"`

	EurosPerMinute *float64 `json:"euros_per_minute,omitempty"`
	Willing        *int     `json:"willing,omitempty"`
	Ran            bool     `json:"ran,omitempty"` // the heater lit and kept running, and showed no code
	Held           Held     `json:"held,omitempty"`
}

// Reading is an observation found in free text, with the words it came from.
type Reading struct {
	Observation Observation `json:"observation"`
	Words       string      `json:"words"`
}

// Offer is what some words likely mean. It is no evidence until it is answered.
type Offer struct {
	Reading      Reading   `json:"reading"`
	Alternatives []Reading `json:"alternatives,omitempty"` // best first
	Danger       bool      `json:"danger,omitempty"`       // one of these would bring out a danger
}

// Pending is an offer that was neither answered nor dismissed.
type Pending struct {
	ID    string // names it in its conversation
	Event int64  // that made it
	Offer
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
	LastEvent      int64
	Locale         string
	Tools          []string
	EurosPerMinute float64 // as in Request
	Willing        int
	Told           []Told // in the order of first telling
	Sayings        []Event
	Offers         []Pending // oldest first
	AssignedTo     string    // who attends to it; empty while nobody does
	Notes          []Event   // which the caller never sees
	Ticket         string    // its number elsewhere, or empty
	Closed         *Event    // how it ended; nil while it is open
	Hidden         bool      // from those who look on
	Suggestions    []Event   // that the owner has neither confirmed nor declined

	Mended []Done // repairs done, oldest first
	// the last start that was watched since the latest of them, or that the fault came back; nil if neither
	Start    *Event
	First    Request // what was told before the first of them
	Latest   Request // what was told before those that came after the last start but one
	cameBack int64   // the event that said so; 0 if it did not
	Held     Held    // empty until somebody has been asked weeks later
}

// Done is a repair that was done, and the event that said so.
type Done struct {
	RepairID string
	Event    int64
}

// Fold replays a conversation's events, oldest first. It is the only meaning that events have.
func Fold(events []Event) Conversation {
	var c Conversation
	for _, e := range events {
		c.apply(e)
	}
	return c
}

// apply takes in one event. Logs are kept for years and never rewritten, so every kind that was ever written must be
// understood for ever, and an event means the same wherever it is folded: nothing here looks at a model or a clock.
func (c *Conversation) apply(e Event) {
	c.LastEvent = e.Number
	switch e.Kind {
	case Said, Answered, Retracted, Confirmed, Mended, Unmended, Started:
		c.Closed, c.Held = nil, "" // whoever goes on has not ended
	}
	switch e.Kind {
	case Opened:
		c.Locale, c.Tools = e.Locale, e.Tools
	case ToolsSet:
		c.Tools = e.Tools
		if e.EurosPerMinute != nil {
			c.EurosPerMinute = *e.EurosPerMinute
		}
		if e.Willing != nil {
			c.Willing = *e.Willing
		}
	case Said:
		c.Sayings = append(c.Sayings, e)
		for _, r := range e.Readings {
			c.tell(Told{Observation: r.Observation, Words: r.Words, Event: e.Number})
		}
		c.offer(e)
	case Answered:
		for _, o := range e.Observations {
			c.tell(Told{Observation: o, Event: e.Number})
		}
		for _, id := range e.Skipped {
			c.tell(Told{Observation: Observation{ID: id}, Skipped: true, Event: e.Number})
		}
		c.Offers = slices.DeleteFunc(c.Offers, func(p Pending) bool { return slices.Contains(e.Dismissed, p.ID) })
	case Assigned:
		c.AssignedTo = e.To
	case Ticketed:
		c.Ticket = e.Text
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
	case Mended:
		c.mend(e)
	case Unmended:
		c.Mended = slices.DeleteFunc(c.Mended, func(d Done) bool { return d.RepairID == e.RepairID })
	case Started:
		c.Start = &e
		for _, o := range e.Observations {
			c.tell(Told{Observation: o, Event: e.Number})
		}
	case CheckedBack:
		if c.Held = e.Held; e.Held == CameBack {
			// What was seen of the start that ran is as old as the repairs now.
			c.Closed, c.Start, c.cameBack = nil, &e, e.Number
		}
	case Retracted:
		c.Told = slices.DeleteFunc(c.Told, func(t Told) bool { return t.Observation.ID == e.ObservationID })
	}
}

// tell keeps the place of an earlier answer to the same question, so that a card does not jump when one is changed.
func (c *Conversation) tell(t Told) {
	c.Offers = slices.DeleteFunc(c.Offers, func(p Pending) bool { return p.settledBy(t) })
	i := slices.IndexFunc(c.Told, func(o Told) bool { return o.Observation.ID == t.Observation.ID })
	if i < 0 {
		c.Told = append(c.Told, t)
		return
	}
	c.Told[i] = t
}

// offer keeps what a text likely means for as long as nothing settles it.
func (c *Conversation) offer(e Event) {
	for i, o := range e.Offers {
		p := Pending{ID: fmt.Sprintf("%d.%d", e.Number, i), Event: e.Number, Offer: o}
		if !slices.ContainsFunc(c.Told, func(t Told) bool { return !t.Skipped && t.Observation == o.Reading.Observation }) {
			c.Offers = append(c.Offers, p)
		}
	}
}

// settledBy reports whether something told leaves nothing of the offer to ask: it speaks of the same observation, or is
// one of the alternatives.
func (p Pending) settledBy(t Told) bool {
	return p.Reading.Observation.ID == t.Observation.ID ||
		slices.ContainsFunc(p.Alternatives, func(r Reading) bool { return !t.Skipped && r.Observation == t.Observation })
}

// mend notes a repair, and what was known before it: of several without a start between them, before the first.
func (c *Conversation) mend(e Event) {
	if len(c.Mended) == 0 {
		c.First = c.Request()
	}
	if len(c.Mended) == 0 || c.Start != nil {
		c.Latest = c.Request()
	}
	c.Start = nil
	c.Mended = slices.DeleteFunc(c.Mended, func(d Done) bool { return d.RepairID == e.RepairID })
	c.Mended = append(c.Mended, Done{e.RepairID, e.Number})
}

func (c Conversation) hasDone(repair string) bool {
	return slices.ContainsFunc(c.Mended, func(d Done) bool { return d.RepairID == repair })
}

// order numbers what was told by the order of telling; what came in one event has one number. The numbers of the events
// themselves say nothing more, and would make two conversations differ that went alike.
func (c Conversation) order() map[string]int {
	var events []int64
	for _, t := range c.Told {
		events = append(events, t.Event)
	}
	slices.Sort(events)
	events = slices.Compact(events)
	out := map[string]int{}
	for _, t := range c.Told {
		out[t.Observation.ID] = slices.Index(events, t.Event) + 1
	}
	return out
}

// Request is what the engine is to assess. Skipped questions are no evidence and are left out.
func (c Conversation) Request() Request {
	r := Request{Tools: c.Tools, Locale: c.Locale, EurosPerMinute: c.EurosPerMinute, Willing: c.Willing}
	r.Order = c.order()
	latest := c.cameBack
	for _, d := range c.Mended {
		r.Mended, latest = append(r.Mended, d.RepairID), max(latest, d.Event)
	}
	for _, t := range c.Told {
		if t.Skipped {
			continue
		}
		r.Observations = append(r.Observations, t.Observation)
		if t.Event < latest {
			r.Before = append(r.Before, t.Observation.ID)
		}
	}
	return r
}
