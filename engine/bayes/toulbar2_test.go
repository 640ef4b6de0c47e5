package bayes_test

import (
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
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// toulbar2 is a solver of weighted constraints that shares nothing with this package, not even the oracle's author. It
// prints three decimals, and rounds costs to its precision.
const toulbar2Tolerance = 2e-3

// toulbar2 runs the solver on a network written as a Markov field, with hard findings, or skips the test without it.
func toulbar2(t *testing.T, field string, findings map[bayes.VarID]int, options ...string) string {
	path, err := exec.LookPath("toulbar2")
	if err != nil {
		if os.Getenv("LIGHTOFF_REQUIRE_ALL") == "1" {
			t.Fatal("toulbar2 is not on the path")
		}
		t.Skip("toulbar2 is not on the path")
	}
	folder := t.TempDir()
	network, evidence := filepath.Join(folder, "n.uai"), filepath.Join(folder, "n.evid")
	text := fmt.Sprint(len(findings))
	for v, s := range findings {
		text += fmt.Sprintf(" %d %d", v, s)
	}
	require.NoError(t, os.WriteFile(network, []byte(field), 0o600))
	require.NoError(t, os.WriteFile(evidence, []byte(text+"\n"), 0o600))
	// Precision 15 gives wrong answers without a word, and so does bounded elimination by -B.
	command := exec.Command(path, append([]string{network, evidence, "-precision=12", "-p=6", "-v=1"}, options...)...)
	command.Dir = folder
	out, err := command.CombinedOutput()
	require.NoError(t, err, string(out))
	return string(out)
}

// markovField writes the network in the format of the UAI competitions. The scope of a table must be sorted by the
// numbers of the variables, for other orders are misread in silence.
func (m *model) markovField(n *bayes.Network) string {
	var scopes, tables strings.Builder
	for v := range m.cards {
		scope := append(slices.Clone(n.Parents(bayes.VarID(v))), bayes.VarID(v))
		slices.Sort(scope)
		size := 1
		fmt.Fprint(&scopes, len(scope))
		for _, u := range scope {
			fmt.Fprintf(&scopes, " %d", u)
			size *= m.cards[u]
		}
		fmt.Fprintf(&scopes, "\n")
		fmt.Fprintf(&tables, "%d\n", size)
		states := make([]int, len(m.cards))
		for i := range size {
			for k, rest := len(scope)-1, i; k >= 0; k-- {
				states[scope[k]] = rest % m.cards[scope[k]]
				rest /= m.cards[scope[k]]
			}
			fmt.Fprintf(&tables, " %.17g", m.p[v](states))
		}
		fmt.Fprintf(&tables, "\n")
	}
	cards := strings.Trim(fmt.Sprint(m.cards), "[]")
	return fmt.Sprintf("MARKOV\n%d\n%s\n%d\n%s\n%s", len(m.cards), cards, len(m.cards), scopes.String(), tables.String())
}

// positiveModel draws a network without zeros, which the solver would take for small numbers: tables, noisy-OR with a
// leak and noisy-MAX, larger than the oracle could enumerate.
func positiveModel(r *rand.Rand, count int) *model {
	m := &model{}
	for range count {
		v := m.add(2 + r.IntN(2))
		var parents []bayes.VarID
		for _, p := range r.Perm(int(v)) {
			if len(parents) < 3 && v-bayes.VarID(p) < 8 {
				parents = append(parents, bayes.VarID(p))
			}
		}
		rows := 1
		var links []bayes.Link
		for _, p := range parents {
			rows *= m.cards[p]
			link := bayes.Link{Parent: p}
			for range m.cards[p] {
				link.P = append(link.P, mildRow(r, m.cards[v]))
			}
			links = append(links, link)
		}
		if r.IntN(2) == 0 {
			m.noisyMax(v, links, mildRow(r, m.cards[v]))
			continue
		}
		var table []float64
		for range rows {
			table = append(table, mildRow(r, m.cards[v])...)
		}
		m.table(v, parents, table)
	}
	return m
}

// mildRow is a distribution whose entries are all above a hundredth or so.
func mildRow(r *rand.Rand, card int) []float64 {
	row, total := make([]float64, card), 0.0
	for i := range row {
		row[i] = r.Float64() + 0.05
		total += row[i]
	}
	return scaled(row, 1/total)
}

func randomFindings(r *rand.Rand, m *model, q *bayes.Query) map[bayes.VarID]int {
	q.Reset()
	findings := map[bayes.VarID]int{}
	for v, card := range m.cards {
		if r.IntN(4) == 0 {
			findings[bayes.VarID(v)] = r.IntN(card)
			q.Observe(bayes.VarID(v), findings[bayes.VarID(v)])
		}
	}
	return findings
}

var logZ = regexp.MustCompile(`(\S+) <= Log\(Z\) <= (\S+) in`)

// A second opinion on ln P(e), on eight networks under five sets of findings each.
func TestLogEvidenceEqualsToulbar2(t *testing.T) {
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 16))
		m := positiveModel(r, 12+r.IntN(14))
		n, err := m.b.Build()
		require.NoError(t, err)
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		q, field := tree.NewQuery(), m.markovField(n)
		for range 5 {
			findings := randomFindings(r, m, q)
			out := toulbar2(t, field, findings, "-logz")
			bounds := logZ.FindStringSubmatch(out)
			require.Len(t, bounds, 3, out)
			got, err := q.LogEvidence()
			require.NoError(t, err)
			for _, bound := range bounds[1:] {
				want, err := strconv.ParseFloat(bound, 64)
				require.NoError(t, err)
				require.InDelta(t, want, got, toulbar2Tolerance, "seed %d", seed)
			}
		}
	}
}

var solution = regexp.MustCompile(`(?m)^ ?(\d+(?: \d+)*)\s*$`)

// A second opinion on the most probable explanation, which is what the solver is made for.
func TestMostProbableEqualsToulbar2(t *testing.T) {
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 17))
		m := positiveModel(r, 12+r.IntN(14))
		n, err := m.b.Build()
		require.NoError(t, err)
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		q, field := tree.NewQuery(), m.markovField(n)
		for range 4 {
			findings := randomFindings(r, m, q)
			out := toulbar2(t, field, findings, "-s")
			got, err := q.MostProbable(1)
			require.NoError(t, err)
			want := ""
			for _, line := range solution.FindAllStringSubmatch(out, -1) {
				if len(strings.Fields(line[1])) == len(m.cards) {
					want = strings.Join(strings.Fields(line[1]), " ")
				}
			}
			require.Equal(t, want, strings.Trim(fmt.Sprint(got[0].States), "[]"), out)
			states := got[0].States
			p := 0.0
			for v := range states {
				p += math.Log(m.p[v](states))
			}
			require.InDelta(t, p, got[0].LogP, tolerance*100)
		}
	}
}
