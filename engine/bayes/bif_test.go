package bayes_test

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// posterior is the marginal of one variable without findings.
func posterior(t testing.TB, n *bayes.Network, name string) []float64 {
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	v, ok := n.Lookup(name)
	require.True(t, ok)
	p, err := tree.NewQuery().Marginal(v)
	require.NoError(t, err)
	return p
}

func TestReadBIFAcceptsWhatIsInUse(t *testing.T) {
	tests := map[string]struct {
		text string
		want []float64
	}{
		"comments and properties": {`// a line
			network "two words" { property author someone, 1990; }
			/* a block; with { } */
			variable B { property colour red; type discrete [ 2 ] { x, y }; property shape (1, 2); }
			probability ( B ) { property p; table 0.25, 0.75; } // end`, []float64{0.25, 0.75}},
		"unusual names": {`network n {}
			variable "A b" { type discrete [3] { n/a, <=5.0, -1 }; }
			variable B { type discrete [2] { "x y", y.z }; }
			probability("A b"){table .5 .25 .25;}
			probability(B|"A b"){(<=5.0)1,0;(n/a)0.5,0.5;(-1)0,1;}`, []float64{0.5, 0.5}},
		"default": {`network n {}
			variable A { type discrete [3] { a, b, c }; }
			variable B { type discrete [2] { x, y }; }
			probability ( A ) { table 0.5 0.25 0.25; }
			probability ( B | A ) { (b) 1, 0; default 0, 1; }`, []float64{0.25, 0.75}},
		"table with the child slowest": {`network n {}
			variable A { type discrete [2] { a, b }; }
			variable B { type discrete [2] { x, y }; }
			probability ( A ) { table 0.5, 0.5; }
			probability ( B A ) { table 0.6 0.05 0.4 0.95; }`, []float64{0.325, 0.675}},
		"child before its parent": {`network n {}
			variable B { type discrete [2] { x, y }; }
			probability ( B | A ) { (b) 1, 0; (a) 0, 1; }
			variable A { type discrete [2] { a, b }; }
			probability ( A ) { table 1e-1, 9E-1; }`, []float64{0.9, 0.1}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			require.InDeltaSlice(t, tt.want, posterior(t, mustRead(t, tt.text), "B"), 1e-15)
		})
	}
}

func TestReadBIFReportsWhere(t *testing.T) {
	const a = "variable A { type discrete [2] { x, y }; }\n"
	const pa = "probability ( A ) { table 0.5, 0.5; }\n"
	const b = "variable B { type discrete [2] { x, y }; }\n"
	tests := map[string]struct{ text, want string }{
		"keyword":           {"network n {}\n  nonsense", `2:3: want network, variable or probability, have "nonsense"`},
		"punctuation":       {"{", `1:1: want network, variable or probability, have "{"`},
		"unclosed block":    {"network n {", `1:12: want a property, have the end of the file`},
		"unclosed property": {"network n { property", `1:21: want ";", have the end of the file`},
		"unclosed comment":  {"network /* n", `1:9: comment without end`},
		"unclosed quote":    {"network \"n", `1:9: quote without end`},
		"no name":           {"variable { }", `1:10: want a variable's name, have "{"`},
		"no type":           {"variable A { }", `1:10: variable "A" has no type`},
		"two types":         {"variable A { type discrete [1] { x }; type", `1:39: want "}", have "type"`},
		"continuous":        {"variable A { type real", `1:19: want "discrete", have "real"`},
		"count":             {"variable A { type discrete [3] { x, y }; }", `1:29: 3 states announced, 2 given`},
		"repeated state":    {"variable A { type discrete [2] { x, x }; }", `1:37: state "x" is given twice`},
		"repeated variable": {a + a, `2:10: variable "A" is defined twice`},
		"unknown variable":  {a + pa + "probability ( C ) { table 1; }", `3:15: unknown variable "C"`},
		"unknown parent":    {a + "probability ( A | C ) { table 1; }", `2:19: unknown variable "C"`},
		"parent twice":      {a + pa + b + "probability ( B | A, A ) { table 1; }", `4:22: variable "A" is given twice`},
		"nothing":           {a + "probability ( ) { }", `2:15: probability of nothing`},
		"two blocks":        {a + pa + pa, `3:15: variable "A" has two probability blocks`},
		"no block":          {a, `1:10: variable "A" has no probability block`},
		"number":            {a + "probability ( A ) { table 0.5, half; }", `2:32: want a number, have "half"`},
		"NaN":               {a + "probability ( A ) { table 0.5, nan; }", `2:32: want a number, have "nan"`},
		"sum": {a + "probability ( A ) { table 0.5, 0.6; }",
			`2:21: the row of variable "A" sums to 1.1, not to one`},
		"table length": {a + "probability ( A ) { table 1; }", `2:21: table of 1 numbers, want 2`},
		"entry": {a + "probability ( A ) { row 1; }",
			`2:21: want table, default or a parent combination, have "row"`},
		"missing row": {a + pa + b + "probability ( B | A ) { (x) 1, 0; }", `4:15: no row of variable "B" for A=y`},
		"second row": {a + pa + b + "probability ( B | A ) { (x) 1, 0; (x) 1, 0; default 1, 0; }",
			`4:35: second row of variable "B" for A=x`},
		"second default": {a + pa + b + "probability ( B | A ) { default 1, 0; default 1, 0; }", `4:39: second default`},
		"default sum": {a + pa + b + "probability ( B | A ) { default 1, 1; }",
			`4:25: the default row sums to 2, not to one`},
		"row length": {a + pa + b + "probability ( B | A ) { (x) 1; default 1, 0; }",
			`4:25: the row of variable "B" for A=x has 1 entries, not 2`},
		"unknown state": {a + pa + b + "probability ( B | A ) { (z) 1, 0; default 1, 0; }",
			`4:26: variable "A" has no state "z"`},
		"states for parents": {a + pa + b + "probability ( B | A ) { (x, x) 1, 0; default 1, 0; }",
			`4:25: 2 parent states for 1 parents`},
		"cycle": {a + b + "probability ( A | B ) { default 1, 0; }\nprobability ( B | A ) { default 1, 0; }",
			`cycle: A -> B -> A`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := bayes.ReadBIF(strings.NewReader(tt.text))
			require.EqualError(t, err, tt.want)
		})
	}
}

func TestReadBIFPassesReadErrorsOn(t *testing.T) {
	_, err := bayes.ReadBIF(iotest.ErrReader(io.ErrUnexpectedEOF))
	require.True(t, errors.Is(err, io.ErrUnexpectedEOF))
}

// Whatever the text, the reader neither panics nor returns both or neither of a network and an error.
func FuzzReadBIF(f *testing.F) {
	for _, text := range []string{burglary, asia, student, "network n { } /*", "variable A { type discrete [ 2 ] {",
		`probability ( "A`} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, err := bayes.ReadBIF(strings.NewReader(text))
		require.True(t, (n == nil) != (err == nil))
	})
}

// A file cut off anywhere, or with one token gone, is an error or still a network, but never a panic; and nearly all
// of these are errors, which say where.
func TestReadBIFOfBrokenFiles(t *testing.T) {
	text := `network n { property "a b" c; } variable A { type discrete [ 2 ] { x, y }; property p; }
		variable B { type discrete [ 2 ] { u, v }; } probability ( A ) { property q; table 0.5, 0.5; }
		probability ( B | A ) { (x) 1, 0; (y) 0.25, 0.75; }`
	check := func(broken string) (failed bool) {
		n, err := bayes.ReadBIF(strings.NewReader(broken))
		require.True(t, (n == nil) != (err == nil))
		if err != nil {
			require.Regexp(t, `^\d+:\d+: |cycle|distribution`, err.Error(), broken)
		}
		return err != nil
	}
	for i := range text {
		// An empty file is a network of nothing, and so is one of a network block alone.
		if short := strings.TrimSpace(text[:i]); short != "" && short != `network n { property "a b" c; }` {
			require.True(t, check(short), short)
		}
	}
	words := strings.Fields(text)
	failed := 0
	for i := range words {
		broken := append(append([]string{}, words[:i]...), words[i+1:]...)
		if check(strings.Join(broken, " ")) {
			failed++
		}
	}
	require.Greater(t, failed, len(words)/2)
}

func TestReadBIFRefusesTablesTooLarge(t *testing.T) {
	var text strings.Builder
	var parents []string
	for i := range 27 {
		name := "v" + strings.Repeat("x", i)
		text.WriteString("variable " + name + " { type discrete [ 2 ] { a, b }; }\nprobability ( " + name +
			" ) { table 0.5, 0.5; }\n")
		parents = append(parents, name)
	}
	text.WriteString("variable child { type discrete [ 2 ] { a, b }; }\nprobability ( child | " +
		strings.Join(parents, ", ") + " ) { default 1, 0; }")
	_, err := bayes.ReadBIF(strings.NewReader(text.String()))
	require.EqualError(t, err, `56:15: the table of variable "child" has more than 134217728 entries`)
}
