// Package words reads what people type: codes in their usual spellings, readings with what they were measured on, and
// plain phrases that the model's texts list. It believes nothing that was not said, and hands back as unclear whatever
// looks like a code or a reading and could mean several things.
package words

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lightoff/engine/knowledge"
)

// Reading is an observation found in a text, with the words it came from.
type Reading struct {
	ID       string
	State    string
	Number   float64
	IsNumber bool
	Words    string
}

// Reader reads texts. It is safe for concurrent use.
type Reader struct{ model *knowledge.Model }

// New returns a reader for the model's observations.
func New(m *knowledge.Model) *Reader { return &Reader{m} }

// span is a piece of the text that has been understood or given up on.
type span struct {
	from, to int
	reading  *Reading // nil: unclear
}

// Read finds the observations in a text, in its order, and the pieces that are unclear. asked is the observation whose
// question was open, which a bare number or word answers; it may be empty.
func (r *Reader) Read(text, asked, locale string) (readings []Reading, unclear []string) {
	lower := strings.ToLower(strings.NewReplacer("’", "'", "–", "-").Replace(text))
	if a := r.answer(lower, asked, locale); a != nil {
		return []Reading{*a}, nil
	}
	p := &page{reader: r, text: lower}
	p.phrases(r.model.Text(locale).Sayings)
	p.codes()
	p.numbers()
	slices.SortStableFunc(p.spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	last := map[string]int{}
	for _, s := range p.spans {
		words := strings.TrimSpace(lower[s.from:s.to])
		if s.reading == nil {
			unclear = append(unclear, words)
			continue
		}
		s.reading.Words = words
		if i, ok := last[s.reading.ID]; ok {
			// Said twice: the same is one reading, two different ones are a question to ask back.
			if readings[i].State != s.reading.State || readings[i].Number != s.reading.Number {
				unclear = append(unclear, words)
			}
			continue
		}
		last[s.reading.ID] = len(readings)
		readings = append(readings, *s.reading)
	}
	return readings, unclear
}

var bare = regexp.MustCompile(`^[-+]?\d+(?:[.,]\d+)?`)

// answer reads the whole text as the answer to the open question: a number, a state, its label, or yes and no.
func (r *Reader) answer(text, asked, locale string) *Reading {
	text = strings.Trim(strings.TrimSpace(text), ".!")
	states, unit := r.states(asked)
	if unit != "" {
		number := bare.FindString(text)
		rest := strings.TrimSpace(strings.TrimPrefix(text, number))
		if number == "" || (rest != "" && rest != strings.ToLower(unit)) {
			return nil
		}
		v, err := strconv.ParseFloat(strings.Replace(number, ",", ".", 1), 64)
		if err != nil {
			return nil
		}
		return &Reading{ID: asked, Number: v, IsNumber: true, Words: text}
	}
	labels := r.model.Text(locale).Observations[asked].States
	for _, s := range states {
		if text == strings.ToLower(s) || text == strings.ToLower(labels[s]) || text == strings.ReplaceAll(s, "_", " ") {
			return &Reading{ID: asked, State: s, Words: text}
		}
	}
	if n, err := strconv.Atoi(text); err == nil && asked == "fault_code" && n >= 1 && n <= 10 {
		return &Reading{ID: asked, State: code(n), Words: text}
	}
	return nil
}

func (r *Reader) states(id string) (states []string, unit string) {
	if o, ok := r.model.Observation(id); ok {
		return o.States, o.Unit
	}
	if s, ok := r.model.SetupFact(id); ok {
		for _, st := range s.States {
			states = append(states, st.ID)
		}
		return states, s.Unit
	}
	return nil, ""
}

func code(n int) string { return fmt.Sprintf("E-%02d", n) }

// page is a text while it is being read.
type page struct {
	reader *Reader
	text   string
	spans  []span
}

func (p *page) taken(from, to int) bool {
	return slices.ContainsFunc(p.spans, func(s span) bool { return from < s.to && s.from < to })
}

var (
	negation = regexp.MustCompile(`\b(?:no|not|never|without|isn't|isnt|doesn't|doesnt|don't|dont|aren't|arent|wasn't|wasnt|nor|stopped|no longer)\b[^,.;]{0,12}$`)
	doubt    = regexp.MustCompile(`\b(?:maybe|might|perhaps|not sure|unsure|could be|possibly|i think)\b[^,.;]{0,20}$`)
)

func (p *page) phrases(sayings []knowledge.Saying) {
	for _, s := range sayings {
		for _, at := range s.Pattern.FindAllStringIndex(p.text, -1) {
			if p.taken(at[0], at[1]) {
				continue
			}
			before := p.text[:at[0]]
			reading := &Reading{ID: s.ID, State: s.State}
			from := at[0]
			if n := negation.FindStringIndex(before); n != nil && !s.Plain {
				if reading.State = s.Negated; s.Negated == "" {
					continue
				}
				from = n[0]
			}
			if doubt.MatchString(before) {
				reading = nil
			}
			p.spans = append(p.spans, span{from, at[1], reading})
		}
	}
}

var codeForms = regexp.MustCompile(`\b(?:(?:error|fault|err|code)(?: ?code)?[ :#-]*(?:no\.? ?)?)?(?:e[ -]?0?|er[ -]?0?|(?:error|fault|err|code)[ :#-]*0?)(\d{1,2})\b`)

// codes finds a code only where something marks it as one: a bare number could be anything.
func (p *page) codes() {
	for _, at := range codeForms.FindAllStringSubmatchIndex(p.text, -1) {
		if p.taken(at[0], at[1]) {
			continue
		}
		n, _ := strconv.Atoi(p.text[at[2]:at[3]])
		switch {
		case negation.MatchString(p.text[:at[0]]), doubt.MatchString(p.text[:at[0]]), n == 0:
			p.spans = append(p.spans, span{at[0], at[1], nil})
		case n <= 10:
			p.spans = append(p.spans, span{at[0], at[1], &Reading{ID: p.codeID(at[0]), State: code(n)}})
		default:
			p.spans = append(p.spans, span{at[0], at[1], &Reading{ID: p.codeID(at[0]), State: "other"}})
		}
	}
}

var earlier = regexp.MustCompile(`\b(?:before|earlier|first|previously|yesterday|last (?:week|time|night)|used to show|had)\b[^,.;]{0,16}$`)

func (p *page) codeID(at int) string {
	if earlier.MatchString(p.text[:at]) {
		return "earlier_code"
	}
	return "fault_code"
}

var (
	reading = regexp.MustCompile(`\b(\d{1,2}(?:[.,]\d{1,2})?)( ?v(?:olts?)?\b)?`)
	atRest  = regexp.MustCompile(`\b(?:rest|resting|at rest|standing|heater off|with it off)\b`)
	inGlow  = regexp.MustCompile(`\b(?:glow|glowing|glows|under load|when it starts|starting|at start|on start|during start|start-?up)\b`)
	heater  = regexp.MustCompile(`\b(?:at|on) (?:the )?(?:heater|heater's plug|heater connector|unit)\b|\bheater\b`)
	battery = regexp.MustCompile(`\bbatt(?:ery)?\b`)
	panel   = regexp.MustCompile(`\b(?:panel|display|screen)\b`)
)

// numbers finds voltages: a number is one where it carries its unit or a word beside it says when it was read. Where it
// was read must be said too, unless it was at rest, when battery and heater show the same.
func (p *page) numbers() {
	matches := reading.FindAllStringSubmatchIndex(p.text, -1)
	for i, at := range matches {
		if p.taken(at[0], at[1]) {
			continue
		}
		from, to := 0, len(p.text)
		if i > 0 {
			from = matches[i-1][1]
		}
		if i+1 < len(matches) {
			to = matches[i+1][0]
		}
		unit := at[4] >= 0
		before, after := clause(p.text[from:at[0]], true), clause(p.text[at[1]:to], false)
		id, words := p.voltage(before, after, i > 0)
		if beside := before + " " + after; id == "" && !unit && !words && !battery.MatchString(beside) && !panel.MatchString(beside) {
			continue
		}
		if id == "" {
			p.spans = append(p.spans, span{at[0], at[1], nil})
			continue
		}
		v, _ := strconv.ParseFloat(strings.Replace(p.text[at[2]:at[3]], ",", ".", 1), 64)
		p.spans = append(p.spans, span{at[0], at[1], &Reading{ID: id, Number: v, IsNumber: true}})
	}
}

// clause cuts the text beside a number at the nearest comma, full stop or semicolon.
func clause(s string, before bool) string {
	if before {
		return s[strings.LastIndexAny(s, ",.;")+1:]
	}
	if i := strings.IndexAny(s, ",.;"); i >= 0 {
		return s[:i]
	}
	return s
}

// voltage tells which voltage a number is from the words after it or, where those say nothing, before it. Words before a
// later number belong to the number that they follow, so they are looked at only for the first one.
func (p *page) voltage(before, after string, later bool) (id string, words bool) {
	sides := []string{after, before}
	if later && (atRest.MatchString(before) || inGlow.MatchString(before)) {
		if !atRest.MatchString(after) && !inGlow.MatchString(after) && !strings.Contains(before, " and ") && !strings.Contains(before, "to ") {
			sides = []string{before}
		} else {
			sides = []string{after}
		}
	}
	for _, side := range sides {
		rest, glow := atRest.MatchString(side), inGlow.MatchString(side)
		switch {
		case rest && glow:
			return "", true
		case rest && panel.MatchString(side):
			return "panel_voltage", true
		case rest:
			return "rest_voltage", true
		case glow && panel.MatchString(side):
			return "panel_voltage_glow", true
		case glow && heater.MatchString(side) && !battery.MatchString(side):
			return "glow_voltage_heater", true
		case glow && battery.MatchString(side):
			return "glow_voltage_battery", true
		case glow:
			return "", true
		}
	}
	return "", false
}
