package bayes_test

import (
	"math/rand/v2"
	"sync"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// everything is one of each answer that a query can give, to be compared byte for byte.
type everything struct {
	answers
	conflict     float64
	leftOut      []bayes.LeftOut
	joint        []float64
	values       []bayes.Value
	same         float64
	sensitivity  bayes.Sensitivity
	explanations []bayes.Explanation
	counts       *bayes.Counts
}

// askEverything asks the questions in the given order, for no order may make a difference.
func askEverything(t require.TestingT, n *bayes.Network, q *bayes.Query, order []int) (e everything) {
	if e.answers = ask(q); e.impossible != "" {
		return e
	}
	table := bayes.VarID(-1) // a root always has one, unless it is a noisy family of no parents
	for v := range bayes.VarID(n.NumVariables()) {
		if n.FullTable(v) != nil && len(n.Parents(v)) == 0 {
			table = v
		}
	}
	questions := []func() error{
		func() (err error) { e.conflict, err = q.Conflict(); return err },
		func() (err error) { e.leftOut, err = q.LeaveOneOut(1); return err },
		func() (err error) { e.joint, err = q.Joint([]bayes.VarID{1, 0}); return err },
		func() (err error) {
			e.values, err = q.ValueOfInformation(0, []bayes.VarID{1, 0}, [][]float64{make([]float64, n.Card(0))})
			return err
		},
		func() (err error) { e.same, err = q.SameDecision(0, 0, 0.5, []bayes.VarID{1}); return err },
		func() (err error) {
			if table >= 0 {
				e.sensitivity, err = q.Sensitivity(bayes.Parameter{Variable: table}, 0, 0)
			}
			return err
		},
		func() (err error) { e.explanations, err = q.MostProbable(3); return err },
		func() error { e.counts = n.NewCounts(); return q.AddCounts(e.counts, 1) },
	}
	for _, i := range order {
		require.NoError(t, questions[i]())
	}
	return e
}

// What was asked and entered before leaves no trace in any answer.
func TestHistoryIsIrrelevant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, tree, r := drawn(t)
		n, err := m.b.Build()
		require.NoError(t, err)
		used, fresh := tree.NewQuery(), tree.NewQuery()
		for range 2 {
			for _, a := range acts(r, m) {
				a(used)
			}
			_ = askEverything(t, n, used, r.Perm(8))
			used.Reset()
		}
		all := acts(r, m)
		for _, i := range r.Perm(len(all)) {
			all[i](used)
		}
		for _, a := range all {
			a(fresh)
		}
		require.Equal(t, askEverything(t, n, fresh, r.Perm(8)), askEverything(t, n, used, r.Perm(8)))
	})
}

func TestGoroutinesShareATreeForEveryAnswer(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 19))
	m := randomModel(r, 8)
	n, err := m.b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	run := func(i int) everything {
		q := tree.NewQuery()
		q.SetLikelihood(bayes.VarID(i), randomRow(rand.New(rand.NewPCG(uint64(i), 1)), m.cards[i]))
		return askEverything(t, n, q, []int{0, 1, 2, 3, 4, 5, 6, 7})
	}
	want, got := make([]everything, 8), make([]everything, 8)
	for i := range want {
		want[i] = run(i)
	}
	var wait sync.WaitGroup
	for i := range got {
		wait.Go(func() { got[i] = run(i) })
	}
	wait.Wait()
	require.Equal(t, want, got)
}
