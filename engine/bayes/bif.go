package bayes

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Reading goes in two steps. The parser takes the whole file apart and stops at the first thing that it does not
// understand, because what follows would be guesswork. Then each distribution is fitted to its variables, which may be
// defined after it, and here all problems are reported.

// ReadBIF reads a network in the Bayesian interchange format: a network block, variable blocks with a discrete type,
// and probability blocks with a table, rows by parent states in any order, or a default row. Properties and comments
// are skipped. A name is any run of characters other than white space, quotes and {}()[]|,; or a quoted string.
// A table with parents lists the child's first state for all parent combinations, then the second, and so on, the last
// parent fastest. Rows must sum to one within 1e-6 and are then divided by their sum.
//
// A malformed file gives one error, with line and column, for the first place that cannot be understood, or else one
// for each distribution that does not fit its variables, joined by [errors.Join].
func ReadBIF(r io.Reader) (*Network, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("reading network: %w", err)
	}
	p := &bifParser{scan: bifScanner{text: string(text), line: 1, column: 1}, ids: map[string]VarID{}}
	if err := p.file(); err != nil {
		return nil, err
	}
	for _, block := range p.blocks {
		p.distribution(block)
	}
	for v, given := range p.given {
		if !given && len(p.problems) == 0 {
			p.problem(p.defined[v], "variable %q has no probability block", p.b.variables[v].Name)
		}
	}
	if len(p.problems) > 0 {
		return nil, errors.Join(p.problems...)
	}
	return p.b.Build()
}

// bifToken is a word, a quoted string, one punctuation character, or the end, whose text is empty.
type bifToken struct {
	text         string
	word         bool
	line, column int
}

func (t bifToken) String() string {
	if t.text == "" && !t.word {
		return "the end of the file"
	}
	return strconv.Quote(t.text)
}

func (t bifToken) errorf(format string, args ...any) error {
	return fmt.Errorf("%d:%d: %s", t.line, t.column, fmt.Sprintf(format, args...))
}

const bifPunctuation = "{}()[]|,;"

// bifScanner cuts the text into tokens. Columns count bytes from one.
type bifScanner struct {
	text         string
	line, column int
}

// advance passes over n bytes and keeps count of lines, so that every token knows where it stands.
func (s *bifScanner) advance(n int) {
	skipped := s.text[:n]
	s.text = s.text[n:]
	if lines := strings.Count(skipped, "\n"); lines > 0 {
		s.line += lines
		s.column = 0
		skipped = skipped[strings.LastIndexByte(skipped, '\n')+1:]
		s.column = 1
	}
	s.column += len(skipped)
}

// next skips white space and comments and cuts off one token. A comment starts only where a token could, so that a
// name may hold slashes.
func (s *bifScanner) next() (bifToken, error) {
	for {
		s.advance(len(s.text) - len(strings.TrimLeft(s.text, " \t\r\n")))
		skip, closed := bifComment(s.text)
		if !closed {
			return bifToken{}, s.at("").errorf("comment without end")
		}
		if skip == 0 {
			break
		}
		s.advance(skip)
	}
	switch {
	case s.text == "":
		return s.at(""), nil
	case s.text[0] == '"':
		return s.quoted()
	case strings.IndexByte(bifPunctuation, s.text[0]) >= 0:
		t := s.at(s.text[:1])
		s.advance(1)
		return t, nil
	}
	end := strings.IndexAny(s.text, bifPunctuation+"\" \t\r\n")
	if end < 0 {
		end = len(s.text)
	}
	t := s.at(s.text[:end])
	t.word = true
	s.advance(end)
	return t, nil
}

func (s *bifScanner) at(text string) bifToken {
	return bifToken{text: text, line: s.line, column: s.column}
}

// quoted cuts off a quoted string. It knows no escapes, because the writers in use know none, and may hold line ends.
func (s *bifScanner) quoted() (bifToken, error) {
	end := strings.IndexByte(s.text[1:], '"')
	if end < 0 {
		return bifToken{}, s.at("").errorf("quote without end")
	}
	t := s.at(s.text[1 : end+1])
	t.word = true
	s.advance(end + 2)
	return t, nil
}

// bifComment measures the comment that the text begins with, if any.
func bifComment(text string) (length int, closed bool) {
	switch {
	case strings.HasPrefix(text, "//"):
		if end := strings.IndexByte(text, '\n'); end >= 0 {
			return end, true
		}
		return len(text), true
	case strings.HasPrefix(text, "/*"):
		end := strings.Index(text[2:], "*/")
		return end + 4, end >= 0
	}
	return 0, true
}

// bifRow is the numbers of one entry, for one parent combination, or for the whole table or the default.
type bifRow struct {
	at      bifToken
	states  []bifToken
	numbers []float64
}

// bifBlock is one probability block.
type bifBlock struct {
	variables []bifToken // the child, then its parents
	rows      []bifRow
}

// bifParser holds what was read so far and one token of lookahead.
type bifParser struct {
	scan     bifScanner
	token    bifToken
	b        Builder
	ids      map[string]VarID
	defined  []bifToken
	given    []bool
	blocks   []bifBlock
	problems []error
}

func (p *bifParser) problem(at bifToken, format string, args ...any) {
	p.problems = append(p.problems, at.errorf(format, args...))
}

func (p *bifParser) advance() (err error) {
	p.token, err = p.scan.next()
	return err
}

// expect passes over the given punctuation or keyword.
func (p *bifParser) expect(text string) error {
	if p.token.text != text {
		return p.token.errorf("want %q, have %v", text, p.token)
	}
	return p.advance()
}

func (p *bifParser) takeWord(what string) (bifToken, error) {
	t := p.token
	if !t.word {
		return t, t.errorf("want %s, have %v", what, t)
	}
	return t, p.advance()
}

// list reads words up to the closing punctuation and passes over that. Commas are optional, and so is the bar between
// child and parents.
func (p *bifParser) list(what, end string) (words []bifToken, err error) {
	for p.token.text != end || p.token.word {
		if !p.token.word && (p.token.text == "," || p.token.text == "|") && len(words) > 0 {
			if err := p.advance(); err != nil {
				return nil, err
			}
		}
		w, err := p.takeWord(what)
		if err != nil {
			return nil, err
		}
		words = append(words, w)
	}
	return words, p.advance()
}

// file reads blocks in any order: some writers put a distribution before the variables that it names.
func (p *bifParser) file() error {
	if err := p.advance(); err != nil {
		return err
	}
	for p.token.word {
		keyword := p.token
		if err := p.advance(); err != nil {
			return err
		}
		var err error
		switch keyword.text {
		case "network":
			err = p.network()
		case "variable":
			err = p.variable()
		case "probability":
			err = p.probability()
		default:
			err = keyword.errorf("want network, variable or probability, have %v", keyword)
		}
		if err != nil {
			return err
		}
	}
	if p.token.text != "" {
		return p.token.errorf("want network, variable or probability, have %v", p.token)
	}
	return nil
}

// block reads { ... }, giving each entry that is not a property to the function of its first token.
func (p *bifParser) block(entry func() error) error {
	if err := p.expect("{"); err != nil {
		return err
	}
	for p.token.text != "}" || p.token.word {
		read := entry
		if p.token.word && p.token.text == "property" {
			read = p.property
		}
		if err := read(); err != nil {
			return err
		}
	}
	return p.advance()
}

// property is skipped to its semicolon, since nobody agrees on what properties mean.
func (p *bifParser) property() error {
	for p.token.word || p.token.text != ";" {
		if !p.token.word && p.token.text == "" {
			return p.token.errorf("want %q, have %v", ";", p.token)
		}
		if err := p.advance(); err != nil {
			return err
		}
	}
	return p.advance()
}

// network reads the block of that name, which says nothing that a Network keeps.
func (p *bifParser) network() error {
	if _, err := p.takeWord("a name"); err != nil {
		return err
	}
	return p.block(func() error { return p.token.errorf("want a property, have %v", p.token) })
}

// variable adds a variable at once, in the order of the file, so that ids follow the text.
func (p *bifParser) variable() error {
	name, err := p.takeWord("a variable's name")
	if err != nil {
		return err
	}
	if _, taken := p.ids[name.text]; taken {
		return name.errorf("variable %q is defined twice", name.text)
	}
	var states []string
	if err := p.block(func() (err error) { states, err = p.discrete(states); return err }); err != nil {
		return err
	}
	if states == nil {
		return name.errorf("variable %q has no type", name.text)
	}
	p.ids[name.text] = p.b.Add(name.text, states...)
	p.defined = append(p.defined, name)
	p.given = append(p.given, false)
	return nil
}

// discrete reads: type discrete [ n ] { state, ... };
func (p *bifParser) discrete(earlier []string) ([]string, error) {
	if earlier != nil {
		return nil, p.token.errorf("want %q, have %v", "}", p.token)
	}
	for _, text := range []string{"type", "discrete", "["} {
		if err := p.expect(text); err != nil {
			return nil, err
		}
	}
	size, err := p.takeWord("the number of states")
	if err != nil {
		return nil, err
	}
	for _, text := range []string{"]", "{"} {
		if err := p.expect(text); err != nil {
			return nil, err
		}
	}
	words, err := p.list("a state", "}")
	if err != nil {
		return nil, err
	}
	if n, err := strconv.Atoi(size.text); err != nil || n != len(words) || n == 0 {
		return nil, size.errorf("%s states announced, %d given", size.text, len(words))
	}
	var states []string
	for _, w := range words {
		if slices.Contains(states, w.text) {
			return nil, w.errorf("state %q is given twice", w.text)
		}
		states = append(states, w.text)
	}
	return states, p.expect(";")
}

// probability only gathers a block; its variables may not be defined yet.
func (p *bifParser) probability() error {
	if err := p.expect("("); err != nil {
		return err
	}
	at := p.token
	variables, err := p.list("a variable", ")")
	if err != nil {
		return err
	}
	if len(variables) == 0 {
		return at.errorf("probability of nothing")
	}
	block := bifBlock{variables: variables}
	err = p.block(func() error {
		row, err := p.row()
		block.rows = append(block.rows, row)
		return err
	})
	p.blocks = append(p.blocks, block)
	return err
}

// row reads: table numbers; default numbers; or (states) numbers;
func (p *bifParser) row() (row bifRow, err error) {
	row.at = p.token
	if !p.token.word && p.token.text != "(" || p.token.word && p.token.text != "table" && p.token.text != "default" {
		return row, p.token.errorf("want table, default or a parent combination, have %v", p.token)
	}
	if err := p.advance(); err != nil {
		return row, err
	}
	if !row.at.word {
		if row.states, err = p.list("a state", ")"); err != nil {
			return row, err
		}
	}
	words, err := p.list("a number", ";")
	for _, w := range words {
		x, err := strconv.ParseFloat(w.text, 64)
		if err != nil || math.IsNaN(x) {
			return row, w.errorf("want a number, have %v", w)
		}
		row.numbers = append(row.numbers, x)
	}
	return row, err
}

// distribution turns a block into a table of the builder, and reports what does not fit.
func (p *bifParser) distribution(block bifBlock) {
	before := len(p.problems)
	var ids []VarID
	for i, w := range block.variables {
		v, ok := p.ids[w.text]
		if !ok {
			p.problem(w, "unknown variable %q", w.text)
		} else if slices.Contains(ids, v) {
			p.problem(w, "variable %q is given twice", block.variables[i].text)
		}
		ids = append(ids, v)
	}
	if len(p.problems) > before {
		return
	}
	child, parents := ids[0], ids[1:]
	if p.given[child] {
		p.problem(block.variables[0], "variable %q has two probability blocks", block.variables[0].text)
		return
	}
	p.given[child] = true
	c := &checker{variables: p.b.variables}
	count := c.combinations(child, parents)
	if count == 0 {
		p.problem(block.variables[0], "%v", c.problems[0])
		return
	}
	t := &bifTable{bifParser: p, c: c, child: child, parents: parents, width: c.card(child),
		rows: make([][]float64, count)}
	t.fill(block)
	if len(p.problems) == before {
		p.b.Table(child, parents, slices.Concat(t.rows...))
	}
}

// bifTable is a table in the making, one slice for each parent combination that was given.
type bifTable struct {
	*bifParser
	c       *checker
	child   VarID
	parents []VarID
	width   int
	rows    [][]float64
}

// fill takes all entries of a block and then looks for combinations that none of them gave.
func (t *bifTable) fill(block bifBlock) {
	before := len(t.problems)
	var fallback []float64
	for _, row := range block.rows {
		switch {
		case !row.at.word:
			t.single(row)
		case row.at.text == "table":
			t.whole(row)
		case fallback != nil:
			t.problem(row.at, "second default")
		default:
			fallback = t.checked(row.at, row.numbers, "default row")
		}
	}
	for i := range t.rows {
		if t.rows[i] == nil && fallback == nil {
			if len(t.problems) > before {
				return // a row that could not be read may be the missing one
			}
			t.problem(block.variables[0], "no row of %s%s", t.c.name(t.child), t.c.witness(t.parents, i))
			return
		}
		if t.rows[i] == nil {
			t.rows[i] = fallback
		}
	}
}

// single is the row of one parent combination, named by its states.
func (t *bifTable) single(row bifRow) {
	if len(row.states) != len(t.parents) {
		t.problem(row.at, "%d parent states for %d parents", len(row.states), len(t.parents))
		return
	}
	i := 0
	for k, w := range row.states {
		parent := t.b.variables[t.parents[k]]
		s := slices.Index(parent.States, w.text)
		if s < 0 {
			t.problem(w, "variable %q has no state %q", parent.Name, w.text)
			return
		}
		i = i*len(parent.States) + s
	}
	t.put(row.at, i, row.numbers)
}

// whole turns a table around: the file has the child slowest, a distribution has it fastest.
func (t *bifTable) whole(row bifRow) {
	if len(row.numbers) != t.width*len(t.rows) {
		t.problem(row.at, "table of %d numbers, want %d", len(row.numbers), t.width*len(t.rows))
		return
	}
	for i := range t.rows {
		numbers := make([]float64, t.width)
		for s := range numbers {
			numbers[s] = row.numbers[s*len(t.rows)+i]
		}
		t.put(row.at, i, numbers)
	}
}

// put refuses a second row for a combination, because no rule says which of the two is meant.
func (t *bifTable) put(at bifToken, i int, numbers []float64) {
	if t.rows[i] != nil {
		t.problem(at, "second row of %s%s", t.c.name(t.child), t.c.witness(t.parents, i))
		return
	}
	t.rows[i] = t.checked(at, numbers, "row of "+t.c.name(t.child)+t.c.witness(t.parents, i))
}

// checked reports numbers that are no distribution over the child.
func (t *bifTable) checked(at bifToken, numbers []float64, what string) []float64 {
	before := len(t.c.problems)
	name := func() string { return what }
	if t.c.width(t.child, numbers, name) {
		t.c.row(slices.Clone(numbers), name)
	}
	for _, err := range t.c.problems[before:] {
		t.problem(at, "%v", err)
	}
	return numbers
}

// WriteBIF writes the network in the format that ReadBIF reads, with the shortest numbers that read back as the same
// ones: reading the text gives the same names, parents and tables, and writing that gives the same text. A noisy family
// is written as its full table, for the format has nothing better, and comes back as one. Variables keep their order.
//
// It fails, before it writes anything, if a noisy family has more than 2^20 entries or a name contains a double quote,
// which the format can't express; else with the error of the writer.
func WriteBIF(w io.Writer, n *Network) error {
	for _, v := range n.variables {
		for _, name := range append([]string{v.Name}, v.States...) {
			if strings.Contains(name, `"`) {
				return fmt.Errorf("the name %q contains a quote, which the format cannot express", name)
			}
		}
	}
	tables := make([][]float64, len(n.variables))
	for v := range n.variables {
		var err error
		if tables[v], err = n.wholeTable(VarID(v)); err != nil {
			return err
		}
	}
	b := bufio.NewWriter(w)
	b.WriteString("network bayes {}\n")
	for _, v := range n.variables {
		fmt.Fprintf(b, "variable %s { type discrete [ %d ] { %s }; }\n", bifName(v.Name), len(v.States), bifNames(v.States))
	}
	for v, table := range tables {
		n.writeDistribution(b, VarID(v), table)
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("writing network: %w", err)
	}
	return nil
}

// writeDistribution writes one row a line. The writer keeps its first error.
func (n *Network) writeDistribution(b *bufio.Writer, v VarID, table []float64) {
	parents := n.dists[v].parents
	if len(parents) == 0 {
		fmt.Fprintf(b, "probability ( %s ) { table %s; }\n", bifName(n.variables[v].Name), bifNumbers(table))
		return
	}
	fmt.Fprintf(b, "probability ( %s | %s ) {\n", bifName(n.variables[v].Name), bifNames(n.names(parents)))
	states := make([]string, len(parents))
	card := n.cards[v]
	for i := range len(table) / card {
		rest := i
		for k := len(parents) - 1; k >= 0; k-- {
			p := n.variables[parents[k]]
			states[k] = p.States[rest%len(p.States)]
			rest /= len(p.States)
		}
		fmt.Fprintf(b, "  (%s) %s;\n", bifNames(states), bifNumbers(table[i*card:(i+1)*card]))
	}
	b.WriteString("}\n")
}

// bifName quotes a name that would not come back as one word.
func bifName(name string) string {
	comment, _ := bifComment(name)
	if name == "" || comment > 0 || strings.ContainsAny(name, bifPunctuation+" \t\r\n") {
		return `"` + name + `"`
	}
	return name
}

// bifNames is a list with commas, which some readers need although the format does not.
func bifNames(names []string) string {
	quoted := make([]string, len(names))
	for i, name := range names {
		quoted[i] = bifName(name)
	}
	return strings.Join(quoted, ", ")
}

// bifNumbers writes the shortest digits that read back as the very number.
func bifNumbers(p []float64) string {
	var text []byte
	for i, x := range p {
		if i > 0 {
			text = append(text, ", "...)
		}
		text = strconv.AppendFloat(text, x, 'g', -1, 64)
	}
	return string(text)
}
