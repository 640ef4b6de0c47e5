package knowledge

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lightoff/engine/bayes"
)

// beside loads the pump's files together with some more, by name and text.
func beside(t tester, more map[string]string) (*Model, error) {
	files := good(t)
	for name, text := range more {
		files[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return Load(files, nil)
}

// row is a variable's distribution in one combination of its parents' states, by the states' names.
func row(t tester, n *bayes.Network, q *bayes.Query, v bayes.VarID, states []int) map[string]float64 {
	t.Helper()
	q.Reset()
	for i, p := range n.Parents(v) {
		q.Observe(p, states[i])
	}
	p, err := q.Marginal(v)
	require.NoError(t, err)
	out := map[string]float64{}
	for i, s := range n.Variable(v).States {
		out[s] = p[i]
	}
	return out
}

// combinations visits every combination of the variables' states.
func combinations(n *bayes.Network, vs []bayes.VarID, visit func(states []int)) {
	states := make([]int, len(vs))
	var walk func(int)
	walk = func(i int) {
		if i == len(vs) {
			visit(states)
			return
		}
		for s := range n.Card(vs[i]) {
			states[i] = s
			walk(i + 1)
		}
	}
	walk(0)
}

// A board's watching order written as lists is the same network as the one that was chained by hand: the same variables
// with the same parents, states and rows.
func TestSequenceIsTheChainWrittenByHand(t *testing.T) {
	read := func(name string) string {
		text, err := os.ReadFile("testdata/sequence/" + name)
		require.NoError(t, err)
		return string(text)
	}
	looked := read("looked_at.yaml")
	// By hand, steps on the way to the event had another name for having seen nothing.
	named := func(of, state string) string {
		if onTheWay := strings.Fields("awake powered sensed cold_enough blown tested begun"); state == "go" &&
			slices.Contains(onTheWay, of) {
			return "nothing"
		}
		return state
	}
	hand, err := beside(t, map[string]string{"looked_at.yaml": looked, "order.yaml": read("by_hand.yaml")})
	require.NoError(t, err)
	list, err := beside(t, map[string]string{"looked_at.yaml": looked, "order.yaml": read("by_list.yaml")})
	require.NoError(t, err)
	require.Len(t, list.variables, len(hand.variables))
	a, b := hand.Network(), list.Network()
	require.Equal(t, hand.Tree().Stats().WholeEntries, list.Tree().Stats().WholeEntries)
	qa, qb, rows := hand.Tree().NewQuery(), list.Tree().NewQuery(), 0
	for id := range hand.variables {
		va, ok := a.Lookup(id)
		require.True(t, ok)
		vb, ok := b.Lookup(id)
		require.True(t, ok, id)
		var states []string
		for _, s := range a.Variable(va).States {
			states = append(states, named(id, s))
		}
		require.ElementsMatch(t, states, b.Variable(vb).States, id)
		pa := a.Parents(va)
		require.Len(t, b.Parents(vb), len(pa), id)
		combinations(a, pa, func(states []int) {
			there := make([]int, len(pa))
			for i, p := range pa {
				at := slices.IndexFunc(b.Parents(vb), func(o bayes.VarID) bool { return b.Variable(o).Name == a.Variable(p).Name })
				require.GreaterOrEqual(t, at, 0, "%s hangs on %s", id, a.Variable(p).Name)
				parent := a.Variable(p)
				there[at] = slices.Index(b.Variable(b.Parents(vb)[at]).States, named(parent.Name, parent.States[states[i]]))
			}
			want, got := row(t, a, qa, va, states), row(t, b, qb, vb, there)
			for s, p := range want {
				require.InDelta(t, p, got[named(id, s)], 1e-12, "%s in state %s at %v", id, s, states)
			}
			rows++
		})
	}
	require.Greater(t, rows, 700)
}

// A sequence comes to what somebody finds who goes through its lines one by one, whatever the sequence.
func TestSequenceIsReadLineByLine(t *testing.T) {
	type line struct {
		of    string // what it looks at, or alreadySeen
		state string
		as    map[string]float64
	}
	rapid.Check(t, func(t *rapid.T) {
		var steps [][]line
		var text strings.Builder
		text.WriteString("sequences:\n  - nothing: calm\n    basis: drawn\n    steps:\n")
		before := []string{}
		for i := range rapid.IntRange(1, 4).Draw(t, "steps") {
			fmt.Fprintf(&text, "      - step%d:\n", i)
			var lines []line
			placed := map[string]bool{}
			free := []string{"x=1", "x=2", "y=1", "y=2", "z=1"}
			for range rapid.IntRange(1, 5).Draw(t, "lines") {
				if len(before) > 0 && rapid.Bool().Draw(t, "carries") {
					if s := rapid.SampledFrom(before).Draw(t, "seen"); !placed[s] {
						placed[s] = true
						as := rapid.SampledFrom([]string{s, s, "other"}).Draw(t, "as")
						lines = append(lines, line{alreadySeen, s, map[string]float64{as: 1}})
						fmt.Fprintf(&text, "          - seen: {%s: %s}\n", s, as)
					}
					continue
				}
				if len(free) == 0 {
					continue
				}
				at := rapid.IntRange(0, len(free)-1).Draw(t, "looks")
				of, state, _ := strings.Cut(free[at], "=")
				free = slices.Delete(free, at, at+1)
				a := rapid.SampledFrom([]string{"red", "blue", "green"}).Draw(t, "a")
				p := rapid.Float64Range(0.1, 1).Draw(t, "p")
				as := map[string]float64{a: p}
				fmt.Fprintf(&text, "          - %s: {%q: {%s: %v", of, state, a, p)
				if rapid.Bool().Draw(t, "rest") {
					as["rest"] = 1 - p
					text.WriteString(", rest: rest")
				}
				text.WriteString("}}\n")
				lines = append(lines, line{of, state, as})
			}
			if len(lines) == 0 {
				lines = append(lines, line{"z", "1", map[string]float64{"red": 1}})
				text.WriteString("          - z: {\"1\": {red: 1}}\n")
			}
			steps = append(steps, lines)
			next := slices.DeleteFunc(slices.Clone(before), func(s string) bool { return placed[s] })
			for _, l := range lines {
				next = append(next, slices.Sorted(maps.Keys(l.as))...)
			}
			slices.Sort(next)
			before = slices.Compact(next)
		}
		text.WriteString("effects:\n")
		for _, v := range []string{"x", "y", "z"} {
			fmt.Fprintf(&text,
				"  - {id: %s, states: [\"0\", \"1\", \"2\"], otherwise: {\"1\": 0.3, \"2\": 0.3}, basis: drawn}\n",
				v)
		}
		m, err := beside(t, map[string]string{"drawn.yaml": text.String()})
		require.NoError(t, err, text.String())

		at := map[string]string{}
		for _, v := range []string{"x", "y", "z"} {
			at[v] = rapid.SampledFrom([]string{"0", "1", "2"}).Draw(t, v)
		}
		now := map[string]float64{"": 1} // what has been seen → probability; nothing: ""
		for _, lines := range steps {
			next := map[string]float64{}
			for seen, p := range now {
				mentioned := slices.ContainsFunc(lines, func(l line) bool { return l.of == alreadySeen && l.state == seen })
				first := slices.IndexFunc(lines, func(l line) bool {
					return l.of == alreadySeen && l.state == seen || l.of != alreadySeen && at[l.of] == l.state
				})
				switch {
				case seen != "" && !mentioned || first < 0:
					next[seen] += p
				default:
					left := p
					for as, q := range lines[first].as {
						next[as] += p * q
						left -= p * q
					}
					next[""] += left
				}
			}
			now = next
		}
		q := m.Tree().NewQuery()
		for v, s := range at {
			id, _ := m.Network().Lookup(v)
			q.Observe(id, slices.Index(m.variables[v].states, s))
		}
		last := fmt.Sprintf("step%d", len(steps)-1)
		id, ok := m.Network().Lookup(last)
		require.True(t, ok)
		got, err := q.Marginal(id)
		require.NoError(t, err)
		for i, s := range m.variables[last].states {
			if s == "calm" {
				s = ""
			}
			require.InDelta(t, now[s], got[i], 1e-12, "%s in\n%s", s, text.String())
		}
	})
}

const garden = `sequences:
  - nothing: calm
    steps:
      - looks:
          - flow: {none: {dry: usually}}
      - hears:
          - hum_heard: {rough: 0.9}
          - seen: dry
    basis: invented for the tests
effects:
  - id: hum_heard
    states: [even, rough, shrill]
    worst_of: {motor_worn: {rough: half, shrill: seldom}}
    otherwise: {rough: 0.01}
    basis: invented for the tests
`

// Whatever is wrong with a list is named where it stands.
func TestBadSequencesNameWhatIsWrong(t *testing.T) {
	for _, tt := range []struct{ name, old, new, at, message string }{
		{"no name for nothing", "  - nothing: calm\n    steps", "  - steps", "steps", "nothing is missing"},
		{"no basis", "    basis: invented for the tests\neffects", "effects", "nothing: calm", "basis is missing"},
		{"unknown entry", "nothing: calm", "quiet: calm\n    nothing: calm",
			"quiet", `unknown entry "quiet"; known are nothing, steps, basis`},
		{"no such thing to look at", "flow:", "flood:",
			"flood", "flood is no cause, effect or observation of the model"},
		{"no such state", "none: {dry", "gone: {dry", "gone", `flow has no state "gone"; it has full, weak, none`},
		{"looked for twice", "flow: {none: {dry: usually}}", "flow: {none: {dry: usually}}\n          - flow: none",
			"- flow: none", "looks looks for flow none a second time"},
		{"above 1", "dry: usually", "dry: usually, wet: half",
			"dry: usually", "the strengths add up to 1.35, more than 1"},
		{"no strength", "dry: usually", "dry: mostly", "mostly", `"mostly" is neither a probability`},
		{"rest twice", "dry: usually", "dry: rest, wet: rest",
			"wet: rest", "what is left can go to one of them only, and dry has it already"},
		{"seen before the first", "- flow:", "- seen: dry\n          - flow:",
			"seen: dry", "looks is the first step; nothing has been seen before it"},
		{"seen by none", "seen: dry", "seen: wet",
			"seen: wet", `hears: no step before it comes to "wet"; they come to dry`},
		{"seen twice", "seen: dry", "seen: [dry, dry]", "seen: [dry", "hears places dry a second time"},
		{"seen as nothing", "seen: dry", "seen: {dry: calm}",
			"seen: {dry", "hears: calm is the name for having seen nothing"},
		{"name twice", "- hears:", "- looks:",
			"- looks:\n          - hum", "looks is defined twice; first in order.yaml line 4"},
		{"two names in a step", "- looks:", "- louder: []\n        looks:",
			"louder", "a step is one name with its lines"},
		{"no lines", "\n          - flow: {none: {dry: usually}}\n      - hears:", " []\n      - hears:",
			"looks: []", "looks looks at nothing"},
		{"what it looks for", "{none: {dry: usually}}", "[]", "flow: []", "looks: say what flow looks for"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			files := good(t)
			files["order.yaml"] = &fstest.MapFile{Data: []byte(garden)}
			replace(t, files, "order.yaml", tt.old, tt.new)
			_, err := Load(files, nil)
			var got *Error
			require.ErrorAs(t, err, &got)
			p := got.Problems[0]
			if i := slices.IndexFunc(got.Problems, func(p Problem) bool {
				return strings.Contains(p.Message,
					tt.message)
			}); i >= 0 {
				p = got.Problems[i]
			}
			require.Contains(t, p.Message, tt.message, "%v", err)
			require.Equal(t, "order.yaml", p.File)
			require.Equal(t, lineOf(t, files, "order.yaml", tt.at), p.Line, "%v", err)
		})
	}
}

// Linting finds a state that a list looks past.
func TestLintNamesWhatASequenceLooksPast(t *testing.T) {
	m, err := beside(t, map[string]string{"order.yaml": garden})
	require.NoError(t, err)
	problems, err := m.Lint()
	require.NoError(t, err)
	var got []string
	for _, p := range problems {
		if p.File == "order.yaml" {
			got = append(got, fmt.Sprintf("%d: %s", p.Line, p.Message))
		}
	}
	require.Equal(t, []string{
		"5: hears looks at flow, and no line says what becomes of weak",
		"7: hears looks at hum_heard, and no line says what becomes of shrill",
	}, got)
}
