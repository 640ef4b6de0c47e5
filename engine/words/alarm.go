package words

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"lightoff/engine/knowledge"
)

// Heard is something in a text that is a danger or may be one.
type Heard struct {
	*knowledge.Alarm
	Doubtful bool   // ask before it counts: it is perhaps denied, of another thing, or a question
	Words    string // as they were typed
	From, To int    // where they stand, in bytes of the text
}

// Alarms finds what in a text warns at once, by the model's words that warn and nothing else. A page does the same with
// the same words where it has no signal, so whoever changes this changes static/signs.js too; one table of sentences
// tests both. What is said outright stands before what is doubtful.
func (r *Reader) Alarms(text string) []Heard {
	var out []Heard
	for _, w := range r.alarms {
		for _, h := range w.hear(text) {
			i := slices.IndexFunc(out, func(o Heard) bool { return o.ID == h.ID && o.State == h.State })
			switch {
			case i < 0:
				out = append(out, h)
			case out[i].Doubtful && !h.Doubtful:
				out[i] = h
			}
		}
	}
	return soundly(out)
}

// soundly puts what is certain first, and leaves out doubts about an observation of which something is certain.
func soundly(all []Heard) []Heard {
	var out []Heard
	for _, doubtful := range []bool{false, true} {
		for _, h := range all {
			if h.Doubtful == doubtful && !slices.ContainsFunc(out, func(o Heard) bool { return o.ID == h.ID && !o.Doubtful }) {
				out = append(out, h)
			}
		}
	}
	return out
}

// warned is the floor under what was read: what could be a danger is never only unclear. What is said outright counts,
// what is doubtful is offered, and where the words that warn contradict what was read, both are offered.
func (r *Reader) warned(text string, found Result) Result {
	for _, h := range r.Alarms(text) {
		for _, words := range found.Unclear {
			if at := strings.Index(text, words); at <= h.From && at+len(words) >= h.To {
				h.Words, h.From, h.To = words, at, at+len(words)
			}
		}
		meant := h.readings()
		same := func(x Reading) bool { return x.ID == h.ID }
		i := slices.IndexFunc(found.Readings, same)
		k := slices.IndexFunc(found.Offers, func(o Offer) bool { return same(o.Reading) })
		offer := Offer{Reading: meant[0], Alternatives: meant[1:], Danger: true}
		switch {
		case i < 0 && !h.Doubtful:
			found.Readings = append(found.Readings, meant[0])
			found.Offers = slices.DeleteFunc(found.Offers, func(o Offer) bool { return same(o.Reading) })
		case i < 0 && k < 0:
			found.Offers = append(found.Offers, offer)
		case i < 0:
			found.Offers[k].Danger = true
		case h.Asks && slices.Contains(h.Choices, found.Readings[i].State):
			found.Readings = slices.Delete(found.Readings, i, i+1)
			found.Offers = append(found.Offers, offer)
		case !h.Doubtful && found.Readings[i].State != h.State:
			offer.Alternatives = append(offer.Alternatives, found.Readings[i])
			found.Readings = slices.Delete(found.Readings, i, i+1)
			found.Offers = append(found.Offers, offer)
		}
		found.Unclear = slices.DeleteFunc(found.Unclear, func(words string) bool {
			return strings.Contains(h.Words, words) || strings.Contains(words, h.Words)
		})
	}
	slices.SortStableFunc(found.Readings, func(a, b Reading) int { return cmp.Compare(a.From, b.From) })
	slices.SortStableFunc(found.Offers, func(a, b Offer) int { return cmp.Compare(a.From, b.From) })
	return found
}

// readings are what an alarm may mean, likeliest first.
func (h Heard) readings() []Reading {
	states := h.Choices
	if h.State != "" {
		states = []string{h.State}
	}
	var out []Reading
	for _, state := range states {
		out = append(out, Reading{ID: h.ID, State: state, Words: h.Words, From: h.From, To: h.To})
	}
	return out
}

// warner finds a language's alarms.
type warner struct {
	alarms                                                       []alarm
	negate, negateLast, spent, fillers, doubt, lists, breaksAnew *regexp.Regexp
}

type alarm struct {
	*knowledge.Alarm
	groups []*regexp.Regexp
	doubt  *regexp.Regexp
}

func newWarners(m *knowledge.Model) []*warner {
	var out []*warner
	for _, locale := range m.Locales() {
		t := m.Text(locale)
		g := t.AlarmGrammar
		w := &warner{negate: anyOf(g.Negate), negateLast: anyOf(g.NegateLast), spent: anyOf(g.Spent),
			fillers: anyOf(g.Fillers), doubt: anyOf(g.Doubt), lists: anyOf(g.Lists), breaksAnew: anyOf(g.Breaks)}
		for i := range t.Alarms {
			a := alarm{Alarm: &t.Alarms[i], doubt: anyOf(t.Alarms[i].Doubt)}
			for _, group := range t.Alarms[i].Groups {
				a.groups = append(a.groups, anyOf(group))
			}
			w.alarms = append(w.alarms, a)
		}
		out = append(out, w)
	}
	return out
}

// anyOf is nil where there are no phrases, which matches nothing.
func anyOf(phrases []*knowledge.Phrase) *regexp.Regexp {
	if len(phrases) == 0 {
		return nil
	}
	return regexp.MustCompile("^(?:" + knowledge.AnyOf(phrases) + ")")
}

// spoken is a text cut into folded words.
type spoken struct {
	text     string
	line     string // the words, each followed by a space
	words    []said
	question map[int]bool // those that end in a question mark
}

type said struct {
	at               int // in line
	from, to         int // in text
	clause, sentence int
}

// cut takes a text apart. What is no letter, digit or apostrophe parts words; a comma or bracket parts clauses; a full
// stop that no letter or digit follows, a question mark, an exclamation mark, a semicolon and a new line part
// sentences.
func cut(text string) *spoken {
	s := &spoken{text: text, question: map[int]bool{}}
	runes := []rune(text)
	word, from, at, clause, sentence := "", -1, 0, 0, 0
	end := func() {
		if word != "" {
			s.words = append(s.words, said{at: len(s.line), from: from, to: at, clause: clause, sentence: sentence})
			s.line += word + " "
		}
		word, from = "", -1
	}
	for i, r := range runes {
		folded := knowledge.FoldRune(r)
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r) || r == '\u0308':
			if from < 0 {
				from = at
			}
			word += folded
		case folded == "": // an apostrophe
		default:
			end()
			open := i+1 < len(runes) && (unicode.IsLetter(runes[i+1]) || unicode.IsDigit(runes[i+1]))
			switch {
			case r == ',' || r == '(' || r == ')':
				clause++
			case r == '.' && !open, r == '?', r == '!', r == ';', r == '\n':
				s.question[sentence] = s.question[sentence] || r == '?'
				clause++
				sentence++
			}
		}
		at += len(string(r))
	}
	end()
	return s
}

// is returns how many words from i on an expression covers; 0 if it does not fit there.
func (s *spoken) is(e *regexp.Regexp, i int) int {
	if e == nil || i < 0 || i >= len(s.words) {
		return 0
	}
	end := len(s.line)
	if i+longestAlarm < len(s.words) {
		end = s.words[i+longestAlarm].at // a matcher's cost grows with what it may look at
	}
	return strings.Count(e.FindString(s.line[s.words[i].at:end]), " ")
}

// alarmHit is an alarm found in a text.
type alarmHit struct {
	alarm
	from, to int
	mine     []bool // the words that its groups cover
}

// ending is how many words an expression covers that end with word i; 0 if none do.
func (s *spoken) ending(e *regexp.Regexp, i int) int {
	for n := 1; n <= longestPhrase; n++ {
		if s.is(e, i-n+1) == n {
			return n
		}
	}
	return 0
}

// longestAlarm is how many words a phrase of the alarms has at most.
const longestAlarm = 12

// longestPhrase is how many words a negation, or what it is spent on, may have.
const longestPhrase = 3

// hear finds a language's alarms in a text, also more than one for the same alarm.
func (w *warner) hear(text string) []Heard {
	s := cut(text)
	var hits []alarmHit
	covered := make([]bool, len(s.words))
	for _, a := range w.alarms {
		for _, h := range a.find(s) {
			hits = append(hits, h)
			for i := h.from; i < h.to; i++ {
				covered[i] = covered[i] || h.mine[i]
			}
		}
	}
	var out []Heard
	for _, h := range hits {
		denied, doubtful := w.weigh(s, h, covered)
		if denied && !doubtful {
			continue
		}
		from, to := s.words[h.from].from, s.words[h.to-1].to
		out = append(out, Heard{h.Alarm, doubtful, text[from:to], from, to})
	}
	return out
}

// find returns where an alarm's groups stand close together within a sentence. Of those that hold another one, only the
// other counts.
func (a alarm) find(s *spoken) []alarmHit {
	covers := make([][]int, len(a.groups)) // of each group and word: how many words it covers from there on
	for g, group := range a.groups {
		covers[g] = make([]int, len(s.words))
		said := false
		for i := range s.words {
			covers[g][i] = s.is(group, i)
			said = said || covers[g][i] > 0
		}
		if !said {
			return nil
		}
	}
	var out []alarmHit
	for i := len(s.words) - 1; i >= 0; i-- {
		h := alarmHit{alarm: a, from: i, to: i, mine: make([]bool, len(s.words))}
		whole := true
		for _, cover := range covers {
			j, n := a.next(s, cover, i)
			for k := j; k < j+n; k++ {
				h.mine[k] = true
			}
			whole = whole && n > 0
			h.to = max(h.to, j+n)
		}
		if whole && h.mine[i] && h.to-h.from <= a.Within && !(len(out) > 0 && out[len(out)-1].to <= h.to) {
			out = append(out, h)
		}
	}
	slices.Reverse(out)
	return out
}

// next finds where a group is said from word i on, near enough and in the same sentence, and over how many words.
func (a alarm) next(s *spoken, cover []int, i int) (at, n int) {
	for at = i; at < min(i+a.Within, len(s.words)) && s.words[at].sentence == s.words[i].sentence; at++ {
		if n = cover[at]; n > 0 {
			return at, n
		}
	}
	return i, 0
}

// weigh reports whether a hit is denied, and whether that or the hit itself is doubtful.
func (w *warner) weigh(s *spoken, h alarmHit, covered []bool) (denied, doubtful bool) {
	first, last := s.words[h.from], s.words[h.to-1]
	unsure := s.question[first.sentence] || s.doubted(h, w.doubt)
	denials, clearly := 0, true
	for i := h.from; i < h.to; i++ {
		if n := max(s.is(w.negate, i), s.is(w.negateLast, i)); n > 0 && !h.mine[i] {
			j := w.past(s, i+n)
			meant := j < h.to && h.mine[j]
			if meant || s.is(w.spent, j) == 0 {
				denials++
				clearly = clearly && meant
			}
		}
	}
	if found, surely := w.before(s, h, covered); found {
		denials++
		clearly = clearly && surely
	}
	if w.after(s, h) {
		denials++
	}
	if denials > 0 {
		return true, unsure || !clearly || denials > 1
	}
	return false, unsure || h.Asks || first.clause != last.clause || s.doubted(h, h.doubt)
}

// doubted reports whether words of doubt, other than the hit's own, stand in its sentence.
func (s *spoken) doubted(h alarmHit, doubt *regexp.Regexp) bool {
	for i, x := range s.words {
		if x.sentence != s.words[h.from].sentence {
			continue
		}
		for k := range s.is(doubt, i) {
			if !h.mine[i+k] {
				return true
			}
		}
	}
	return false
}

// past is the next word from i on that is no filler.
func (w *warner) past(s *spoken, i int) int {
	for n := s.is(w.fillers, i); n > 0; n = s.is(w.fillers, i) {
		i += n
	}
	return i
}

// farBack is how many words that say something may stand between a negation and a hit for it to be asked about.
const farBack = 2

// before looks back from a hit for a negation that may deny it: over fillers, over other hits in a list, and over a few
// other words, which make it doubtful.
func (w *warner) before(s *spoken, h alarmHit, covered []bool) (found, clearly bool) {
	between, clearly := 0, true
	for i := h.from - 1; i >= 0; i-- {
		list := s.is(w.lists, i) > 0
		parted := list || s.words[i].clause != s.words[i+1].clause
		n := max(s.ending(w.negate, i), s.ending(w.negateLast, i))
		switch {
		case s.words[i].sentence != s.words[h.from].sentence, s.is(w.breaksAnew, i) > 0:
			return false, false
		case parted && !covered[i] && !(list && i > 0 && covered[i-1]):
			return false, false
		case parted:
			clearly = false
		case n > 0:
			twice := max(s.ending(w.negate, i-n), s.ending(w.negateLast, i-n)) > 0
			return true, clearly && between == 0 && s.ending(w.negate, i) > 0 && !twice
		case s.ending(w.spent, i) > 0:
			return false, false
		case !covered[i] && s.is(w.fillers, i) == 0:
			if between++; between > farBack {
				return false, false
			}
		}
	}
	return false, false
}

// after reports whether a negation closes the hit's clause: "exhaust smell: none".
func (w *warner) after(s *spoken, h alarmHit) bool {
	i := w.past(s, h.to)
	n := s.is(w.negateLast, i)
	if n == 0 || s.words[i].clause != s.words[h.to-1].clause {
		return false
	}
	i = w.past(s, i+n)
	return i >= len(s.words) || s.words[i].clause != s.words[h.to-1].clause
}
