package bayes_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawn is a random network of up to eight variables with a together set, and a generator for what else a property
// needs.
func drawn(t *rapid.T) (*model, *bayes.JoinTree, *rand.Rand) {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 5))
	m := randomModel(r, rapid.IntRange(2, 8).Draw(t, "variables"))
	return m, compiled(t, m, []bayes.VarID{1, 0}), r
}

func compiled(t require.TestingT, m *model, sets ...[]bayes.VarID) *bayes.JoinTree {
	n, err := m.b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n, sets...)
	require.NoError(t, err)
	return tree
}

// act is one finding, entered by calling it.
type act func(q *bayes.Query)

// acts draws a likelihood or an observation for some variables and sometimes a joint one. Likelihoods are positive and
// observations are of variables that can take either state, so that the evidence is nearly always possible.
func acts(r *rand.Rand, m *model) []act {
	var all []act
	for v, card := range m.cards {
		v := bayes.VarID(v)
		switch l, s := randomRow(r, card), r.IntN(card); r.IntN(4) {
		case 0:
			all = append(all, func(q *bayes.Query) { q.Observe(v, s) })
		case 1:
			all = append(all, func(q *bayes.Query) { q.SetLikelihood(v, l) })
		}
	}
	if r.IntN(2) == 0 {
		l := randomRow(r, m.cards[0]*m.cards[1])
		all = append(all, func(q *bayes.Query) { q.SetJointLikelihood(0, l) })
	}
	return all
}

// answers is all that a query says, to be compared byte for byte.
type answers struct {
	log        float64
	marginals  [][]float64
	impossible string
}

func ask(q *bayes.Query) (a answers) {
	var err error
	if a.log, err = q.LogEvidence(); err != nil {
		a.impossible = err.Error()
		return a
	}
	a.marginals, _ = q.Marginals(nil)
	return a
}

func TestOrderOfFindingsIsIrrelevant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		all := acts(r, m)
		one, two := tree.NewQuery(), tree.NewQuery()
		for _, a := range all {
			a(one)
		}
		for _, i := range r.Perm(len(all)) {
			all[i](two)
			if r.IntN(2) == 0 {
				_ = ask(two)
			}
		}
		require.Equal(t, ask(one), ask(two))
	})
}

func TestWithdrawnFindingsLeaveNoTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		q := tree.NewQuery()
		fresh := ask(tree.NewQuery())
		for _, a := range acts(r, m) {
			a(q)
			if r.IntN(2) == 0 {
				_ = ask(q)
			}
		}
		for v := range m.cards {
			q.Withdraw(bayes.VarID(v))
		}
		q.WithdrawJoint(0)
		require.Equal(t, fresh, ask(q))
	})
}

func TestMutualInformationLeavesNoTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		q, same := tree.NewQuery(), tree.NewQuery()
		for _, a := range acts(r, m) {
			a(q)
			a(same)
		}
		_, _ = q.MutualInformation([]bayes.VarID{0, 1}, []bayes.VarID{1, 0})
		require.Equal(t, ask(same), ask(q))
	})
}

func TestScaleOfLikelihoodsIsIrrelevant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		scale := math.Exp(rapid.Float64Range(-500, 500).Draw(t, "log scale"))
		q := tree.NewQuery()
		l := randomRow(r, m.cards[0])
		q.SetLikelihood(0, l)
		before := ask(q)
		q.SetLikelihood(0, scaled(l, scale))
		after := ask(q)
		require.InDelta(t, before.log+math.Log(scale), after.log, 1e-12*(1+math.Abs(after.log)))
		for v := range before.marginals {
			require.InDeltaSlice(t, before.marginals[v], after.marginals[v], tolerance)
		}
	})
}

func TestCertainLikelihoodIsAnObservation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, _ := drawn(t)
		one, two := tree.NewQuery(), tree.NewQuery()
		v := rapid.IntRange(0, len(m.cards)-1).Draw(t, "variable")
		l := make([]float64, m.cards[v])
		l[m.cards[v]-1] = 1
		one.Observe(bayes.VarID(v), m.cards[v]-1)
		two.SetLikelihood(bayes.VarID(v), l)
		require.Equal(t, ask(one), ask(two))
	})
}

// P(a, b) = P(a) P(b | a).
func TestChainRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, _ := drawn(t)
		q := tree.NewQuery()
		log, want := 0.0, 0.0
		for v := range m.cards {
			p, err := q.Marginal(bayes.VarID(v))
			require.NoError(t, err)
			s := slices.Index(p, slices.Max(p))
			want += math.Log(p[s])
			q.Observe(bayes.VarID(v), s)
			log, err = q.LogEvidence()
			require.NoError(t, err)
			require.InDelta(t, want, log, 1e-12*(1+math.Abs(want)))
		}
	})
}

// A variable that nobody observed and that has no children says nothing about the others.
func TestBarrenVariablesChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		q := tree.NewQuery()
		all := acts(r, m)
		for _, a := range all {
			a(q)
		}
		before := ask(q)
		barren := m.add(3)
		m.randomDistribution(r, barren, []bayes.VarID{0, 1})
		q = compiled(t, m, []bayes.VarID{1, 0}).NewQuery()
		for _, a := range all {
			a(q)
		}
		after := ask(q)
		require.Equal(t, before.impossible, after.impossible)
		require.InDelta(t, before.log, after.log, 1e-12*(1+math.Abs(before.log)))
		for v := range before.marginals {
			require.InDeltaSlice(t, before.marginals[v], after.marginals[v], tolerance)
		}
	})
}

func TestNoisyOrEqualsItsTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 0, 7).Draw(t, "p")
		leak := rapid.Float64Range(0, 1).Draw(t, "leak")
		seed := rapid.Uint64().Draw(t, "seed")
		build := func(finish func(b *bayes.Builder, child bayes.VarID, parents []bayes.VarID)) answers {
			r := rand.New(rand.NewPCG(seed, 0))
			var b bayes.Builder
			var parents []bayes.VarID
			for i := range p {
				v := b.Add(string(rune('a'+i)), "absent", "present")
				b.Table(v, nil, randomRow(r, 2))
				parents = append(parents, v)
			}
			child := b.Add("child", "absent", "present")
			finish(&b, child, parents)
			n, err := b.Build()
			require.NoError(t, err)
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			q := tree.NewQuery()
			q.SetLikelihood(child, []float64{0.2, 0.7})
			return ask(q)
		}
		factored := build(func(b *bayes.Builder, child bayes.VarID,
			parents []bayes.VarID) {
			b.NoisyOr(child, parents, p, leak)
		})
		whole := build(func(b *bayes.Builder, child bayes.VarID, parents []bayes.VarID) {
			var table []float64
			for row := range 1 << len(p) {
				absent := 1 - leak
				for i := range p {
					if row>>(len(p)-1-i)&1 == 1 {
						absent *= 1 - p[i]
					}
				}
				table = append(table, absent, 1-absent)
			}
			b.Table(child, parents, table)
		})
		require.InDelta(t, whole.log, factored.log, tolerance)
		for v := range whole.marginals {
			require.InDeltaSlice(t, whole.marginals[v], factored.marginals[v], tolerance)
		}
	})
}

func entropy(p []float64) float64 {
	bits := 0.0
	for _, x := range p {
		if x > 0 {
			bits -= x * math.Log2(x)
		}
	}
	return bits
}

func TestMutualInformationIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		q := tree.NewQuery()
		for _, a := range acts(r, m) {
			a(q)
		}
		a := ask(q)
		if a.impossible != "" {
			t.Skip("impossible")
		}
		var all []bayes.VarID
		for v := range m.cards {
			all = append(all, bayes.VarID(v))
		}
		info, err := q.MutualInformation(all, all)
		require.NoError(t, err)
		for x := range all {
			require.InDelta(t, entropy(a.marginals[x]), info[x][x], tolerance, "a variable says all about itself")
			for y := range all {
				require.GreaterOrEqual(t, info[x][y], 0.0)
				require.LessOrEqual(t, info[x][y], entropy(a.marginals[x])+tolerance)
				require.InDelta(t, info[y][x], info[x][y], tolerance, "symmetry")
			}
		}
	})
}

// Two causes of one effect are independent until the effect, or something below it, is known.
func TestMutualInformationOfSeparatedVariables(t *testing.T) {
	var m model
	a, b, effect, below, apart := m.add(2), m.add(2), m.add(2), m.add(2), m.add(2)
	m.table(a, nil, []float64{0.3, 0.7})
	m.table(b, nil, []float64{0.6, 0.4})
	m.noisyOr(effect, []bayes.VarID{a, b}, []float64{0.8, 0.5}, 0.1)
	m.table(below, []bayes.VarID{effect}, []float64{0.9, 0.1, 0.2, 0.8})
	m.table(apart, nil, []float64{0.5, 0.5})
	q := compiled(t, &m, []bayes.VarID{a, b}).NewQuery()
	information := func(x, y bayes.VarID) float64 {
		info, err := q.MutualInformation([]bayes.VarID{x}, []bayes.VarID{y})
		require.NoError(t, err)
		return info[0][0]
	}
	require.Zero(t, information(a, b))
	require.Zero(t, information(a, apart))
	require.Positive(t, information(a, below))
	q.SetLikelihood(below, []float64{0.2, 0.9})
	require.Positive(t, information(a, b))
	q.Withdraw(below)
	q.SetJointLikelihood(0, []float64{1, 2, 3, 4})
	require.Positive(t, information(a, b))
	q.WithdrawJoint(0)
	q.Observe(effect, 1)
	require.Positive(t, information(a, b))
	require.Zero(t, information(a, below), "the effect screens it off")
	require.Zero(t, information(effect, a), "nothing is left to learn about an observed variable")
}

// Tables of zeros, ones and nearly so must neither give NaN nor lose what is left.
func TestExtremeTables(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 6))
		extreme := []float64{0, 1, 1e-12, 1 - 1e-12, 0.5, 1e-300}
		m := &model{}
		for range rapid.IntRange(2, 6).Draw(t, "variables") {
			v := m.add(2)
			var parents []bayes.VarID
			for p := range v {
				if r.IntN(2) == 0 {
					parents = append(parents, p)
				}
			}
			var table []float64
			for range 1 << len(parents) {
				p := extreme[r.IntN(len(extreme))]
				table = append(table, p, 1-p)
			}
			m.table(v, parents, table)
		}
		q := compiled(t, m).NewQuery()
		e := evidence{single: map[bayes.VarID][]float64{0: {1e-12, 1}}}
		q.SetLikelihood(0, e.single[0])
		total, want := m.posteriors(e)
		got := ask(q)
		if total == 0 {
			require.NotEmpty(t, got.impossible)
			return
		}
		require.InDelta(t, math.Log(total), got.log, 1e-9*(1+math.Abs(got.log)))
		for v := range want {
			require.InDeltaSlice(t, want[v], got.marginals[v], tolerance)
		}
	})
}

// The findings named by an ImpossibleError contradict each other, and no part of them does.
func TestContradictionsAreIrreducible(t *testing.T) {
	found := 0
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 8))
		m := &model{}
		for range 7 {
			v := m.add(2)
			if v < 3 {
				m.table(v, nil, []float64{0.5, 0.5})
				continue
			}
			m.function(v, []bayes.VarID{v - 1, v - 2}, func(s []int) int { return s[0] & s[1] })
		}
		tree := compiled(t, m)
		q := tree.NewQuery()
		states := map[bayes.VarID]int{}
		for v := range m.cards {
			if r.IntN(2) == 0 {
				states[bayes.VarID(v)] = r.IntN(2)
				q.Observe(bayes.VarID(v), states[bayes.VarID(v)])
			}
		}
		_, err := q.LogEvidence()
		if err == nil {
			continue
		}
		found++
		var impossible *bayes.ImpossibleError
		require.ErrorAs(t, err, &impossible)
		possible := func(leaveOut bayes.VarID) bool {
			e := evidence{single: map[bayes.VarID][]float64{}}
			for _, v := range impossible.Findings {
				if v != leaveOut {
					e.single[v] = []float64{float64(1 - states[v]), float64(states[v])}
				}
			}
			total, _ := m.posteriors(e)
			return total > 0
		}
		require.False(t, possible(-1))
		for _, v := range impossible.Findings {
			require.True(t, possible(v), "seed %d", seed)
		}
	}
	require.Greater(t, found, 50)
}
