package words

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"lightoff/engine/knowledge"
)

// token is a word, a number or a mark of punctuation in a text.
type token struct {
	from, to int    // bytes of the text
	text     string // folded
	number   bool
	value    float64
	digits   bool // written in digits, so far as the whole number goes
	decimal  bool
	odd      bool     // looks like a number but is none: a date, a time, an ambiguous thousand
	glued    bool     // follows the token before it without a gap
	mark     bool     // punctuation that parts clauses
	alts     []string // known words of which this may be a misspelling
	parts    int      // of how many known words it is made up, if it is no word itself
}

// scanner cuts a text into tokens.
type scanner struct {
	text      string
	at        int
	tokens    []token
	lang      *language
	thousands string
}

// tokens cuts the text up. Whatever is no letter, digit or clause mark is passed over.
func (l *language) tokens(text, locale string) []token {
	s := &scanner{text: text, lang: l, thousands: l.thousands[locale]}
	for s.at < len(text) {
		r, size := utf8.DecodeRuneInString(text[s.at:])
		switch {
		case unicode.IsDigit(r) && r < utf8.RuneSelf:
			if !s.fraction() {
				s.number()
			}
		case strings.ContainsRune("½¼¾⅓⅔", r):
			s.sign(r, size)
		case s.minus(r, size):
			s.at += size
			s.number()
			s.negate(size)
		case unicode.IsLetter(r):
			s.word()
		case r == '°':
			s.add(s.at, s.at+size, token{text: "°"})
			s.at += size
		default:
			s.punctuation(r, size)
		}
	}
	return l.numberWords(s.tokens, text)
}

func (s *scanner) add(from, to int, t token) {
	t.from, t.to = from, to
	if n := len(s.tokens); n > 0 {
		t.glued = s.tokens[n-1].to == from && !s.tokens[n-1].mark || s.text[s.tokens[n-1].to:from] == "-"
	}
	s.tokens = append(s.tokens, t)
}

// minus reports whether a dash here makes the number that follows negative: nothing stands before it, a digit behind.
func (s *scanner) minus(r rune, size int) bool {
	if r != '-' && r != '−' && r != '–' {
		return false
	}
	next, _ := utf8.DecodeRuneInString(s.text[s.at+size:])
	before, _ := utf8.DecodeLastRuneInString(s.text[:s.at])
	return next >= '0' && next <= '9' && (s.at == 0 || unicode.IsSpace(before) || before == '(')
}

func (s *scanner) negate(size int) {
	t := &s.tokens[len(s.tokens)-1]
	t.value, t.from, t.glued = -t.value, t.from-size, false
}

// run is how far the characters of one kind go on.
func (s *scanner) run(from int, ok func(rune) bool) int {
	for from < len(s.text) {
		r, size := utf8.DecodeRuneInString(s.text[from:])
		if !ok(r) {
			break
		}
		from += size
	}
	return from
}

func digit(r rune) bool { return r >= '0' && r <= '9' }

// fraction reads two small whole numbers with a stroke between them as one: 3/4.
func (s *scanner) fraction() bool {
	from := s.at
	over := s.run(from, digit)
	if over-from > 2 || over+1 >= len(s.text) || s.text[over] != '/' || !digit(rune(s.text[over+1])) {
		return false
	}
	end := s.run(over+1, digit)
	a, _ := strconv.Atoi(s.text[from:over])
	b, _ := strconv.Atoi(s.text[over+1 : end])
	if end-over > 3 || a < 1 || b <= a || b > 16 || end < len(s.text) && strings.ContainsRune("/.",
		rune(s.text[end])) && s.run(end+1, digit) > end+1 {
		return false
	}
	s.at = end
	s.add(from, end, token{text: s.text[from:end], number: true, digits: true, decimal: true,
		value: float64(a) / float64(b)})
	return true
}

// sign reads a fraction written in one sign.
func (s *scanner) sign(r rune, size int) {
	written := map[rune]string{'½': "1/2", '¼': "1/4", '¾': "3/4", '⅓': "1/3", '⅔': "2/3"}[r]
	a, b := float64(written[0]-'0'), float64(written[2]-'0')
	s.add(s.at, s.at+size, token{text: written, number: true, digits: true, decimal: true, value: a / b})
	s.at += size
}

// number reads digits with at most one decimal part. More dots, colons or digits than a reading has make it odd.
func (s *scanner) number() {
	from := s.at
	parts := []int{from}
	s.at = s.run(from, digit)
	for s.at+1 < len(s.text) && strings.ContainsRune(".,:", rune(s.text[s.at])) && digit(rune(s.text[s.at+1])) {
		parts = append(parts, s.at)
		s.at = s.run(s.at+1, digit)
	}
	raw := s.text[from:s.at]
	t := token{text: raw, number: true, digits: true, decimal: len(parts) == 2}
	t.odd = len(parts) > 2 || len(raw) > 9 || strings.Contains(raw, ":")
	if len(parts) == 2 && s.at-parts[1] == 4 {
		if sep := raw[parts[1]-from : parts[1]-from+1]; sep == s.thousands {
			raw, t.decimal = strings.Replace(raw, sep, "", 1), false
		} else {
			t.odd = true
		}
	}
	if !t.odd {
		t.value, _ = strconv.ParseFloat(strings.Replace(raw, ",", ".", 1), 64)
	}
	s.add(from, s.at, t)
}

// word reads letters, with the apostrophes inside them and a small two behind (mm²).
func (s *scanner) word() {
	from := s.at
	s.at = s.run(from, func(r rune) bool {
		return unicode.IsLetter(r) || r == '\u0308' || r == '²' || strings.ContainsRune("'’‘`´", r)
	})
	for strings.HasSuffix(s.text[from:s.at], "'") || strings.HasSuffix(s.text[from:s.at], "’") {
		_, size := utf8.DecodeLastRuneInString(s.text[:s.at])
		s.at -= size
	}
	text := knowledge.Fold(s.text[from:s.at])
	if (text == "mm" || text == "co") && s.at < len(s.text) && s.text[s.at] == '2' && s.run(s.at, digit) == s.at+1 {
		s.at++
		text += "2"
	}
	if s.at == from { // an apostrophe alone
		s.at++
		return
	}
	s.add(from, s.at, token{text: text})
}

// punctuation keeps what parts clauses: commas (and brackets, spaced dashes), full stops (and line ends), question
// marks.
func (s *scanner) punctuation(r rune, size int) {
	from := s.at
	s.at += size
	text := ""
	switch r {
	case ',', '(', ')', '[', ']', '–', '—':
		text = ","
	case '/', '→', '>', '|', '+', '=':
		if from > 0 && s.text[from-1] == ' ' {
			text = ","
		}
	case '-':
		next, _ := utf8.DecodeRuneInString(s.text[s.at:])
		if unicode.IsSpace(next) && from > 0 && s.text[from-1] == ' ' {
			text = ","
		}
	case '.':
		if n := len(s.tokens); n == 0 || s.tokens[n-1].to != from || !s.lang.short[s.tokens[n-1].text] {
			text = "."
		}
	case ';', '!', '\n', '…':
		text = "."
	case '?':
		text = "?"
	}
	if text != "" {
		s.add(from, s.at, token{text: text, mark: true})
	}
}

// numberWords reads numbers written in words, "twelve point four" and "minus five", and joins each to one token.
func (l *language) numberWords(in []token, text string) []token {
	var out []token
	for i := 0; i < len(in); {
		minus := l.minus[in[i].text] && i+1 < len(in)
		at := i
		if minus {
			at++
		}
		v, n := l.spelt(in, at)
		if n == 0 && l.point[in[at].text] { // point nine
			if x, end, ok := l.decimals(in, at, 0); ok {
				t := in[i]
				t.to, t.number, t.value, t.decimal, t.digits = in[end-1].to, true, x, true, true
				t.text = knowledge.Fold(text[t.from:t.to])
				out = append(out, t)
				i = end
				continue
			}
		}
		if n == 0 && in[at].number && !in[at].odd {
			v, n = in[at].value, 1
		}
		if n == 0 {
			out = append(out, in[i])
			i++
			continue
		}
		v, end, decimal := l.decimals(in, at+n, v)
		if decimal = decimal || in[at].decimal; minus {
			v = -v
		}
		t := in[i]
		t.to, t.number, t.value, t.decimal = in[end-1].to, true, v, decimal
		t.digits = in[at].digits || decimal
		if end-i > 1 {
			t.text = knowledge.Fold(text[t.from:t.to])
		}
		out = append(out, t)
		i = end
	}
	return out
}

// spelt adds up number words from a place on, as far as they make one number.
func (l *language) spelt(in []token, at int) (v float64, n int) {
	for ; at+n < len(in); n++ {
		x, ok := l.numberWord(in[at+n].text)
		if in[at+n].number || !ok {
			break
		}
		switch {
		case n == 0:
			v = x
		case (x == 100 || x == 1000) && v > 0 && v < x:
			v *= x
		case x < 100 && v >= 100 && int(v)%100 == 0, x > 0 && x < 10 && v >= 20 && int(v)%10 == 0 && int(v)%100 != 0:
			v += x
		default:
			return v, n
		}
	}
	return v, n
}

// numberWord is the value of one word: a listed one, units and tens joined, or a multiple of a hundred or a thousand.
func (l *language) numberWord(w string) (float64, bool) {
	if v, ok := l.numbers[w]; ok {
		return v, true
	}
	if len(w) < 6 || len(w) > 40 {
		return 0, false
	}
	for _, joint := range l.joints {
		a, b, ok := strings.Cut(w, joint)
		unit, tens := l.numbers[a], l.numbers[b]
		if ok && unit > 0 && unit < 10 && tens >= 20 && tens < 100 {
			return unit + tens, true
		}
	}
	for _, many := range l.multiples {
		a, rest, ok := strings.Cut(w, many)
		head, known := l.numbers[a]
		if !ok || !known || head < 1 || head >= 100 {
			continue
		}
		if rest == "" {
			return head * l.numbers[many], true
		}
		if tail, ok := l.numberWord(rest); ok && tail < l.numbers[many] {
			return head*l.numbers[many] + tail, true
		}
	}
	return 0, false
}

// decimals reads "point four five" behind a number.
func (l *language) decimals(in []token, at int, whole float64) (v float64, end int, found bool) {
	if at+1 >= len(in) || !l.point[in[at].text] || whole != float64(int64(whole)) {
		return whole, at, false
	}
	digits := ""
	for end = at + 1; end < len(in) && len(digits) < 3; end++ {
		t := in[end]
		x, ok := l.numbers[t.text]
		if t.number && !t.odd && !t.decimal {
			digits += t.text
			continue
		}
		if t.number || !ok || x > 9 || x != float64(int(x)) {
			break
		}
		digits += strconv.Itoa(int(x))
	}
	if digits == "" {
		return whole, at, false
	}
	v, err := strconv.ParseFloat(strconv.FormatFloat(whole, 'f', 0, 64)+"."+digits, 64)
	return v, end, err == nil
}
