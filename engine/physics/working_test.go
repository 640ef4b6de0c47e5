package physics_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"lightoff/engine/physics"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// interval is what a number may be that was printed with six digits.
type interval struct{ low, high float64 }

func around(values ...float64) interval {
	i := interval{math.Inf(1), math.Inf(-1)}
	for _, v := range values {
		i.low, i.high = min(i.low, v), max(i.high, v)
	}
	return i
}

func (a interval) with(b interval, f func(x, y float64) float64) interval {
	return around(f(a.low, b.low), f(a.low, b.high), f(a.high, b.low), f(a.high, b.high))
}

func (a interval) through(f func(float64) float64) interval { return around(f(a.low), f(a.high)) }

// arithmetic reads what a step puts in, and works it out anew: an evaluator that knows nothing of the package.
type arithmetic struct{ rest string }

// evaluate panics on what is no arithmetic, with what is left of it.
func evaluate(text string) interval {
	a := arithmetic{text}
	i := a.sum()
	if a.skip(); a.rest != "" {
		panic("not arithmetic: " + a.rest)
	}
	return i
}

func (a *arithmetic) skip() { a.rest = strings.TrimLeft(a.rest, " ") }

func (a *arithmetic) take(token string) bool {
	a.skip()
	rest, ok := strings.CutPrefix(a.rest, token)
	a.rest = rest
	return ok
}

func (a *arithmetic) sum() interval {
	i := a.product()
	for {
		switch {
		case a.take("+"):
			i = i.with(a.product(), func(x, y float64) float64 { return x + y })
		case a.take("−"):
			i = i.with(a.product(), func(x, y float64) float64 { return x - y })
		default:
			return i
		}
	}
}

func (a *arithmetic) product() interval {
	i := a.power()
	for {
		switch {
		case a.take("×"):
			i = i.with(a.power(), func(x, y float64) float64 { return x * y })
		case a.take("/"):
			i = i.with(a.power(), func(x, y float64) float64 { return x / y })
		default:
			return i
		}
	}
}

func (a *arithmetic) power() interval {
	if a.take("−") || a.take("-") {
		return a.power().through(func(x float64) float64 { return -x })
	}
	return a.raise(a.atom())
}

// raise takes a whole exponent for exact, since a negative base has no other powers.
func (a *arithmetic) raise(base interval) interval {
	if !a.take("^") {
		return base
	}
	exponent := a.atom()
	if whole := math.Round((exponent.low + exponent.high) / 2); exponent.low <= whole && whole <= exponent.high {
		exponent = interval{whole, whole}
	}
	return base.with(a.raise(exponent), math.Pow)
}

var functions = map[string]func(float64) float64{
	"exp": math.Exp, "ln": math.Log, "lg": math.Log10, "sqrt": math.Sqrt, "ceil": math.Ceil,
	"Φ": func(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 },
}

func (a *arithmetic) atom() interval {
	if a.take("max(0,") {
		defer a.take(")")
		return a.sum().through(func(x float64) float64 { return max(0, x) })
	}
	for name, f := range functions {
		if a.take(name + "(") {
			defer a.take(")")
			return a.sum().through(f)
		}
	}
	if a.take("(") {
		defer a.take(")")
		return a.sum()
	}
	return a.literal()
}

// literal takes a number, which may have been rounded to six digits.
func (a *arithmetic) literal() interval {
	a.skip()
	end := strings.IndexFunc(a.rest, func(r rune) bool { return !unicode.IsDigit(r) && r != '.' })
	if end < 0 {
		end = len(a.rest)
	}
	if strings.HasPrefix(a.rest[end:], "e") {
		sign := 1
		if next, _ := utf8.DecodeRuneInString(a.rest[end+1:]); next == '-' || next == '+' {
			sign = 2
		}
		exponent := strings.IndexFunc(a.rest[end+sign:], func(r rune) bool { return !unicode.IsDigit(r) })
		if exponent < 0 {
			exponent = len(a.rest) - end - sign
		}
		end += sign + exponent
	}
	x, err := strconv.ParseFloat(a.rest[:end], 64)
	if err != nil {
		panic(fmt.Sprintf("no number in %q", a.rest))
	}
	a.rest = a.rest[end:]
	return interval{x * (1 - 5.1e-6), x * (1 + 5.1e-6)}
}

// requireHonest works every step out again from its own text, and requires that each is complete.
func requireHonest(t require.TestingT, w physics.Working) {
	require.NotEmpty(t, w)
	for _, s := range w {
		require.NotEmpty(t, s.Quantity)
		require.NotEmpty(t, s.Formula, s.Quantity)
		require.NotEmpty(t, s.Source, s.Quantity)
		if s.With == "" {
			continue
		}
		i := evaluate(s.With)
		slack := 1e-9 * max(math.Abs(i.low), math.Abs(i.high), 1e-9)
		require.True(t, s.Result >= i.low-slack && s.Result <= i.high+slack, "%s: %v is not in %v", s, s.Result, i)
	}
}

func TestEvaluator(t *testing.T) {
	tests := []struct {
		text string
		want float64
	}{
		{"2 × 6 × 0.0133", 0.1596},
		{"12 − 3 − 4", 5},
		{"12 / 3 / 4", 1},
		{"(-20) + 2 × (1 − 3)", -24},
		{"2 ^ 3 ^ 2", 512},
		{"exp(−1 / 2)", math.Exp(-0.5)},
		{"5.775e-7 × 2", 1.155e-6},
		{"max(0, 3 − 4)", 0},
		{"ceil(2 × 1.2)", 3},
		{"Φ(0) + sqrt(9) + lg(100) + ln(1)", 5.5},
	}
	for _, tt := range tests {
		i := evaluate(tt.text)
		slack := 5e-5 * max(1, math.Abs(tt.want))
		assert.True(t, i.low <= tt.want && tt.want <= i.high && i.high-i.low < 2*slack || tt.want == i.high, "%s: %v",
			tt.text, i)
	}
	assert.Panics(t, func() { evaluate("2 × x") })
	assert.Panics(t, func() { evaluate("2 3") })
}

func TestStepReadsAsOnPaper(t *testing.T) {
	r, err := physics.ConductorResistance(physics.Conductor{Construction: physics.Class5,
		Area: 6 * physics.SquareMillimetre}, 12, 20)
	require.NoError(t, err)
	assert.Equal(t, "resistance of the conductor: r·L = 0.0033 × 12 = 0.0396 Ω", r.Working[len(r.Working)-1].String())
	assert.Equal(t, "resistance of a metre at 20 °C: 6 mm², class 5 plain copper, table = 0.0033 Ω/m",
		r.Working[0].String())
}
