// Package words reads what people type, in any of the model's languages and in mixtures of them: codes in their usual
// spellings, readings with what they were measured on, and plain phrases that the model's texts list, through negation,
// doubt and typing errors. It believes nothing that was not said, and hands back as unclear whatever looks like an
// observation and could mean several things, or is said with doubt. What it knows of a language stands in the model's
// texts; the package itself knows none.
package words

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
}

// Offer is what some words likely mean, or one of a few things that they can mean. It counts only once it is confirmed.
type Offer struct {
	Reading
	Alternatives []Reading // best first
	Danger       bool      // one of these would bring out a danger that forbids a start
}

// Context is what is known of a text before it is read.
type Context struct {
	Asked  string   // the observation whose question was open, which a bare number or word answers; may be empty
	Locale string   // decides where languages differ over the same letters
	Before string   // what the same person said before it, which a correction speaks of; may be empty
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
	codes    map[int]string // number → state of the fault code
	graves   map[string]bool
	alarms   []*warner
}

// New returns a reader for the model's observations.
func New(m *knowledge.Model) *Reader {
	return &Reader{model: m, language: newLanguage(m), codes: codeStates(m), graves: graves(m), alarms: newWarners(m)}
}

// mention is a piece of the text that speaks of an observation.
type mention struct {
	from, to int // tokens
	reading  Reading
	saying   *knowledge.Saying
	vague    bool // something is said of the observation, but not what
	denied   int  // negations that belong to it
	loosely  bool // a negation belongs to it, but other words stand between
	unsure   bool // said with doubt, or as one of several possibilities
}

// Read finds the observations in a text.
func (r *Reader) Read(text string, c Context) Result {
	p := r.open(text, c.Locale)
	if a := p.answer(c.Asked); a != nil {
		return Result{Readings: []Reading{p.words(*a)}}
	}
	readings, unclear := p.read(c.Asked)
	return r.warned(text, Result{Readings: readings, Unclear: unclear})
}

func (p *page) read(asked string) (readings []Reading, unclear []string) {
	p.mentions = append(p.mentions, p.sayings()...)
	p.part()
	p.mentions = append(p.mentions, p.codes()...)
	p.mentions = append(p.mentions, p.firstYesNo(asked)...)
	p.mentions = append(p.mentions, p.measures(asked)...)
	slices.SortStableFunc(p.mentions, func(a, b mention) int { return cmp.Compare(a.from, b.from) })
	p.deny()
	p.doubt()
	return p.settle()
}

// outcome is what became of a mention.
type outcome int

const (
	believed outcome = iota
	askBack
	meansNothing
)

// judge decides whether a mention is believed, and gives its reading.
func (p *page) judge(m mention) (Reading, outcome) {
	out := m.reading
	own := m.saying != nil && m.saying.Plain // the phrase holds its own negation
	switch {
	case m.unsure, m.denied > 1 && !own:
		return out, askBack
	case m.denied == 1 && !own:
		switch {
		case m.saying == nil, m.loosely, m.saying.Negated != "" && p.grave(m) && p.uncertain(m):
			return out, askBack
		case m.saying.Negated == "":
			return out, meansNothing
		}
		out.State = m.saying.Negated
		return out, believed
	case own && p.grave(m) && (p.uncertain(m) || p.measured(m.from, m.to, m.saying.Pattern.Words())), m.vague:
		return out, askBack
	}
	return out, believed
}

// grave tells whether a mention is of a danger, where a wrong "no" could kill.
func (p *page) grave(m mention) bool { return p.reader.graves[m.reading.ID] }

// uncertain tells whether a denial was read through a typing error, or shares its stretch of words with another negation.
func (p *page) uncertain(m mention) bool {
	return p.misspelt(m.from, m.to) || slices.ContainsFunc(p.idle, func(i int) bool { return p.toMark(i, 1) == p.toMark(m.from, 1) })
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

// settle turns mentions into readings. What is said twice is one reading; what contradicts itself is asked back; what is
// vague in one place and clear in another is clear.
func (p *page) settle() (readings []Reading, unclear []string) {
	type judged struct {
		mention
		reading Reading
		outcome outcome
	}
	var all []judged
	clear := map[string][]Reading{}
	denied := map[string]bool{}
	for _, m := range p.mentions {
		r, o := p.judge(m)
		if o == meansNothing {
			continue
		}
		all = append(all, judged{m, p.words(r, m), o})
		if o == believed {
			clear[r.ID] = append(clear[r.ID], r)
			denied[r.ID] = denied[r.ID] || m.denied > 0 || m.saying != nil && m.saying.Plain
		}
	}
	done := map[string]bool{}
	for _, j := range all {
		id := j.reading.ID
		same := agree(clear[id]) && !(denied[id] && p.vagueElsewhere(id))
		switch {
		case j.outcome == askBack && j.vague && !j.unsure && len(clear[id]) > 0 && same:
		case j.outcome == askBack || !same:
			unclear = append(unclear, j.reading.Words)
		case !done[id]:
			done[id] = true
			readings = append(readings, j.reading)
		}
	}
	return readings, slices.Compact(unclear)
}

// vagueElsewhere tells whether the observation is also spoken of without its state and without negation.
func (p *page) vagueElsewhere(id string) bool {
	return slices.ContainsFunc(p.mentions, func(m mention) bool { return m.reading.ID == id && m.vague && m.denied == 0 })
}

func agree(rs []Reading) bool {
	return !slices.ContainsFunc(rs, func(r Reading) bool { return r.State != rs[0].State || r.Number != rs[0].Number })
}

// words gives a reading the words that it came from.
func (p *page) words(r Reading, m ...mention) Reading {
	from, to := 0, len(p.tokens)
	if len(m) > 0 {
		from, to = m[0].from, m[0].to
	}
	for to > from+1 && p.tokens[to-1].mark {
		to--
	}
	r.From, r.To = p.tokens[from].from, p.tokens[to-1].to
	r.Words = p.text[r.From:r.To]
	return r
}
