// Package words reads what people type, in any of the model's languages and in mixtures of them. It knows no
// sentences: it finds things and what is said of them, in any order and across clauses, and the model's pairs tell
// what they mean together; beside these codes in their usual spellings, and numbers with what they were measured on.
// It minds negation, doubt, what others say, the past and typing errors. What was said outright is believed; what is
// likely meant is offered, and counts only once somebody confirms it; the rest is handed back. What it knows of a
// language stands in the model's texts; the package itself knows none.
package words

//go:generate go run ./train

import (
	"cmp"
	"slices"

	"lightoff/engine/knowledge"
)

// Reading is an observation found in a text, with the words it came from.
type Reading struct {
	ID       string
	State    string
	Number   float64
	IsNumber bool
	Unknown  bool   // it was asked and could not be told
	Words    string // as they were typed
	From, To int    // where they stand, in bytes of the text

	firm bool // it was read from a denial, or from words close together
}

// Offer is what some words likely mean, or one of a few things that they can mean. It counts only once it is
// confirmed.
type Offer struct {
	Reading
	Alternatives []Reading // best first
	Danger       bool      // one of these would bring out a danger that forbids a start
	doubted      bool      // said with doubt, denied, or by others
}

// Context is what is known of a text before it is read.
type Context struct {
	Asked  string   // the observation whose question was open, which a bare number or word answers; may be empty
	Locale string   // decides where languages differ over the same letters
	Before string   // what the same person said before it, which a correction speaks of; may be empty
	Offer  *Reading // what waits to be confirmed, which a yes does where it is what is asked; may be nil
	Was    *Reading // what was told of the asked observation before, for "as before"; may be nil
}

// Result is what was found in a text, each kind in the order of the text.
type Result struct {
	Readings []Reading // said outright
	Offers   []Offer   // likely meant
	Unclear  []string  // not understood
}

// Reader reads texts. It is safe for concurrent use.
type Reader struct {
	model    *knowledge.Model
	language *language
	rules    []rule
	backdrop map[int]bool
	codes    map[int]string // number → state of the fault code
	graves   map[string]bool
	alarms   []*warner
	spread   map[string]bool             // units in which two numbers can bound one
	dangers  []knowledge.Trip            // each of which may bring out a danger that forbids a start
	hunches  *Hunches                    // nil for a model without
	parts    map[string]map[int]bool     // of each observation: the things and sayings in its rules
	lasting  map[string]bool             // observations of what has been, which words of the past make no less true
	fears    map[string][]knowledge.Trip // of each danger that forbids a start, what brings it out
}

// New returns a reader for the model's observations.
func New(m *knowledge.Model) *Reader {
	l := newLanguage(m)
	r := &Reader{model: m, language: l, rules: rules(m, l), backdrop: map[int]bool{}, codes: codeStates(m),
		graves: graves(m), spread: map[string]bool{}, dangers: trips(m),
		alarms: newWarners(m)}
	if h, err := readHunches(m.Hunches); err == nil {
		for _, w := range h.Usual {
			l.usual[w] = true
		}
		if len(h.Labels) > 0 {
			r.hunches = h
		}
	}
	r.parts, r.fears, r.lasting = partsOf(r.rules), fears(m), map[string]bool{}
	for _, x := range r.rules {
		for _, f := range x.Means {
			r.lasting[f.ID] = r.lasting[f.ID] || x.Past
		}
	}
	for _, x := range m.Measures {
		r.spread[x.Unit] = r.spread[x.Unit] || x.Spread
	}
	for _, name := range m.Backdrop {
		r.backdrop[l.name(name)] = true
	}
	return r
}

// mention is a piece of the text that speaks of an observation.
type mention struct {
	from, to int   // tokens
	on       []int // the tokens that it is read from
	key      []int // those of them that say something of a thing, or all
	reading  Reading
	others   []Reading // what else it may be, best first
	rule     *rule     // nil for codes, numbers and answers
	before   bool      // it tells of an earlier code
	vague    bool      // something is said of the observation, but not what
	void     bool      // of a thing that is said not to be there
	far      bool      // its words stand far apart
	tight    bool      // a thing and what is said of it stand together
	denied   int       // negations that belong to it
	loosely  bool      // a negation belongs to it, but other words stand between
	unsure   bool      // said with doubt, or as one of several possibilities
	doubted  bool      // said with doubt, by others, as a question or of the past
}

// Read finds the observations in a text.
func (r *Reader) Read(text string, c Context) Result {
	p := r.open(text, c.Locale)
	if len(p.tokens) == 0 {
		return Result{}
	}
	if a := p.answer(c); a != nil {
		return Result{Readings: []Reading{p.words(*a)}}
	}
	p.part()
	codes := p.codes()
	p.show(codes)
	for _, m := range p.pairUp(c.Asked) {
		x := m.mention(p, c.Asked)
		for _, i := range x.on {
			p.taken[i] = p.taken[i] || len(m.rule.Means)+len(m.rule.Implies) > 0
		}
		p.mentions = append(p.mentions, x)
	}
	p.part()
	p.mentions = append(p.mentions, codes...)
	p.mentions = append(p.mentions, p.firstYesNo(c.Asked)...)
	p.mentions = append(p.mentions, p.measures(c.Asked)...)
	slices.SortStableFunc(p.mentions, func(a, b mention) int { return cmp.Compare(a.from, b.from) })
	p.deny()
	p.doubt()
	p.dateTold()
	p.mentions = append(p.mentions, p.corrected(c)...)
	return r.warned(text, p.second(p.settle(), c))
}

// show puts the codes among what the text speaks of.
func (p *page) show(codes []mention) {
	for _, m := range codes {
		p.spoken = slices.DeleteFunc(p.spoken, func(h hit) bool { return h.from < m.to && h.to > m.from })
		if m.reading.ID == p.roles().CodeTable {
			continue
		}
		e := &entry{role: speaks, name: knowledge.CodeShown, id: p.lang.name(knowledge.CodeShown), thing: true,
			in: p.main[m.from]}
		h := hit{entry: e, from: m.from, to: m.to, on: m.on}
		p.spoken = append(p.spoken, h)
		p.coded = append(p.coded, h)
	}
	slices.SortStableFunc(p.spoken, func(a, b hit) int { return cmp.Compare(a.from, b.from) })
}

// outcome is what became of a mention.
type outcome int

const (
	believed outcome = iota
	offered
	meansNothing
)

// judge decides what a mention says, and whether that is believed. An offer may be one of several things.
func (p *page) judge(m mention) (out []Reading, o outcome) {
	if m.rule == nil {
		switch {
		case m.unsure, m.denied > 0:
			return append(known(m.reading), m.others...), offered
		}
		return append([]Reading{m.reading}, m.others...), believed
	}
	means, denied := readings(m.rule.Means), readings(m.rule.Denied)
	if m.before {
		means, denied = p.earlierCodes(means), p.earlierCodes(denied)
	}
	switch {
	case m.unsure && m.denied == 1, m.denied > 1:
		return append(denied, means...), offered
	case m.void:
		return nil, meansNothing
	case m.unsure && len(means) == 0:
		return nil, meansNothing
	case m.unsure, m.denied == 0 && (m.far || m.rule.Either):
		if m.rule.Either {
			return means, offered
		}
		return append(means, denied...), offered
	case m.denied == 1 && (m.loosely || m.far || p.grave(denied) && p.uncertain(m)):
		return append(denied, means...), offered
	case m.denied == 1 && len(denied) > 1 && denied[0].ID == denied[1].ID:
		return denied, offered // one of these
	case m.denied == 1:
		means = denied
	}
	if len(means) == 0 && (m.denied > 0 || len(m.rule.Implies) == 0) {
		return nil, meansNothing
	}
	return means, believed
}

// known is a reading as a list, or none if it has no value.
func known(r Reading) []Reading {
	if r.ID == "" || r.State == "" && !r.IsNumber && !r.Unknown {
		return nil
	}
	return []Reading{r}
}

func readings(fs []knowledge.Finding) []Reading {
	var out []Reading
	for _, f := range fs {
		out = append(out, Reading{ID: f.ID, State: f.State, Number: f.Number, IsNumber: f.IsNumber})
	}
	return out
}

// grave reports whether any of some readings is of a danger, where a wrong "no" could kill.
func (p *page) grave(rs []Reading) bool {
	return slices.ContainsFunc(rs, func(r Reading) bool { return p.reader.graves[r.ID] })
}

// uncertain reports whether a denial was read through a typing error, or shares its stretch of words with another
// negation.
func (p *page) uncertain(m mention) bool {
	return p.misspelt(m.on) || slices.ContainsFunc(p.idle, func(i int) bool {
		return p.toMark(i,
			1) == p.toMark(m.from, 1)
	})
}

// graves lists what the safety card asks and what any danger of the model hangs on.
func graves(m *knowledge.Model) map[string]bool {
	out := map[string]bool{}
	for _, o := range m.Observations {
		out[o.ID] = o.SafetyCard
	}
	for _, d := range m.Dangers {
		for _, trigger := range d.Any {
			for _, trip := range trigger.All {
				out[trip.ID] = true
			}
		}
	}
	return out
}

// noStart is the severity from which on a danger forbids a start.
const noStart = 2

// trips lists what brings out a danger that forbids a start: alone, or as the first that its trigger names.
func trips(m *knowledge.Model) []knowledge.Trip {
	var out []knowledge.Trip
	for _, d := range m.Dangers {
		for _, trigger := range d.Any {
			if d.Severity >= noStart && len(trigger.All) > 0 {
				out = append(out, trigger.All[0])
			}
		}
	}
	return out
}

// fears lists, for each danger that forbids a start, what brings it out.
func fears(m *knowledge.Model) map[string][]knowledge.Trip {
	out := map[string][]knowledge.Trip{}
	for _, d := range m.Dangers {
		for _, trigger := range d.Any {
			if d.Severity >= noStart && len(trigger.All) > 0 && len(trigger.All[0].States) > 0 {
				out[d.ID] = append(out[d.ID], trigger.All[0])
			}
		}
	}
	return out
}

// dangerous reports whether a reading may bring out a danger.
func (r *Reader) dangerous(x Reading) bool {
	return slices.ContainsFunc(r.dangers, func(t knowledge.Trip) bool {
		return t.ID == x.ID &&
			slices.Contains(t.States, x.State)
	})
}

// soothes reports whether a reading says that something is well that may be a danger.
func (r *Reader) soothes(x Reading) bool {
	return !r.dangerous(x) && slices.ContainsFunc(r.dangers, func(t knowledge.Trip) bool { return t.ID == x.ID })
}
