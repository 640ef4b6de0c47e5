package bayes_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// part is the evidence of some findings: variables, and together sets counted on from the number of variables.
func (e evidence) part(m *model, keys []int) evidence {
	p := evidence{single: map[bayes.VarID][]float64{}, joint: map[int][]float64{}, sets: e.sets}
	for _, k := range keys {
		if set := k - len(m.cards); set >= 0 {
			p.joint[set] = e.joint[set]
		} else {
			p.single[bayes.VarID(k)] = e.single[bayes.VarID(k)]
		}
	}
	return p
}

func (m *model) possible(e evidence) bool {
	total, _ := m.posteriors(e)
	return total > 0
}

// contradictory draws a network of logic and enters observations and likelihoods full of zeros.
func contradictory(t *testing.T, r *rand.Rand) (*model, *bayes.Query, evidence, []int) {
	m := &model{}
	for range 7 {
		v := m.add(2)
		if v < 3 || r.IntN(6) == 0 {
			m.table(v, nil, []float64{0.5, 0.5})
			continue
		}
		gate := r.IntN(3)
		parents := []bayes.VarID{v - 1, v - 2, v - 3}
		m.function(v, parents, func(s []int) int { return []int{s[0] & s[1] & s[2], s[0] ^ s[1], s[0] | s[2]}[gate] })
	}
	sets := [][]bayes.VarID{{5, 1}, {2, 3, 0}}
	q := compiled(t, m, sets...).NewQuery()
	e := evidence{single: map[bayes.VarID][]float64{}, joint: map[int][]float64{}, sets: sets}
	var keys []int
	for v := range m.cards {
		if r.IntN(2) == 0 {
			l := make([]float64, 2)
			l[r.IntN(2)] = 1e-300 // small, but not zero
			e.single[bayes.VarID(v)] = l
			q.SetLikelihood(bayes.VarID(v), l)
			keys = append(keys, v)
		}
	}
	for i, set := range sets {
		if r.IntN(2) == 0 {
			l := make([]float64, 1<<len(set))
			l[r.IntN(len(l))] = 1
			e.joint[i] = l
			q.SetJointLikelihood(i, l)
			keys = append(keys, len(m.cards)+i)
		}
	}
	for v := range e.single { // for the oracle, whose products would underflow
		e.single[v] = scaled(e.single[v], 1e300)
	}
	return m, q, e, keys
}

// smallestContradiction is the size of the smallest contradicting set if that is one or two, else three.
func (m *model) smallestContradiction(e evidence, keys []int) int {
	smallest := 3
	for i, a := range keys {
		if !m.possible(e.part(m, []int{a})) {
			return 1
		}
		for _, b := range keys[i+1:] {
			if !m.possible(e.part(m, []int{a, b})) {
				smallest = 2
			}
		}
	}
	return smallest
}

// The set named is contradictory, loses that with any of its findings, and is as small as can be up to two.
func TestContradictionsAreSmallAndIrreducible(t *testing.T) {
	sizes := map[int]int{}
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 18))
		m, q, e, keys := contradictory(t, r)
		if m.possible(e) {
			continue
		}
		_, err := q.LogEvidence()
		var impossible *bayes.ImpossibleError
		require.ErrorAs(t, err, &impossible, "seed %d", seed)
		var named []int
		for _, v := range impossible.Findings {
			named = append(named, int(v))
		}
		for _, set := range impossible.Joint {
			named = append(named, len(m.cards)+set)
		}
		require.False(t, m.possible(e.part(m, named)), "seed %d", seed)
		for i := range named {
			require.True(t, m.possible(e.part(m, slices.Delete(slices.Clone(named), i, i+1))), "seed %d", seed)
		}
		if smallest := m.smallestContradiction(e, keys); smallest < 3 {
			require.Len(t, named, smallest, "seed %d", seed)
		} else {
			require.GreaterOrEqual(t, len(named), 3, "seed %d", seed)
		}
		sizes[len(named)]++
		// Withdrawing one of them and entering it again is a way out and back.
		again := err.Error()
		if len(impossible.Findings) > 0 {
			v := impossible.Findings[0]
			q.Withdraw(v)
			_, _ = q.LogEvidence()
			q.SetLikelihood(v, e.single[v])
			_, err = q.LogEvidence()
			require.EqualError(t, err, again)
		}
	}
	require.Greater(t, sizes[2], 50, "%v", sizes)
	require.Greater(t, sizes[3]+sizes[4], 10, "%v", sizes)
}

// With more findings than pairs are sought among, the set is still irreducible.
func TestContradictionAmongManyFindings(t *testing.T) {
	var b bayes.Builder
	first := coin(&b, "first")
	for i := range 100 {
		b.Deterministic(b.Add(fmt.Sprint("copy", i), "no", "yes"), []bayes.VarID{first}, func(s []int) int { return s[0] })
	}
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	for v := range bayes.VarID(n.NumVariables()) {
		q.Observe(v, min(int(v)%7, 1))
	}
	_, err = q.LogEvidence()
	var impossible *bayes.ImpossibleError
	require.ErrorAs(t, err, &impossible)
	require.Len(t, impossible.Findings, 2)
	require.Empty(t, impossible.Joint)
}
