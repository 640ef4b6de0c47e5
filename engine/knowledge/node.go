package knowledge

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// Problem is one thing wrong with a model file.
type Problem struct {
	File         string
	Line, Column int // from 1; 0 where the file as a whole is meant
	Message      string
}

// String is file:line:column: message, or file: message.
func (p Problem) String() string {
	if p.Line == 0 {
		return p.File + ": " + p.Message
	}
	return fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
}

// Error is all that is wrong with a set of model files.
type Error struct{ Problems []Problem }

// Error gives one line for each problem.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

func (e *Error) add(file string, line, column int, format string, args ...any) {
	e.Problems = append(e.Problems, Problem{file, line, column, fmt.Sprintf(format, args...)})
}

func (e *Error) orNil() error {
	if len(e.Problems) == 0 {
		return nil
	}
	sort.SliceStable(e.Problems, func(i, j int) bool {
		a, b := e.Problems[i], e.Problems[j]
		if a.File != b.File {
			return a.File < b.File
		}
		return a.Line < b.Line
	})
	return e
}

// node is a piece of a model file that knows where it stands, so that whatever is wrong with it can be found.
type node struct {
	file string
	errs *Error
	n    *tree  // nil: the entry is missing or empty
	in   *tree  // for a missing entry, what it is missing from
	name string // the entry's key, or that of the list it is in
}

// tree is what a model file says, free of how it was written down.
type tree struct {
	kind         treeKind
	text         string // of a scalar
	line, column int    // 0 where that is not known
	keys         []*tree
	values       []*tree // of a mapping, beside their keys, or of a sequence
}

type treeKind byte

const (
	nothing treeKind = iota
	scalar
	mapping
	sequence
	foreign // something that model files have no use for
)

func (n node) ok() bool { return n.n != nil }

func (n node) position() (line, column int) {
	if n.n == nil {
		n.n = n.in
	}
	if n.n == nil {
		return 0, 0
	}
	return n.n.line, n.n.column
}

func (n node) errorf(format string, args ...any) {
	line, column := n.position()
	n.errs.add(n.file, line, column, format, args...)
}

type pair struct {
	key node
	id  string
	val node
}

// pairs are a mapping's entries in the order of the file.
func (n node) pairs() []pair {
	switch {
	case n.n == nil:
		return nil
	case n.n.kind != mapping:
		n.errorf("expected entries of the form key: value")
		return nil
	}
	out := make([]pair, 0, len(n.n.values))
	seen := make(map[string]bool, len(n.n.values))
	for i, v := range n.n.values {
		key := node{file: n.file, errs: n.errs, n: n.n.keys[i]}
		id := key.text()
		val := node{file: n.file, errs: n.errs, n: v, in: n.n.keys[i], name: id}
		if v.kind == nothing {
			val.n = nil
		}
		if seen[id] {
			key.errorf("%s is given twice", id)
		}
		seen[id] = true
		out = append(out, pair{key, id, val})
	}
	return out
}

// fields are a mapping's entries by key, those not given among them; an unknown key is an error that names the known
// ones, and what the mapping stands under: an entry put at the end of a file is easily in another section than was
// meant.
func (n node) fields(known ...string) map[string]node {
	out := map[string]node{}
	for _, k := range known {
		out[k] = node{file: n.file, errs: n.errs, in: n.n, name: k}
	}
	for _, p := range n.pairs() {
		if !slices.Contains(known, p.id) {
			under := ""
			if n.name != "" {
				under = ". It stands under " + n.name
			}
			p.key.errorf("unknown entry %q; known are %s%s", p.id, strings.Join(known, ", "), under)
			continue
		}
		out[p.id] = p.val
	}
	return out
}

func (n node) items() []node {
	if n.n == nil {
		return nil
	}
	if n.n.kind != sequence {
		return []node{n}
	}
	out := make([]node, len(n.n.values))
	for i, v := range n.n.values {
		out[i] = node{file: n.file, errs: n.errs, n: v, name: n.name}
	}
	return out
}

// text is a scalar as it is written, without its quotes.
func (n node) text() string {
	switch {
	case n.n == nil || n.n.kind == nothing:
		return ""
	case n.n.kind == scalar:
		return n.n.text
	}
	n.errorf("expected a word or a number")
	return ""
}

func (n node) texts() []string {
	items := n.items()
	out := make([]string, len(items))
	for i, it := range items {
		out[i] = it.text()
	}
	return out
}

// cautions are sentences by when they are to be minded; a plain list is of those to be minded before.
func (n node) cautions() []Caution {
	var out []Caution
	add := func(when CautionPhase, sentences []string) {
		for _, s := range sentences {
			out = append(out, Caution{when, s})
		}
	}
	if !n.isMapping() {
		add(Before, n.texts())
		return out
	}
	m := n.fields(cautionPhases...)
	for when, name := range cautionPhases {
		add(CautionPhase(when), m[name].texts())
	}
	return out
}

func (n node) isMapping() bool { return n.n != nil && n.n.kind == mapping }

func (n node) number() float64 {
	if !n.ok() {
		n.errorf("%s is missing; it is a number", n.name)
		return 0
	}
	known := len(n.errs.Problems)
	text := n.text()
	if len(n.errs.Problems) > known {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		n.errorf("%q is not a number", text)
		return 0
	}
	return v
}

func (n node) numberOr(missing float64) float64 {
	if !n.ok() {
		return missing
	}
	return n.number()
}

func (n node) flag() bool {
	switch {
	case !n.ok():
		return false
	case n.text() == "true":
		return true
	case n.text() != "false":
		n.errorf("expected true or false, not %q", n.text())
	}
	return false
}

// strengths are the words an expert can honestly use for how often one thing brings about another.
var strengths = map[string]float64{
	"nearly_always": 0.97, "usually": 0.85, "often": 0.65, "half": 0.50,
	"sometimes": 0.35, "seldom": 0.12, "rarely": 0.03, "hardly_ever": 0.005,
}

// factors are the words for how much a setup fact changes how common a cause is.
var factors = map[string]float64{"much_rarer": 0.1, "rarer": 0.3, "commoner": 3, "much_commoner": 10}

// strength reads a word of the scale or a probability.
func (n node) strength() float64 {
	if v, ok := strengths[n.text()]; ok {
		return v
	}
	v, err := strconv.ParseFloat(n.text(), 64)
	if err != nil || !(v >= 0 && v <= 1) {
		n.errorf("%q is neither a probability nor one of nearly_always, usually, often, half, sometimes, seldom, rarely, "+
			"hardly_ever", n.text())
		return 0
	}
	return v
}

// factor reads a word of the factor scale or a positive number.
func (n node) factor() float64 {
	if v, ok := factors[n.text()]; ok {
		return v
	}
	v, err := strconv.ParseFloat(n.text(), 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		n.errorf("%q is neither a positive factor nor one of much_rarer, rarer, commoner, much_commoner", n.text())
		return 1
	}
	return v
}
