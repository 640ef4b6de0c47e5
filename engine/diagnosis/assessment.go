package diagnosis

import (
	"fmt"
	"strings"

	"lightoff/engine/knowledge"
)

// ValueKind says how an observation was answered.
type ValueKind int

const (
	// StateValue is an answer that names one of the observation's states.
	StateValue ValueKind = iota
	// NumberValue is a reading in the observation's unit.
	NumberValue
	// UnknownValue is "can't tell": asked, but no evidence.
	UnknownValue
)

// Observation is one thing that was told about a heater.
type Observation struct {
	ID     string    `json:"id"`
	Kind   ValueKind `json:"kind"`
	State  string    `json:"state,omitempty"`  // for StateValue
	Number float64   `json:"number,omitempty"` // for NumberValue, in the observation's unit
}

// Request is everything known about one heater. The order of the observations never matters.
type Request struct {
	Observations []Observation
	Tools        []string
	Locale       string // BCP 47; falls back to English

	EurosPerMinute float64  // what a minute of the owner's is worth; 0 means 1
	Mended         []string // ids of repairs that were done, and the heater is not well for all that; the latest last
	Before         []string // ids of the observations that were told before the latest of these repairs

	Order map[string]int // in which observations were told, for what was done since; nil if all was told at once

	Willing int // most that the owner does: 1 nothing opened, 2 fuel and cold covers, 3 the burner too; 0 means 3
}

// Assessment is what follows from a Request.
type Assessment struct {
	ModelVersion   string
	Causes         []RankedCause // all, most probable first
	NextChecks     []AdvisedCheck
	Dangers        []Danger // most severe first
	Plan           Plan
	Conflict       float64 // nats; see the API
	Contradictions []Contradiction
	Chains         []Chain // what has probably brought about the likely causes
	Unused         []Unused
	LikelyPair     *Pair // where it may well be more than one thing; else nil
}

// Pair is two causes that may well both be active.
type Pair struct {
	CauseIDs    [2]string // the more probable first
	Probability float64   // that both are active
	Several     float64   // that more than one cause takes part in the failure
	Text        string
}

// RankedCause is a cause with the probability that it takes part in today's failure, given that something does which
// the model lists. A fault that is there and changes nothing takes no part. See takesPart.
type RankedCause struct {
	ID          string
	Title       string
	Sentence    string // the same as a whole sentence; may be empty
	Part        string // of the heater, in which it sits; "none" or empty for none
	Probability float64
	Likelihood  string             // the probability in words
	BaseRate    float64            // given the complaint and the setup facts only
	Weights     []WeightOfEvidence // for the leading causes, strongest first
}

// WeightOfEvidence is the change in a cause's log odds, in bits, when one finding joins all the others.
type WeightOfEvidence struct {
	ObservationID string
	Text          string
	Bits          float64
}

// AdvisedCheck is a check worth making.
type AdvisedCheck struct {
	ObservationID string
	Question      string
	GainBits      float64
	Saving        float64 // expected drop in the plan's cost, were the check free; euros, minutes among them
	Minutes       float64
	Reason        string
	Tool          string
	About         []string // cause ids, those it tells most about first
}

// Severity grades a danger.
type Severity int

const (
	// Caution must be put right before the heater is used as usual.
	Caution Severity = iota + 1
	// NoStart forbids a start until it is dealt with.
	NoStart
	// Urgent asks for an act now.
	Urgent
	// LeaveNow sends everybody out.
	LeaveNow
)

// Danger comes before any diagnosis.
type Danger struct {
	ID            string
	Title         string
	Text          string   // all that is to be done
	Steps         []string // what to do now, a sentence each
	WayOut        []string // what has to be done before it is over, a sentence each
	Severity      Severity
	Triggers      []string // observation ids
	CallEmergency bool
	Forbids       []string // gates
	LiftedBy      []Lift   // what would lift it if it were told
	MendedBy      []string // ids of the repairs that it asks for
}

// Lift is what lifts a danger when all of it is told.
type Lift struct {
	Told []Observation
	Of   []string // the triggers that it lifts; none named means all
}

// Plan lists repairs worth making, in order.
type Plan struct {
	Steps     []PlanStep
	Ending    *Ending // nil where the steps are likely to do
	NextCheck string  // observation worth making before any repair; empty where none saves more than it costs
	Note      string
}

// Ending is where it becomes cheaper to stop mending: after so many of the steps. Those behind it are for whoever would
// rather go on.
type Ending struct {
	Kind           string // as in the model: replace or licensed
	After          int
	Minutes, Euros float64
	Probability    float64 // that it comes to that
	ExpectedCost   float64 // euros, minutes among them: of the whole plan with this ending
	Text           string
}

// PlanStep is one repair.
type PlanStep struct {
	RepairID, CauseID string
	Title             string
	Probability       float64 // that the cause is active
	Minutes           float64
	Euros             float64
	Cautions          []knowledge.Caution
	Parts             []string
	Steps             []string // what to do, in order, a sentence each
	Proof             string
	Prevention        string
	Together          bool    // made at one opening with the step before it; the start is watched after both
	Fixed             float64 // probability that all is well after this and all earlier steps
	// euros, minutes among them, spent on average up to and with this step; 0 while a danger forbids it
	ExpectedCost float64
	HeldBack     string // why it must wait; empty where it may be done
	Danger       string // id of the standing danger that asks for it, whatever the complaint; empty for none
}

// Contradiction names findings that hardly fit together, the most doubtful first.
type Contradiction struct {
	ObservationIDs []string
	Text           string
}

// Unused is an observation that changed nothing.
type Unused struct {
	ID     string
	Reason string
}

// Explanation explains one cause.
type Explanation struct {
	Cause       RankedCause // with all its weights
	Explanation string
	WouldChange []WhatIf
}

// WhatIf is a finding not yet made and what it would do to the cause.
type WhatIf struct {
	ObservationID, State, Text string
	Probability, After         float64
}

// Violation is one thing wrong with a request. Field is a path such as observations[2].state.
type Violation struct{ Field, Description string }

// Violations gathers what is wrong with a request, so that its caller learns all of it at once.
type Violations []Violation

// Add notes what is wrong with a field.
func (v *Violations) Add(field, format string, args ...any) {
	*v = append(*v, Violation{Field: field, Description: fmt.Sprintf(format, args...)})
}

// Err is an [InputError] with all that was added, or nil if nothing was.
func (v Violations) Err() error {
	if len(v) == 0 {
		return nil
	}
	return &InputError{Violations: v}
}

// InputError lists all that is wrong with a request; nothing of it was used.
type InputError struct{ Violations []Violation }

// Error implements error.
func (e *InputError) Error() string {
	parts := make([]string, len(e.Violations))
	for i, v := range e.Violations {
		parts[i] = fmt.Sprintf("%s: %s", v.Field, v.Description)
	}
	return strings.Join(parts, "; ")
}
