package heater_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/bayes"
)

// factor is a table over variables in rising order, the last varying fastest. This file's arithmetic shares nothing
// with the engine's: no cliques, no chains of noisy families, just whole tables, products and sums.
type factor struct {
	scope []int
	p     []float64
}

type plainNetwork struct {
	names   []string
	states  [][]string
	factors []factor
}

var (
	bifVariable = regexp.MustCompile(`(?m)^variable (\S+) \{ type discrete \[ \d+ \] \{ (.*) \}; \}$`)
	bifFamily   = regexp.MustCompile(`(?ms)^probability \( ([^)]*) \) \{(.*?)\}$`)
	bifRow      = regexp.MustCompile(`(?:\(([^)]*)\)|table) ([^;]*);`)
	bifSplit    = regexp.MustCompile(`[,|]\s*`)
)

// plain reads the network from the text that the engine writes of it, every noisy family as its full table.
func plain(t *testing.T, net *bayes.Network) *plainNetwork {
	var text bytes.Buffer
	require.NoError(t, bayes.WriteBIF(&text, net))
	n := &plainNetwork{}
	for _, m := range bifVariable.FindAllStringSubmatch(text.String(), -1) {
		n.names = append(n.names, m[1])
		var states []string
		for _, s := range strings.Split(m[2], ", ") {
			states = append(states, strings.Trim(s, `"`))
		}
		n.states = append(n.states, states)
	}
	require.Len(t, n.names, net.NumVariables())
	for _, m := range bifFamily.FindAllStringSubmatch(text.String(), -1) {
		n.factors = append(n.factors, n.family(t, bifSplit.Split(m[1], -1), m[2]))
	}
	require.Len(t, n.factors, len(n.names))
	return n
}

func (n *plainNetwork) family(t *testing.T, names []string, rows string) factor {
	family := make([]int, len(names)) // child first
	for i, name := range names {
		family[i] = slices.Index(n.names, strings.TrimSpace(name))
		require.GreaterOrEqual(t, family[i], 0, name)
	}
	f := n.empty(slices.Clone(family))
	at := make([]int, len(n.names))
	for _, row := range bifRow.FindAllStringSubmatch(rows, -1) {
		if row[1] != "" {
			for k, s := range strings.Split(row[1], ", ") {
				at[family[k+1]] = slices.Index(n.states[family[k+1]], strings.Trim(s, `"`))
			}
		}
		for state, s := range strings.Split(row[2], ", ") {
			p, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
			require.NoError(t, err)
			at[family[0]] = state
			f.p[n.index(f.scope, at)] = p
		}
	}
	return f
}

func (n *plainNetwork) empty(scope []int) factor {
	slices.Sort(scope)
	size := 1
	for _, v := range scope {
		size *= len(n.states[v])
	}
	return factor{scope, make([]float64, size)}
}

func (n *plainNetwork) index(scope, at []int) int {
	i := 0
	for _, v := range scope {
		i = i*len(n.states[v]) + at[v]
	}
	return i
}

// each visits all configurations of a scope.
func (n *plainNetwork) each(scope []int, visit func(i int, at []int)) {
	at := make([]int, len(n.names))
	var walk func(k, i int)
	walk = func(k, i int) {
		if k == len(scope) {
			visit(i, at)
			return
		}
		for s := range n.states[scope[k]] {
			at[scope[k]] = s
			walk(k+1, i*len(n.states[scope[k]])+s)
		}
	}
	walk(0, 0)
}

// given fixes variables' states in all tables.
func (n *plainNetwork) given(evidence map[int]int) []factor {
	var out []factor
	for _, f := range n.factors {
		free := slices.DeleteFunc(slices.Clone(f.scope), func(v int) bool { _, fixed := evidence[v]; return fixed })
		g := n.empty(free)
		n.each(free, func(i int, at []int) {
			for v, s := range evidence {
				at[v] = s
			}
			g.p[i] = f.p[n.index(f.scope, at)]
		})
		out = append(out, g)
	}
	return out
}

// sum is the sum over everything: P(evidence) of what given returned.
func (n *plainNetwork) sum(factors []factor) float64 {
	for {
		v, involved := n.cheapest(factors)
		if v < 0 {
			break
		}
		var rest, with []factor
		for _, f := range factors {
			if slices.Contains(f.scope, v) {
				with = append(with, f)
			} else {
				rest = append(rest, f)
			}
		}
		g := n.empty(slices.DeleteFunc(slices.Clone(involved), func(o int) bool { return o == v }))
		n.each(involved, func(_ int, at []int) {
			p := 1.0
			for _, f := range with {
				p *= f.p[n.index(f.scope, at)]
			}
			g.p[n.index(g.scope, at)] += p
		})
		factors = append(rest, g)
	}
	total := 1.0
	for _, f := range factors {
		total *= f.p[0]
	}
	return total
}

// cheapest picks the variable whose elimination makes the smallest table.
func (n *plainNetwork) cheapest(factors []factor) (best int, involved []int) {
	best = -1
	least := math.Inf(1)
	for v := range n.names {
		var scope []int
		for _, f := range factors {
			if slices.Contains(f.scope, v) {
				scope = append(scope, f.scope...)
			}
		}
		if len(scope) == 0 {
			continue
		}
		slices.Sort(scope)
		scope = slices.Compact(scope)
		size := 1.0
		for _, o := range scope {
			size *= float64(len(n.states[o]))
		}
		if size < least {
			best, involved, least = v, scope, size
		}
	}
	return best, involved
}

// draw samples a heater from the network and shows some of its observations.
func (n *plainNetwork) draw(t *testing.T, r *rand.Rand, shown int) map[int]int {
	all, known := make([]int, len(n.names)), make([]bool, len(n.names))
	for slices.Contains(known, false) {
		for v := range n.names {
			f := n.factors[v]
			if known[v] || slices.ContainsFunc(f.scope, func(o int) bool { return o != v && !known[o] }) {
				continue
			}
			known[v] = true
			u := r.Float64()
			for s := range n.states[v] {
				all[v] = s
				if u -= f.p[n.index(f.scope, all)]; u < 0 {
					break
				}
			}
		}
	}
	evidence := map[int]int{slices.Index(n.names, "complained"): 1}
	m := load(t)
	for len(evidence) < shown+1 {
		o := m.Observations[r.IntN(len(m.Observations))].ID
		if v := slices.Index(n.names, o); v >= 0 { // what keeps people safe need not be a variable
			evidence[v] = all[v]
		}
	}
	return evidence
}

// evidenceSets are what thirty callers tell, drawn from the model with a fixed seed.
func evidenceSets(t *testing.T, n *plainNetwork) []drawn {
	drawing.Do(func() {
		r := rand.New(rand.NewPCG(20261125, 1))
		for i := range 30 {
			set := n.draw(t, r, 2+i%8)
			if sum := n.sum(n.bearing(set)); sum > 0 { // a heater of which nobody complains is not brought in
				drawnBefore = append(drawnBefore, drawn{set, sum})
			}
		}
	})
	require.GreaterOrEqual(t, len(drawnBefore), 20)
	return drawnBefore
}

// drawn is evidence and its probability by plain elimination, which takes seconds.
type drawn struct {
	evidence map[int]int
	sum      float64
}

var (
	drawing     sync.Once
	drawnBefore []drawn
)

func enter(q *bayes.Query, n *plainNetwork, evidence map[int]int) {
	q.Reset()
	for v := range n.names {
		if s, ok := evidence[v]; ok {
			q.Observe(bayes.VarID(v), s)
		}
	}
}

// The whole model against plain variable elimination on its full tables.
func TestPosteriorsEqualPlainElimination(t *testing.T) {
	m := load(t)
	n := plain(t, m.Network())
	q := m.Tree().NewQuery()
	const tolerance = 1e-12 // relative; both sum some thousand products
	for i, d := range evidenceSets(t, n) {
		evidence, want := d.evidence, d.sum
		enter(q, n, evidence)
		got, err := q.LogEvidence()
		require.NoError(t, err)
		require.InDelta(t, math.Log(want), got, tolerance*(1+math.Abs(got)))
		for k := range 3 {
			c := m.Causes[(7*i+23*k)%len(m.Causes)]
			v := slices.Index(n.names, c.ID)
			if c.Computed {
				continue
			}
			with := map[int]int{v: 1}
			for o, s := range evidence {
				with[o] = s
			}
			post, err := q.Marginal(bayes.VarID(v))
			require.NoError(t, err)
			require.InDelta(t, n.sum(n.bearing(with))/want, post[1], tolerance, c.ID)
		}
	}
}

// toulbar2's lnZ of the same tables. It caps hard zeros at a finite cost and prints three decimals.
func TestEvidenceEqualsToulbar2(t *testing.T) {
	binary, err := exec.LookPath("toulbar2")
	if err != nil {
		if os.Getenv("LIGHTOFF_REQUIRE_ALL") == "1" {
			t.Fatal("toulbar2 is required and not on the path")
		}
		t.Skip("toulbar2 is not on the path")
	}
	m := load(t)
	n := plain(t, m.Network())
	q := m.Tree().NewQuery()
	dir := t.TempDir()
	lnZ := regexp.MustCompile(`<= Log\(Z\) <= (\S+) in`)
	share := 3 // plain elimination looks at them all
	if os.Getenv("LIGHTOFF_LONG") == "1" {
		share = 1
	}
	for i, d := range evidenceSets(t, n) {
		if i%share > 0 {
			continue
		}
		evidence := d.evidence
		problem := filepath.Join(dir, fmt.Sprintf("%d.uai", i))
		require.NoError(t, os.WriteFile(problem, n.uai(n.bearing(evidence)), 0o600))
		// With an order by least fill-in (-O=-3), and sums over all that is left of at most eleven neighbours (-p=11), it
		// takes a second where it takes half a minute as it comes.
		out, err := exec.Command(binary, problem, "-logz", "-precision=12", "-O=-3", "-p=11", "-v=1").CombinedOutput()
		require.NoError(t, err, string(out))
		found := lnZ.FindStringSubmatch(string(out))
		require.NotNil(t, found, string(out))
		want, err := strconv.ParseFloat(found[1], 64)
		require.NoError(t, err)
		enter(q, n, evidence)
		got, err := q.LogEvidence()
		require.NoError(t, err)
		require.InDelta(t, want, got, 2e-3, "%d", i)
	}
}

// bearing leaves out what sums to one: the families of unobserved variables that nothing left depends on. It is as
// given(evidence) otherwise.
func (n *plainNetwork) bearing(evidence map[int]int) []factor {
	factors := n.given(evidence)
	gone := make([]bool, len(factors))
	for again := true; again; {
		again = false
		for v := range factors {
			if _, seen := evidence[v]; seen || gone[v] {
				continue
			}
			needed := false
			for o, f := range factors {
				needed = needed || o != v && !gone[o] && slices.Contains(f.scope, v)
			}
			if !needed {
				gone[v], again = true, true
			}
		}
	}
	var out []factor
	for v, f := range factors {
		if !gone[v] {
			out = append(out, f)
		}
	}
	return out
}

// uai writes factors over the variables that are left, renumbered, as a Markov network.
func (n *plainNetwork) uai(factors []factor) []byte {
	var left []int
	for _, f := range factors {
		left = append(left, f.scope...)
	}
	slices.Sort(left)
	left = slices.Compact(left)
	var b bytes.Buffer
	fmt.Fprintf(&b, "MARKOV\n%d\n", len(left))
	for _, v := range left {
		fmt.Fprintf(&b, "%d ", len(n.states[v]))
	}
	fmt.Fprintf(&b, "\n%d\n", len(factors))
	for _, f := range factors {
		fmt.Fprintf(&b, "%d", len(f.scope))
		for _, v := range f.scope {
			fmt.Fprintf(&b, " %d", slices.Index(left, v))
		}
		b.WriteByte('\n')
	}
	for _, f := range factors {
		fmt.Fprintf(&b, "\n%d\n", len(f.p))
		for _, p := range f.p {
			fmt.Fprintf(&b, "%.17g ", p)
		}
	}
	b.WriteByte('\n')
	return b.Bytes()
}
