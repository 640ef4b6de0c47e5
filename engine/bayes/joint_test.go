package bayes_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// joint is the posterior of several variables by enumeration.
func (m *model) joint(e evidence, vars []bayes.VarID) []float64 {
	size := 1
	for _, v := range vars {
		size *= m.cards[v]
	}
	p, total := make([]float64, size), 0.0
	m.enumerate(e, func(states []int, weight float64) {
		p[index(m.cards, vars, states)] += weight
		total += weight
	})
	for i := range p {
		p[i] /= total
	}
	return p
}

// someVariables draws up to most different variables, in any order.
func someVariables(r *rand.Rand, m *model, most int) (vars []bayes.VarID) {
	for _, v := range r.Perm(len(m.cards))[:min(r.IntN(most+1), len(m.cards))] {
		vars = append(vars, bayes.VarID(v))
	}
	return vars
}

func TestJointEqualsTheOracle(t *testing.T) {
	cases(t, 300, 8, func(t *testing.T, r *rand.Rand, m *model, q *bayes.Query, e evidence) {
		vars := someVariables(r, m, 6)
		untouched(t, q, func() {
			got, err := q.Joint(vars)
			require.NoError(t, err)
			require.InDeltaSlice(t, m.joint(e, vars), got, tolerance)
		})
	})
}

// The joint of one variable is its marginal, and a joint summed over one variable is the joint of the rest.
func TestJointSumsToSmallerJoints(t *testing.T) {
	a := newAppliance(t)
	q := a.query(t)
	vars := append(append([]bayes.VarID{}, a.causes[:4]...), a.observations[5:8]...)
	whole, err := q.Joint(vars)
	require.NoError(t, err)
	rest, err := q.Joint(vars[:len(vars)-1])
	require.NoError(t, err)
	card := len(whole) / len(rest)
	for i, want := range rest {
		got := 0.0
		for _, x := range whole[i*card : (i+1)*card] {
			got += x
		}
		require.InDelta(t, want, got, tolerance)
	}
	for _, v := range vars {
		one, err := q.Joint([]bayes.VarID{v})
		require.NoError(t, err)
		p, err := q.Marginal(v)
		require.NoError(t, err)
		require.InDeltaSlice(t, p, one, tolerance)
	}
}

// The three joint probabilities of lung cancer and bronchitis that gRain (Højsgaard 2012) prints for the network of
// Lauritzen & Spiegelhalter 1988.
func TestPublishedJoint(t *testing.T) {
	n := mustRead(t, asia)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	lung, _ := n.Lookup("lung")
	bronc, _ := n.Lookup("bronc")
	got, err := tree.NewQuery().Joint([]bayes.VarID{lung, bronc})
	require.NoError(t, err)
	require.InDeltaSlice(t, []float64{0.0315, 0.0235, 0.4185}, got[:3], 1e-15)
}

func TestJointRefusesWhatItCannotAnswer(t *testing.T) {
	var b bayes.Builder
	var all []bayes.VarID
	for i := range 21 {
		all = append(all, coin(&b, fmt.Sprint("v", i)))
	}
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	_, err = q.Joint(all)
	require.EqualError(t, err, "joint posterior of 21 variables: more than 1048576 entries")
	p, err := q.Joint(all[:10])
	require.NoError(t, err)
	require.Len(t, p, 1024)
	require.InDelta(t, 1.0/1024, p[77], 1e-15)
	require.PanicsWithValue(t, `bayes: joint posterior with "v0" twice`, func() { _, _ = q.Joint([]bayes.VarID{0, 1, 0}) })
	q.SetLikelihood(3, []float64{0, 0})
	_, err = q.Joint(nil)
	require.Error(t, err)
	q.Reset()
	p, err = q.Joint(nil)
	require.NoError(t, err)
	require.Equal(t, []float64{1}, p)
}
