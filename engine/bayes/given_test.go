package bayes_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// A network cut for a case answers that case as the whole one does, with no larger clique.
func TestGivenAnswersItsCase(t *testing.T) {
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 25))
		m := randomModel(r, 3+r.IntN(6))
		n, err := m.b.Build()
		require.NoError(t, err)
		states := m.sample(r)
		given := n.Given(states)
		ask := func(n *bayes.Network, enter bool) (float64, [][]float64, int64) {
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			q := tree.NewQuery()
			for v, s := range states {
				if s != bayes.Unknown && enter {
					q.Observe(bayes.VarID(v), s)
				}
			}
			log, err := q.LogEvidence()
			require.NoError(t, err)
			post, err := q.Marginals(nil)
			require.NoError(t, err)
			tree, err = bayes.CompileKeeping(n, 2) // every zero
			require.NoError(t, err)
			return log, post, tree.Stats().LargestClique
		}
		wantLog, want, whole := ask(n, true)
		for _, enter := range []bool{true, false} {
			gotLog, got, cut := ask(given, enter)
			require.InDelta(t, wantLog, gotLog, 1e-11, "seed %d", seed)
			for v := range want {
				require.InDeltaSlice(t, want[v], got[v], tolerance, "seed %d", seed)
			}
			require.LessOrEqual(t, cut, whole)
		}
		require.Equal(t, m.cards[0], given.Card(0), "observed variables stay")
	}
}

// Cutting a computed family leaves it computed.
func TestGivenKeepsComputedDistributions(t *testing.T) {
	c := newContextual(rand.New(rand.NewPCG(3, 26)))
	states := bayes.Case{2, bayes.Unknown, 1}
	ask := func(n *bayes.Network) answers {
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		q, err := tree.NewQueryWith("cold")
		require.NoError(t, err)
		q.Observe(0, 2)
		q.Observe(2, 1)
		return ask(q)
	}
	n := c.build(t, "", true)
	whole, cut := ask(n), ask(n.Given(states))
	require.InDelta(t, whole.log, cut.log, tolerance)
	require.InDeltaSlice(t, whole.marginals[1], cut.marginals[1], tolerance)
}

// Findings may be built in one after the other, and the rest entered.
func TestGivenInSteps(t *testing.T) {
	for seed := range uint64(50) {
		r := rand.New(rand.NewPCG(seed, 27))
		m := randomModel(r, 3+r.IntN(6))
		n, err := m.b.Build()
		require.NoError(t, err)
		states, given, last := m.sample(r), n, bayes.VarID(-1)
		for v, s := range states {
			if s == bayes.Unknown {
				continue
			}
			if last >= 0 {
				one := slices.Repeat(bayes.Case{bayes.Unknown}, len(states))
				one[last] = states[last]
				given = given.Given(one)
			}
			last = bayes.VarID(v)
		}
		tree, err := bayes.Compile(given)
		require.NoError(t, err)
		q := tree.NewQuery()
		if last >= 0 {
			q.Observe(last, states[last])
		}
		m.agree(t, q, evidenceOf(m, states))
	}
}

// A joint likelihood may bear on what is held.
func TestJointLikelihoodsBesideAGivenCase(t *testing.T) {
	for seed := range uint64(100) {
		r := rand.New(rand.NewPCG(seed, 29))
		m := randomModel(r, 3+r.IntN(6))
		n, err := m.b.Build()
		require.NoError(t, err)
		states := m.sample(r)
		order := r.Perm(len(states))
		set := []bayes.VarID{bayes.VarID(order[0]), bayes.VarID(order[1])}
		likelihood := randomRow(r, m.cards[set[0]]*m.cards[set[1]])
		tree, err := bayes.Compile(n.Given(states), set)
		require.NoError(t, err)
		q := tree.NewQuery()
		q.SetJointLikelihood(0, likelihood)
		e := evidenceOf(m, states)
		e.sets, e.joint = [][]bayes.VarID{set}, map[int][]float64{0: likelihood}
		if !t.Run("", func(t *testing.T) { m.agree(t, q, e) }) {
			t.Fatalf("seed %d", seed)
		}
	}
}

func TestMostProbableOfAGivenCase(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 30))
		m := randomModel(r, 3+r.IntN(5))
		n, err := m.b.Build()
		require.NoError(t, err)
		states := m.sample(r)
		tree, err := bayes.Compile(n.Given(states))
		require.NoError(t, err)
		got, err := tree.NewQuery().MostProbable(2)
		require.NoError(t, err)
		want := m.explanations(evidenceOf(m, states))
		sameExplanations(t, want[:min(2, len(want))], got)
	}
}

// What a case teaches is the same for the numbers that are left: the rows of the states that were observed.
func TestCountsOfAGivenCase(t *testing.T) {
	for seed := range uint64(100) {
		r := rand.New(rand.NewPCG(seed, 28))
		m := randomModel(r, 3+r.IntN(6))
		n, err := m.b.Build()
		require.NoError(t, err)
		states := m.sample(r)
		parents := slices.Clone(states) // a case of its own: only variables without parents are observed
		for v := range parents {
			if len(n.Parents(bayes.VarID(v))) > 0 && r.IntN(2) == 0 {
				parents[v] = bayes.Unknown
			}
		}
		given := n.Given(parents)
		count := func(n *bayes.Network) *bayes.Counts {
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			counts, err := bayes.ExpectedCounts(tree, []bayes.Case{states})
			require.NoError(t, err)
			return counts
		}
		want, got := count(n), count(given)
		require.InDelta(t, want.LogP, got.LogP, 1e-11)
		for v := range n.NumVariables() {
			if !slices.Equal(n.Parents(bayes.VarID(v)), given.Parents(bayes.VarID(v))) {
				continue // what was cut is another table
			}
			require.InDeltaSlice(t, want.Tables[v], got.Tables[v], tolerance, "seed %d", seed)
			if c := want.Noisy[v]; c != nil {
				require.InDeltaSlice(t, c.Leak, got.Noisy[v].Leak, tolerance, "seed %d", seed)
				for i, link := range c.Links {
					for s, row := range link {
						require.InDeltaSlice(t, row, got.Noisy[v].Links[i][s], tolerance, "seed %d", seed)
					}
				}
			}
		}
	}
}

func TestGivenFindingsThatContradictEachOther(t *testing.T) {
	n := mustRead(t, asia)
	either, _ := n.Lookup("either")
	tub, _ := n.Lookup("tub")
	states := slices.Repeat(bayes.Case{bayes.Unknown}, n.NumVariables())
	states[tub], states[either] = 0, 1
	tree, err := bayes.Compile(n.Given(states))
	require.NoError(t, err)
	q := tree.NewQuery()
	_, err = q.Marginals(nil)
	require.EqualError(t, err, "impossible findings: tub, either")
	states[either] = bayes.Unknown
	tree, err = bayes.Compile(n.Given(states))
	require.NoError(t, err)
	q = tree.NewQuery()
	q.Observe(either, 1)
	_, err = q.Marginals(nil)
	require.EqualError(t, err, "impossible findings: either")
	q.Observe(tub, 1)
	q.Withdraw(either)
	_, err = q.Marginals(nil)
	require.EqualError(t, err, "impossible findings: tub")
}

func TestGivenPanicsOnMisuse(t *testing.T) {
	n := mustRead(t, sprinkler)
	require.PanicsWithValue(t, "bayes: case of 1 states, want 4", func() { n.Given(bayes.Case{0}) })
	beyond := slices.Repeat(bayes.Case{2}, 4)
	require.PanicsWithValue(t, `bayes: state 2 of "Cloudy", which has 2`, func() { n.Given(beyond) })
	n = n.Given(bayes.Case{1, bayes.Unknown, bayes.Unknown, bayes.Unknown})
	require.PanicsWithValue(t, `bayes: "Cloudy" is held in state 1`, func() { n.Given(slices.Repeat(bayes.Case{0}, 4)) })
}
