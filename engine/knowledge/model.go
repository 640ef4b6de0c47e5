// Package knowledge reads fault knowledge that a mechanic can write and correct: text files that say what can be
// wrong, what each fault brings about and how it is seen. Load checks them, naming file, line and what is wrong, and
// compiles them into a Bayesian network whose base rates are fitted so that, given a complaint and nothing else, each
// cause has exactly the probability that its file states.
//
// The package has two rooms. The lower one is the format: node.go and yaml.go read a file as a tree that knows its
// lines; parse.go and its neighbours (finding, reading, sequence, danger, binding, learnt) turn trees into causes,
// links and rules; phrase, grammar, lexicon, alarm, gatewords and text read the words; check.go names what is wrong. It
// knows no network. The upper one is the network made of it: compile.go builds it, fit.go finds the base rates, an
// [Inquiry] (evidence.go) holds the findings of one case, and installation, levels, survey, weigh, information, runs,
// part and paths answer what it is asked. numbers.go lets what was learnt in, compact.go carries a model to a browser,
// lint.go asks the network what the check cannot see. A test holds the border.
//
// The package knows the format, not any appliance. A Model is immutable and safe to share.
package knowledge

import (
	"slices"

	"lightoff/engine/bayes"
)

// Model is a loaded, checked and compiled knowledge base.
type Model struct {
	Version      string // changes whenever a file does
	LearntFrom   string // the version that learnt numbers were learnt from, where they say it; empty without such numbers
	Causes       []Cause
	Setup        []SetupFact
	Observations []Observation
	Repairs      []Repair
	Endings      []Ending
	// observations that report whether a start goes as it should, in the order in which they show
	Watch       []string
	StartPhases []StartPhase // of a start, in their order
	Dangers     []Danger
	Limits      []Limit
	Tools       []string
	Parts       []string // of the machine, in which a cause can sit; empty for a model that names none
	CodeTables  []CodeTable
	Measures    []Measure
	Pairs       []Pair
	Answers     []Answer
	Follows     []Follow
	Roles       Roles
	Backdrop    []string // things that are where the heater is rather than what is spoken of
	Hunches     []byte   // weights of the second reader of texts, as package words reads them; empty for a model without

	texts     map[string]*Texts
	locales   []string
	variables map[string]*variable
	byID      map[string]ref
	network   *bayes.Network
	compiled
	files *files // what the readings were compiled from
}

// Roles are the identifiers that general code speaks of by what they are for, as the model declares them. One that it
// does not have is empty.
type Roles struct {
	Code        string // the observation of the code that the machine shows
	EarlierCode string // the one that it showed before
	CodeTable   string // the setup fact that names the table its codes follow
	Complaint   string // the observation of what is wrong
	FailsWhen   string // the observation of when it fails
	Alarm       string // the observation of what the alarm does that warns of the machine's worst danger
	AlarmFitted string // the setup fact of whether there is such an alarm
}

// Cause is a mechanism that can be active and take part in a failure.
type Cause struct {
	ID          string
	Group       string
	Part        string  // one of the model's parts, or NoPart; empty where the model names none
	PerThousand float64 // of 1,000 heaters brought in with a complaint, those in which it is active
	Basis       string
	Computed    bool // true if it means that nothing is the matter: what people complain of has not come about
	Raised      []Raise
	Unconfirmed string // why no finding can confirm it; may be empty
	RateFrom    string // the computation that makes its base rate of setup facts; may be empty

	computation *Computation
	silent      float64 // what it computes where nothing is known
}

// NoPart is the part of a cause that sits in none.
const NoPart = "none"

// Raise is the factor by which a setup fact's state multiplies a cause's base rate, before averaging over setups.
type Raise struct {
	Setup  string
	State  string
	Factor float64
}

// SetupFact is something known before anything is tested. It conditions base rates and is no variable of the network,
// save where Variable says so.
type SetupFact struct {
	ID       string
	States   []SetupState
	Unit     string // for a number
	Min, Max float64
	Variable bool   // true: it is a variable of the network and its states' shares are its prior
	Habit    string // the state that is a habit of the owner which brings faults about; may be empty
}

// SetupState is a state of a setup fact with its share among heaters brought in. For a number it is the band below
// Below and not below the state before; Typical values stand for it where one is needed.
type SetupState struct {
	ID      string
	Share   float64
	Below   float64
	Typical []float64
}

// Observation is something that can be seen, heard, smelt, measured or recalled.
type Observation struct {
	ID         string
	States     []string // none for a number
	Unit       string   // for a number
	Min, Max   float64  // physically possible, for a number
	Tool       string
	Minutes    float64
	Difficulty int // 1 anybody, 2 handy, 3 workshop
	Gates      Gates
	SafetyCard bool
	Recalled   bool     // answered from memory, at no cost
	Since      bool     // it tells what has been done or has changed since: what is told after it counts anew
	AtOnce     bool     // asked as soon as OnlyIf allows it, for what was told may be two things, one of them dangerous
	Denies     []string // observations, each of which it asks for in one question: its first state denies them all
	Does       string   // the repair that its last state says was made; may be empty
	OnlyIf     []Condition
	VoidIf     []Condition // any of them makes it tell nothing, for the start ended before this part operated
	SureIf     []Condition // if there are any and none of them holds, it is as likely as not that it tells nothing
}

// Condition holds when the observation or setup fact was told to be in one of the states (or was not told, if the
// condition is Unless).
type Condition struct {
	ID     string
	States []string
	Unless bool
}

// Repair mends causes.
type Repair struct {
	ID       string
	Mends    []string
	Minutes  float64
	Euros    float64
	Gates    Gates
	After    []string  // observations to make first
	Behind   []string  // repairs that take less effort and are tried before it while its cause is in doubt
	Points   []Trigger // findings that point to it, among all repairs of the same cause
	Against  []Trigger // findings that rule it out
	Disturbs []Disturbance
	Basis    string
}

// Disturbance is a cause that a repair may itself bring about, and the chance of it.
type Disturbance struct {
	Cause string
	P     float64
}

// Ending is a way to be done with the search for its price: it mends the causes of whole groups and single ones.
type Ending struct {
	Kind          string // Replace or Licensed
	Minutes       float64
	Euros         float64
	Groups, Mends []string
	Everything    bool // it mends whatever it is
}

// The kinds of endings.
const (
	Replace  = "replace"  // the appliance is renewed
	Licensed = "licensed" // somebody licensed is called
)

// Ends reports whether the ending mends a cause.
func (e Ending) Ends(c Cause) bool {
	return e.Everything || slices.Contains(e.Groups, c.Group) || slices.Contains(e.Mends, c.ID)
}

// CodeTable translates what a panel shows into the states of the fault code observation.
type CodeTable struct {
	ID    string
	Codes map[string]string // as shown, lower case → state
}

// Texts are a language's words for everything in the model.
type Texts struct {
	Locale       string
	Causes       map[string]CauseText
	Observations map[string]ObservationText
	Repairs      map[string]RepairText
	Dangers      map[string]DangerText
	Tools        map[string]string
	Phrases      map[string]string
	Grammar      *Grammar // nil where the language has none
	Alarms       []Alarm
	AlarmGrammar AlarmGrammar
	GateWords    map[string]GateWords // by gate; empty where the language has none
	Lexicon      *Lexicon             // the same
}

// CauseText names and explains a cause. Sentence says it as a whole sentence, a thing and what it does.
type CauseText struct{ Title, Sentence, Explain string }

// ObservationText asks for an observation.
type ObservationText struct {
	Title, Question, How, Normal, Why string
	Cautions                          []Caution
	States                            map[string]string
}

// RepairText describes a repair; Steps are what to do, in order, a sentence each.
type RepairText struct {
	Title             string
	Parts, Steps      []string
	Cautions          []Caution
	Proof, Prevention string
}

// StartPhase is a phase of a start: when, in seconds from switching on, it should come at the earliest and at the
// latest.
type StartPhase struct {
	ID          string
	From, Until float64
}

// Caution is a sentence to be minded with a check or a repair. Cautions are sorted by when that is.
type Caution struct {
	When CautionPhase
	Text string
}

// CautionPhase is when a caution is to be minded.
type CautionPhase int

// The phases of a check or repair: before it is begun, while it is made, once it is made; and what it is never to
// become.
const (
	Before CautionPhase = iota
	During
	After
	Never
)

var cautionPhases = []string{"before", "during", "after", "never"}

// Cautions are the sentences alone, in their order.
func Cautions(cautions []Caution) []string {
	out := make([]string, len(cautions))
	for i, c := range cautions {
		out[i] = c.Text
	}
	return out
}

// DangerText says what a danger is and what to do: in one text, and in steps of a sentence each, first those to take
// now, then those of the way out.
type DangerText struct {
	Title, Text   string
	Steps, WayOut []string
}

type refKind int

const (
	refCause refKind = iota + 1
	refSetup
	refObservation
	refEffect
	refRepair
)

type ref struct {
	kind  refKind
	index int
}

// Cause returns the cause with the id.
func (m *Model) Cause(id string) (*Cause, bool) {
	r, ok := m.byID[id]
	if !ok || r.kind != refCause {
		return nil, false
	}
	return &m.Causes[r.index], true
}

// Observation returns the observation with the id.
func (m *Model) Observation(id string) (*Observation, bool) {
	r, ok := m.byID[id]
	if !ok || r.kind != refObservation {
		return nil, false
	}
	return &m.Observations[r.index], true
}

// SetupFact returns the setup fact with the id.
func (m *Model) SetupFact(id string) (*SetupFact, bool) {
	r, ok := m.byID[id]
	if !ok || r.kind != refSetup {
		return nil, false
	}
	return &m.Setup[r.index], true
}

// Text returns the words in the language of the locale (BCP 47), or in English where there are none.
func (m *Model) Text(locale string) *Texts {
	if t, ok := m.texts[locale]; ok {
		return t
	}
	if len(locale) > 2 {
		return m.Text(locale[:2])
	}
	return m.texts["en"]
}

// Locales lists the languages that texts exist in, sorted.
func (m *Model) Locales() []string { return m.locales }

// Network is the model's Bayesian network.
func (m *Model) Network() *bayes.Network { return m.network }

// Tree is the compiled network.
func (m *Model) Tree() *bayes.JoinTree { return m.tree }

// Outcomes lists what an observation can show: its states as the network has them, the bands of a number.
func (m *Model) Outcomes(id string) []string {
	if v, ok := m.variables[id]; ok {
		return v.states
	}
	return nil
}
