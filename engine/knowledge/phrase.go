package knowledge

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Phrase is a pattern over words: words in order, (a|b) for either, ? after what may be missing, a star after a
// bracket for what may be missing or said several times, ~ for some words that say nothing of their own, _ for any one
// word, # for any number, = before a word whose endings must be as written, * at an end of a word for any more
// letters, and a comma for itself. The alarms know the star and no =, ~ or endings by stem, the other texts know those
// and no star on a word. Words are compared folded, so "läuft" and "laeuft", "won't" and "wont" are the same.
type Phrase struct {
	text string
	root piece
}

// piece is a part of a phrase: a word, or several in order, or several of which one is said.
type piece struct {
	word     string
	parts    []piece
	either   bool
	optional bool
	repeats  bool
}

// Fold writes a text as phrases compare it: lower case, umlauts and sharp s spelt out, no apostrophes.
func Fold(s string) string {
	var b strings.Builder
	for _, r := range s {
		b.WriteString(FoldRune(r))
	}
	return b.String()
}

// FoldRune is Fold of one letter. A diaeresis that follows its letter becomes the e that it stands for.
func FoldRune(r rune) string {
	switch r = unicode.ToLower(r); r {
	case 'ä':
		return "ae"
	case 'ö':
		return "oe"
	case 'ü':
		return "ue"
	case 'ß':
		return "ss"
	case 'é', 'è':
		return "e"
	case '\u0308':
		return "e"
	case '²':
		return "2"
	case 'μ':
		return "µ"
	case '\'', '’', '‘', '`', '´':
		return ""
	}
	return string(r)
}

// ParsePhrase reads a phrase.
func ParsePhrase(text string) (*Phrase, error) {
	p := &phraseParser{text: []rune(Fold(text))}
	root, err := p.either()
	if err != nil {
		return nil, err
	}
	if p.at < len(p.text) {
		return nil, fmt.Errorf("%q: a bracket is closed that was not opened", text)
	}
	if matchesNothing(root) {
		return nil, fmt.Errorf("%q: at least one word must be said", text)
	}
	return &Phrase{text, root}, nil
}

type phraseParser struct {
	text []rune
	at   int
}

func (p *phraseParser) peek() rune {
	if p.at < len(p.text) {
		return p.text[p.at]
	}
	return 0
}

func (p *phraseParser) either() (piece, error) {
	out := piece{either: true}
	for {
		s, err := p.sequence()
		if err != nil {
			return piece{}, err
		}
		out.parts = append(out.parts, s)
		if p.peek() != '|' {
			return out, nil
		}
		p.at++
	}
}

// sequence reads pieces one after the other, up to what ends them: the text's end, an alternative or a closing bracket.
// An ending belongs to whoever opened it, so it is looked at and not taken.
func (p *phraseParser) sequence() (piece, error) {
	var out piece
	for {
		switch r := p.peek(); {
		case r == 0 || r == '|' || r == ')':
			if len(out.parts) == 0 {
				return piece{}, errors.New("a word is missing beside a bracket or bar")
			}
			return out, nil
		case r == ' ' || r == '\n' || r == '-':
			p.at++
		case r == '?':
			last := len(out.parts) - 1
			if last < 0 {
				return piece{}, errors.New("a question mark follows no word")
			}
			out.parts[last].optional = true
			p.at++
		case r == '*' && len(out.parts) > 0 && p.at > 0 && p.text[p.at-1] == ')':
			out.parts[len(out.parts)-1].optional, out.parts[len(out.parts)-1].repeats = true, true
			p.at++
		case r == '(':
			p.at++
			group, err := p.either()
			if err != nil {
				return piece{}, err
			}
			if p.peek() != ')' {
				return piece{}, errors.New("a bracket is not closed")
			}
			p.at++
			out.parts = append(out.parts, group)
		default:
			w, err := p.phraseWord()
			if err != nil {
				return piece{}, err
			}
			out.parts = append(out.parts, piece{word: w})
		}
	}
}

func (p *phraseParser) phraseWord() (string, error) {
	from := p.at
	if r := p.peek(); r == ',' || r == '#' || r == '_' || r == '°' || r == '~' {
		p.at++
		return string(r), nil
	}
	for r := p.peek(); unicode.IsLetter(r) || unicode.IsDigit(r) || r == '*' || r == '/' || r == '=' &&
		p.at == from; r = p.peek() {
		p.at++
	}
	w := string(p.text[from:p.at])
	if w == "=" {
		return "", errors.New("= stands before a word")
	}
	switch {
	case w == "":
		return "", fmt.Errorf("%q cannot stand in a phrase", p.peek())
	case strings.Contains(strings.Trim(w, "*"), "*"), len(strings.Trim(w, "*")) < 3 && strings.Contains(w, "*"):
		return "", fmt.Errorf("%q: * stands at an end of a word of at least three letters", w)
	}
	return w, nil
}

func matchesNothing(p piece) bool {
	if p.optional {
		return true
	}
	if p.word != "" {
		return false
	}
	if p.either {
		return slices.ContainsFunc(p.parts, matchesNothing)
	}
	return !slices.ContainsFunc(p.parts, func(c piece) bool { return !matchesNothing(c) })
}

// String is the phrase as it was written.
func (p *Phrase) String() string { return p.text }

// Words are all words of the phrase, folded, each once.
func (p *Phrase) Words() []string {
	out := p.root.words(nil)
	slices.Sort(out)
	return slices.Compact(out)
}

func (p piece) words(out []string) []string {
	if p.word != "" {
		return append(out, p.word)
	}
	for _, c := range p.parts {
		out = c.words(out)
	}
	return out
}

// maxRepeats is how often a group with a star can be said in a row.
const maxRepeats = 4

// Walk lays a phrase out from a place on. step goes from one place to the next by a word, join makes one place of
// several that lead to the same. It returns the place at which the phrase ends.
func Walk[P any](p *Phrase, from P, step func(P, string) P, join func(...P) P) P {
	return walk(p.root, from, step, join)
}

func walk[P any](p piece, from P, step func(P, string) P, join func(...P) P) P {
	var ends []P
	switch {
	case p.word != "":
		ends = append(ends, step(from, p.word))
	case p.either:
		for _, c := range p.parts {
			ends = append(ends, walk(c, from, step, join))
		}
	default:
		at := from
		for _, c := range p.parts {
			at = walk(c, at, step, join)
		}
		ends = append(ends, at)
	}
	if p.repeats {
		once := p
		once.repeats = false
		for range maxRepeats - 1 {
			ends = append(ends, walk(once, join(ends...), step, join))
		}
	}
	if p.optional {
		ends = append(ends, from)
	}
	if len(ends) == 1 {
		return ends[0]
	}
	return join(ends...)
}
