package physics

import "strings"

// Step is one line of a calculation. Result is in Unit. With is Formula with the values put in, as plain arithmetic,
// and empty where the result was looked up in a table, chosen, or found by halving an interval; Formula then says how.
type Step struct {
	Quantity string
	Formula  string
	With     string
	Result   float64
	Unit     string
	Source   string
}

// String is the line as one would write it on paper.
func (s Step) String() string {
	var b strings.Builder
	b.WriteString(s.Quantity + ": " + s.Formula)
	if s.With != "" {
		b.WriteString(" = " + s.With)
	}
	b.WriteString(" = " + number(s.Result))
	if s.Unit != "" {
		b.WriteString(" " + s.Unit)
	}
	return b.String()
}

// Working is a calculation, in the order in which it was done. The last step is the quantity asked for.
type Working []Step

// Figure is one value with its working.
type Figure[T ~float64] struct {
	Value   T
	Working Working
}

// Band is a value that is known only roughly: the middle, the least and the greatest.
type Band[T ~float64] struct {
	Value, Low, High T
	Working          Working
}

// Sources that several files name.
const (
	ohmsLaw  = "Ohm's law"
	practice = "common practice, no source"
	memory   = "from memory"
	geometry = "geometry"
)

// find records a value that was not computed by a formula.
func (w *Working) find(quantity, how string, result float64, unit, source string) {
	*w = append(*w, Step{quantity, how, "", result, unit, source})
}

// step records a computed value. Each # in with stands for the next of the values.
func (w *Working) step(quantity, formula string, result float64, unit, source, with string, values ...float64) {
	var b strings.Builder
	for _, r := range with {
		if r != '#' {
			b.WriteRune(r)
			continue
		}
		text := number(values[0])
		if values = values[1:]; strings.HasPrefix(text, "-") {
			text = "(" + text + ")"
		}
		b.WriteString(text)
	}
	*w = append(*w, Step{quantity, formula, b.String(), result, unit, source})
}
