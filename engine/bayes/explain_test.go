package bayes_test

import (
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// explanations lists all possible combinations of states, the most probable first and equals in their order.
func (m *model) explanations(e evidence) (all []bayes.Explanation) {
	m.enumerate(e, func(states []int, weight float64) {
		if weight > 0 {
			all = append(all, bayes.Explanation{States: slices.Clone(states), LogP: math.Log(weight)})
		}
	})
	slices.SortStableFunc(all, func(a, b bayes.Explanation) int {
		if d := b.LogP - a.LogP; math.Abs(d) > tolerance*(1+math.Abs(a.LogP)) {
			return int(math.Copysign(1, d))
		}
		return slices.Compare(a.States, b.States)
	})
	return all
}

func sameExplanations(t *testing.T, want, got []bayes.Explanation) {
	t.Helper()
	require.Len(t, got, len(want))
	for i := range want {
		require.Equal(t, want[i].States, got[i].States, "explanation %d", i)
		require.InDelta(t, want[i].LogP, got[i].LogP, tolerance*(1+math.Abs(want[i].LogP)))
	}
}

func TestMostProbableEqualsTheOracle(t *testing.T) {
	cases(t, 300, 8, func(t *testing.T, r *rand.Rand, m *model, q *bayes.Query, e evidence) {
		all := m.explanations(e)
		k := 1 + r.IntN(12)
		untouched(t, q, func() {
			for range 2 { // the second time from kept messages
				got, err := q.MostProbable(k)
				require.NoError(t, err)
				sameExplanations(t, all[:min(k, len(all))], got)
			}
		})
	})
}

// Asked for more than there are, it lists them all, and their probabilities add up to that of the findings.
func TestAllExplanationsAddUp(t *testing.T) {
	cases(t, 40, 5, func(t *testing.T, r *rand.Rand, m *model, q *bayes.Query, e evidence) {
		got, err := q.MostProbable(1 << 20)
		require.NoError(t, err)
		sameExplanations(t, m.explanations(e), got)
		evidence, err := q.LogEvidence()
		require.NoError(t, err)
		total := 0.0
		for _, x := range got {
			total += math.Exp(x.LogP - evidence)
		}
		require.InDelta(t, 1, total, tolerance)
	})
}

// Fair coins, a parity and a copy make nothing but ties, in several components. The order is that of the states.
func TestTiesComeInTheOrderOfStates(t *testing.T) {
	m := &model{}
	a, b, c, d, e := m.add(2), m.add(2), m.add(2), m.add(3), m.add(2)
	m.table(a, nil, []float64{0.5, 0.5})
	m.table(b, nil, []float64{0.5, 0.5})
	m.function(c, []bayes.VarID{b, a}, func(s []int) int { return s[0] ^ s[1] })
	m.table(d, nil, []float64{1.0 / 3, 1.0 / 3, 1.0 / 3})
	m.function(e, []bayes.VarID{c}, func(s []int) int { return s[0] })
	q := compiled(t, m).NewQuery()
	for k := 1; k <= 13; k++ {
		got, err := q.MostProbable(k)
		require.NoError(t, err)
		sameExplanations(t, m.explanations(evidence{})[:min(k, 12)], got)
	}
}

// Where maximising the accumulators too would go wrong: a state that is reached in many ways, none of them likely. Each
// of five contributions is 0, 1 or 2; the largest single way leads to 1, most ways together to 2.
func TestAccumulatorsAreSummedNotMaximised(t *testing.T) {
	m := &model{}
	var links []bayes.Link
	for range 5 {
		cause := m.add(2)
		m.table(cause, nil, []float64{0.1, 0.9})
		links = append(links, bayes.Link{Parent: cause, P: [][]float64{{1, 0, 0}, {0.2, 0.5, 0.3}}})
	}
	effect := m.add(3)
	m.noisyMax(effect, links, []float64{1, 0, 0})
	q := compiled(t, m).NewQuery()
	got, err := q.MostProbable(3)
	require.NoError(t, err)
	sameExplanations(t, m.explanations(evidence{})[:3], got)
	require.Equal(t, 2, got[0].States[effect])
}

// No change of one variable improves the best explanation of a network too large for the oracle, and the list falls.
func TestMostProbableOfStandardNetworks(t *testing.T) {
	for _, name := range []string{"asia", "child", "alarm", "insurance", "hailfinder", "win95pts"} {
		t.Run(name, func(t *testing.T) {
			n := readNetwork(t, name)
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			q := tree.NewQuery()
			set := readReference(t, name)[3]
			set.enter(t, n, q)
			got, err := q.MostProbable(5)
			require.NoError(t, err)
			require.Len(t, got, 5)
			for i := range got[1:] {
				require.NotEqual(t, got[i].States, got[i+1].States)
				require.GreaterOrEqual(t, got[i].LogP, got[i+1].LogP-tolerance*100)
			}
			for v := range bayes.VarID(n.NumVariables()) {
				q.Observe(v, got[0].States[v])
			}
			observed, err := q.LogEvidence()
			require.NoError(t, err)
			require.InDelta(t, observed, got[0].LogP, referenceTolerance)
			for v := range bayes.VarID(n.NumVariables()) {
				if _, given := set.Evidence[n.Variable(v).Name]; given {
					continue
				}
				q.Withdraw(v)
				p, err := q.Marginal(v)
				require.NoError(t, err)
				require.GreaterOrEqual(t, p[got[0].States[v]], slices.Max(p)-tolerance)
				q.Observe(v, got[0].States[v])
			}
		})
	}
}

func TestMostProbableSaysWhatItCannotDo(t *testing.T) {
	n, err := manyCauses(20).Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	_, err = q.MostProbable(1)
	require.EqualError(t, err, `most probable explanation: the full table of the noisy family of "effect" has more than `+
		`1048576 entries`)
	require.PanicsWithValue(t, "bayes: 0 explanations", func() { _, _ = q.MostProbable(0) })
	q.SetLikelihood(3, []float64{0, 0})
	_, err = q.MostProbable(1)
	var impossible *bayes.ImpossibleError
	require.ErrorAs(t, err, &impossible)

	n, err = new(bayes.Builder).Build()
	require.NoError(t, err)
	tree, err = bayes.Compile(n)
	require.NoError(t, err)
	got, err := tree.NewQuery().MostProbable(3)
	require.NoError(t, err)
	require.Len(t, got, 1, "of nothing there is one explanation")
}

func ExampleQuery_MostProbable() {
	n, _, _, flame, _ := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(flame, 1)
	explanations, err := q.MostProbable(3)
	if err != nil {
		log.Fatal(err)
	}
	evidence, err := q.LogEvidence()
	if err != nil {
		log.Fatal(err)
	}
	for _, x := range explanations {
		var names []string
		for v, s := range x.States {
			if s == 1 {
				names = append(names, n.Variable(bayes.VarID(v)).Name)
			}
		}
		fmt.Printf("%.3f %s\n", math.Exp(x.LogP-evidence), strings.Join(names, ", "))
	}
	// Output:
	// 0.599 pump stuck, no flame
	// 0.211 igniter broken, no flame, pump clicks
	// 0.109 no flame, pump clicks
}

// Products of tenths make many ties, which rounding breaks one way in the tree and another way in the oracle.
func TestTiesThatRoundingBreaks(t *testing.T) {
	for seed := range uint64(30) {
		r := rand.New(rand.NewPCG(seed, 20))
		m := &model{}
		for range 6 {
			v := m.add(2)
			var parents []bayes.VarID
			for p := range v {
				if len(parents) < 2 && r.IntN(2) == 0 {
					parents = append(parents, p)
				}
			}
			var table []float64
			for range 1 << len(parents) {
				tenths := float64(1 + r.IntN(9))
				table = append(table, tenths/10, (10-tenths)/10)
			}
			m.table(v, parents, table)
		}
		got, err := compiled(t, m).NewQuery().MostProbable(64)
		require.NoError(t, err)
		sameExplanations(t, m.explanations(evidence{}), got)
	}
}
