package words

import (
	"encoding/binary"
	"errors"
	"maps"
	"slices"
)

// The second reader looks at stretches of a text, by themselves and with their neighbours, and weighs for each thing
// that can be said how much the stretch looks like the sentences in which that was said. It knows no grammar, so what
// it finds is offered and never believed. Its weights are learnt from labelled sentences by the program in folder
// train.

// Stretch is a run of words that the second reader looks at as one, with what it sees of it, as numbers.
type Stretch struct {
	From, To int // bytes of the text
	Signs    []uint32
	from, to int // tokens
	figure   bool
}

// Stretches are those of a text. The program that learns the weights sees a text as the reader does, through this.
func (r *Reader) Stretches(text, locale string) []Stretch {
	p := r.open(text, locale)
	if len(p.tokens) == 0 {
		return nil
	}
	return p.stretches()
}

// How long a stretch is at most.
const (
	mostPieces  = 3  // between marks and joining words
	mostWhole   = 32 // tokens of a sentence that is looked at as a whole
	mostStretch = 48 // tokens of any
)

// stretches lists each piece of a sentence, each two and three that follow one another, and short sentences whole.
func (p *page) stretches() []Stretch {
	var out []Stretch
	seen := p.signsOfTokens()
	for from := 0; from < len(p.tokens); {
		to := from
		for to < len(p.tokens) && !(p.tokens[to].mark && p.tokens[to].text != ",") {
			to++
		}
		out = p.inSentence(out, from, to, seen)
		from = to + 1
	}
	return out
}

// inSentence adds a sentence's stretches.
func (p *page) inSentence(out []Stretch, from, to int, seen [][]uint32) []Stretch {
	var pieces [][2]int
	begin := from
	cut := func(at, next int) {
		if p.saysAnything(begin, at) {
			pieces = append(pieces, [2]int{begin, at})
		}
		begin = next
	}
	for i := from; i < to; i++ {
		switch t := &p.tokens[i]; {
		case t.mark:
			cut(i, i+1)
		case p.lang.joins[t.text] || p.lang.breaks[t.text]:
			if i > begin && p.saysAnything(begin, i) {
				cut(i, i)
			}
		}
	}
	cut(to, to)
	whole := false
	for i := range pieces {
		for n := 1; n <= mostPieces && i+n <= len(pieces); n++ {
			a, b := pieces[i][0], pieces[i+n-1][1]
			if n > 1 && b-a > mostStretch {
				break
			}
			whole = whole || n == len(pieces)
			out = append(out, p.stretch(a, min(b, a+mostStretch), seen))
		}
	}
	if !whole && len(pieces) > 0 && to-from <= mostWhole {
		out = append(out, p.stretch(pieces[0][0], pieces[len(pieces)-1][1], seen))
	}
	return out
}

func (p *page) saysAnything(from, to int) bool {
	for i := from; i < to; i++ {
		if !p.tokens[i].mark && !p.filler(i) && !p.lang.joins[p.tokens[i].text] {
			return true
		}
	}
	return false
}

// Kinds of signs, so that a word and a thing of the same name differ.
const (
	signWord   = 'w'
	signTwo    = '2'
	signPart   = 'p'
	signName   = 'n'
	signPair   = 'q'
	signDenied = 'd'
	signUnit   = 'u'
)

// sign numbers a sign by its kind and text (FNV-1a).
func sign(kind byte, parts ...string) uint32 {
	h := uint32(2166136261)
	h = (h ^ uint32(kind)) * 16777619
	for i, s := range parts {
		if i > 0 {
			h = (h ^ ' ') * 16777619
		}
		for k := range len(s) {
			h = (h ^ uint32(s[k])) * 16777619
		}
	}
	return h
}

// groupOf is how many letters the groups have by which words that differ in form or spelling look alike.
const groupOf = 4

// signsOfTokens gives for each token its word by stem, what it may be a misspelling of, and its groups of letters.
func (p *page) signsOfTokens() [][]uint32 {
	out := make([][]uint32, len(p.tokens))
	known := map[string][]uint32{}
	for i := range p.tokens {
		t := &p.tokens[i]
		if t.mark {
			continue
		}
		if s, ok := known[t.text]; ok {
			out[i] = s
			continue
		}
		var signs []uint32
		if t.number {
			signs = append(signs, sign(signWord, "#"))
			if !t.digits {
				signs = append(signs, sign(signWord, t.text))
			}
		} else {
			for _, key := range p.keys[i] {
				if key[0] != '=' {
					signs = append(signs, sign(signWord, key))
				}
			}
			w := "<" + t.text + ">"
			for k := 0; k+groupOf <= len(w) && k < 24; k++ {
				signs = append(signs, sign(signPart, w[k:k+groupOf]))
			}
		}
		known[t.text] = signs
		out[i] = signs
	}
	return out
}

// stretch gathers what is to be seen between two tokens.
func (p *page) stretch(from, to int, seen [][]uint32) Stretch {
	for to > from && p.tokens[to-1].mark {
		to--
	}
	s := Stretch{From: p.tokens[from].from, To: p.tokens[to-1].to, from: from, to: to}
	last := ""
	for i := from; i < to; i++ {
		s.Signs = append(s.Signs, seen[i]...)
		t := &p.tokens[i]
		s.figure = s.figure || t.number
		if t.mark || p.filler(i) {
			continue
		}
		key := p.mainKey(i)
		if last != "" {
			s.Signs = append(s.Signs, sign(signTwo, last, key))
		}
		last = key
	}
	return p.names(s)
}

// mainKey is a token's word by its stem in its sentence's language.
func (p *page) mainKey(i int) string {
	if p.tokens[i].number {
		return "#"
	}
	for k, in := range p.lang.tongues {
		if in == p.main[i] && k+1 < len(p.keys[i]) {
			return p.keys[i][k+1]
		}
	}
	return p.tokens[i].text
}

// mostNames bounds the pairs of names that are looked at in a stretch.
const mostNames = 14

// names adds the things and sayings that are named in a stretch, each two of them, and each with a negation.
func (p *page) names(s Stretch) Stretch {
	var names []string
	denied := false
	for _, h := range p.begin(s.from, s.to) {
		if h.to > s.to {
			continue
		}
		switch h.role {
		case speaks:
			if !h.inner && !slices.Contains(names, h.name) {
				names = append(names, h.name)
			}
		case negateNext, negateLast, negateEither:
			denied = true
		case unit, place:
			s.Signs = append(s.Signs, sign(signUnit, h.name))
		case doubts, hearsay, wonders, asks, supposes, past, mended, earlier, now, codeWord, shows:
			s.Signs = append(s.Signs, sign(signUnit, roleSigns[h.role]))
		}
	}
	slices.Sort(names)
	names = names[:min(len(names), mostNames)]
	if denied {
		s.Signs = append(s.Signs, sign(signDenied))
		for i := s.from; i < s.to; i++ {
			if t := &p.tokens[i]; !t.mark && !p.filler(i) {
				s.Signs = append(s.Signs, sign(signDenied, p.mainKey(i)))
			}
		}
	}
	for i, a := range names {
		s.Signs = append(s.Signs, sign(signName, a))
		if denied {
			s.Signs = append(s.Signs, sign(signDenied, a))
		}
		for _, b := range names[i+1:] {
			s.Signs = append(s.Signs, sign(signPair, a, b))
		}
	}
	return s
}

var roleSigns = map[role]string{doubts: "?doubt", hearsay: "?hearsay", wonders: "?wonders",
	asks: "?wonders", supposes: "?wonders", past: "?past", mended: "?mended",
	earlier: "?earlier", now: "?now", codeWord: "?code", shows: "?shows"}

// Hunches are the second reader's weights.
type Hunches struct {
	Labels  []HunchLabel
	Usual   []string // words that are written often enough to be no misspelling of another
	at      map[label]int
	rows    map[uint32][2]int32 // of each sign: where its weights begin and end
	weights []hunchWeight
}

// label names something that can be said.
type label struct{ id, state string }

// HunchLabel is something that can be said: an observation's state, or a number of it where the state is NumberSaid.
type HunchLabel struct {
	ID, State string
	Bias      int32 // in the unit of the weights
}

// NumberSaid stands for any number, and for any numbered code.
const NumberSaid = "#"

// DangerSaid stands in the place of an observation where a danger is told in whatever way; the state is the danger.
const DangerSaid = "!"

type hunchWeight struct {
	label  uint16
	weight int8
}

// HunchUnit is what the weights are multiples of, on the scale of log odds.
const HunchUnit = 1.0 / unitsOfOne

const unitsOfOne = 32

var errHunches = errors.New("the second reader's weights are damaged")

// readHunches takes apart what WriteHunches puts together.
func readHunches(data []byte) (*Hunches, error) {
	h := &Hunches{rows: map[uint32][2]int32{}, at: map[label]int{}}
	number := func() uint64 {
		v, n := binary.Uvarint(data)
		if n <= 0 {
			data = nil
			return 0
		}
		data = data[n:]
		return v
	}
	word := func() string {
		n := number()
		if n > uint64(len(data)) {
			data = nil
			return ""
		}
		s := string(data[:n])
		data = data[n:]
		return s
	}
	labels := number()
	if labels > 1<<14 {
		return nil, errHunches
	}
	for range labels {
		l := HunchLabel{ID: word(), State: word()}
		l.Bias = -int32(number())
		h.at[label{l.ID, l.State}] = len(h.Labels)
		h.Labels = append(h.Labels, l)
	}
	for n := number(); n > 0 && len(data) > 0; n-- {
		h.Usual = append(h.Usual, word())
	}
	last := uint32(0)
	for rows := number(); rows > 0; rows-- {
		last += uint32(number())
		begin := int32(len(h.weights))
		at := uint64(0)
		for n := number(); n > 0; n-- {
			at += number()
			if at >= labels || len(data) == 0 {
				return nil, errHunches
			}
			h.weights = append(h.weights, hunchWeight{uint16(at), int8(data[0])})
			data = data[1:]
		}
		h.rows[last] = [2]int32{begin, int32(len(h.weights))}
	}
	return h, nil
}

// Weights are what the trainer learnt: of each sign, the weight of each label that it speaks for or against.
type Weights map[uint32]map[int]int8

// WriteHunches puts labels, usual words and weights together as the model's file of them has it.
func WriteHunches(labels []HunchLabel, usual []string, w Weights) []byte {
	var out []byte
	word := func(s string) {
		out = binary.AppendUvarint(out, uint64(len(s)))
		out = append(out, s...)
	}
	out = binary.AppendUvarint(out, uint64(len(labels)))
	for _, l := range labels {
		word(l.ID)
		word(l.State)
		out = binary.AppendUvarint(out, uint64(max(-l.Bias, 0)))
	}
	out = binary.AppendUvarint(out, uint64(len(usual)))
	for _, u := range usual {
		word(u)
	}
	signs := slices.Sorted(maps.Keys(w))
	out = binary.AppendUvarint(out, uint64(len(signs)))
	last := uint32(0)
	for _, s := range signs {
		out = binary.AppendUvarint(out, uint64(s-last))
		last = s
		row := w[s]
		of := slices.Sorted(maps.Keys(row))
		out = binary.AppendUvarint(out, uint64(len(of)))
		at := 0
		for _, k := range of {
			out = binary.AppendUvarint(out, uint64(k-at))
			at = k
			out = append(out, byte(row[k]))
		}
	}
	return out
}

// weigh adds up a stretch's weights for each label, in HunchUnits of log odds.
func (h *Hunches) weigh(signs []uint32, sums []int32) {
	for i, l := range h.Labels {
		sums[i] = l.Bias
	}
	for _, s := range signs {
		if row, ok := h.rows[s]; ok {
			for _, w := range h.weights[row[0]:row[1]] {
				sums[w.label] += int32(w.weight)
			}
		}
	}
}
