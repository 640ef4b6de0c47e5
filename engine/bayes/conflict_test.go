package bayes_test

import (
	"fmt"
	"log"
	"maps"
	"math"
	"math/rand/v2"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// cases calls f with random networks of all kinds of distribution, two together sets and random possible findings,
// until count of them have been seen. Impossible ones are passed over, and the seed is printed on a failure.
func cases(t *testing.T, count, variables int,
	f func(t *testing.T, r *rand.Rand, m *model, q *bayes.Query, e evidence)) {
	t.Helper()
	seen := 0
	for seed := uint64(0); seen < count; seed++ {
		r := rand.New(rand.NewPCG(seed, 11))
		m := randomModel(r, 3+r.IntN(variables-2))
		sets := [][]bayes.VarID{{1, 0}, {0, 2}}
		q := compiled(t, m, sets...).NewQuery()
		e := randomEvidence(r, m, q, sets)
		if total, _ := m.posteriors(e); total == 0 {
			continue
		}
		seen++
		if !t.Run("", func(t *testing.T) { f(t, r, m, q, e) }) {
			t.Fatalf("seed %d", seed)
		}
	}
}

// untouched checks that a question about a query changes no byte of its later answers.
func untouched(t *testing.T, q *bayes.Query, question func()) {
	t.Helper()
	before := ask(q)
	question()
	require.Equal(t, before, ask(q))
}

// without is the evidence less one finding, given as in LeftOut.
func (e evidence) without(v bayes.VarID, set int) evidence {
	e.single, e.joint = maps.Clone(e.single), maps.Clone(e.joint)
	delete(e.single, v)
	delete(e.joint, set)
	return e
}

// with puts a likelihood on a variable or, if that is -1, on a set.
func (e evidence) with(v bayes.VarID, set int, l []float64) evidence {
	e.single, e.joint = maps.Clone(e.single), maps.Clone(e.joint)
	if v >= 0 {
		e.single[v] = l
	} else {
		e.joint[set] = l
	}
	return e
}

func TestConflictEqualsTheOracle(t *testing.T) {
	cases(t, 300, 8, func(t *testing.T, r *rand.Rand, m *model, q *bayes.Query, e evidence) {
		total, _ := m.posteriors(e)
		want := -math.Log(total)
		for v, l := range e.single {
			p, _ := m.posteriors(evidence{single: map[bayes.VarID][]float64{v: l}})
			want += math.Log(p)
		}
		for set, l := range e.joint {
			p, _ := m.posteriors(evidence{joint: map[int][]float64{set: l}, sets: e.sets})
			want += math.Log(p)
		}
		untouched(t, q, func() {
			for range 2 { // the second time from kept messages
				got, err := q.Conflict()
				require.NoError(t, err)
				require.InDelta(t, want, got, tolerance*(1+math.Abs(math.Log(total))))
			}
		})
		if len(e.single)+len(e.joint) < 2 {
			got, err := q.Conflict()
			require.NoError(t, err)
			require.Zero(t, got)
		}
	})
}

func TestLeaveOneOutEqualsTheOracle(t *testing.T) {
	cases(t, 200, 8, func(t *testing.T, r *rand.Rand, m *model, q *bayes.Query, e evidence) {
		v := bayes.VarID(r.IntN(len(m.cards)))
		untouched(t, q, func() {
			w := bayes.VarID(r.IntN(len(m.cards)))
			all, err := q.LeaveOneOut(v, w)
			require.NoError(t, err)
			require.Len(t, all, len(e.single)+len(e.joint))
			for _, left := range all {
				rest := e.without(left.Variable, left.Joint)
				total, want := m.posteriors(rest)
				require.InDelta(t, math.Log(total), left.LogEvidence, tolerance*(1+math.Abs(left.LogEvidence)))
				require.InDeltaSlice(t, want[v], left.Posteriors[0], tolerance)
				require.InDeltaSlice(t, want[w], left.Posteriors[1], tolerance)
				instead := scaled(randomRow(r, len(left.Others)), 3)
				if total, want = m.posteriors(rest.with(left.Variable, left.Joint, instead)); total == 0 {
					continue
				}
				log, post := left.Replaced(instead)
				require.InDelta(t, math.Log(total), log, 1e-10*(1+math.Abs(log)))
				require.InDeltaSlice(t, want[v], post[0], 1e-10)
				require.InDeltaSlice(t, want[w], post[1], 1e-10)
			}
		})
	})
}

// Leaving a finding out gives what a query without it gives, but for rounding.
func TestLeaveOneOutEqualsWithdrawing(t *testing.T) {
	a := newAppliance(t)
	q := a.query(t)
	all, err := q.LeaveOneOut(a.causes[0])
	require.NoError(t, err)
	require.NotEmpty(t, all)
	for _, left := range all {
		fresh := a.query(t)
		fresh.Withdraw(left.Variable)
		want, err := fresh.Marginal(a.causes[0])
		require.NoError(t, err)
		require.InDeltaSlice(t, want, left.Posteriors[0], tolerance)
	}
}

func TestConflictOfImpossibleFindings(t *testing.T) {
	n := mustRead(t, asia)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	observe(t, n, q, "tub=true either=false")
	var impossible *bayes.ImpossibleError
	_, err = q.Conflict()
	require.ErrorAs(t, err, &impossible)
	_, err = q.LeaveOneOut(0)
	require.ErrorAs(t, err, &impossible)
}

// A rare cause, once observed, resolves the conflict between its effects: Jensen and others 1990 use this to tell a
// rare case from flawed data.
func TestConflictTellsWrongFindingsFromRareCauses(t *testing.T) {
	n := mustRead(t, asia)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	conflict := func(findings string) float64 {
		q.Reset()
		observe(t, n, q, findings)
		c, err := q.Conflict()
		require.NoError(t, err)
		return c
	}
	require.Positive(t, conflict("xray=false lung=true"))
	require.Negative(t, conflict("xray=true lung=true"))
	require.Less(t, conflict("xray=true dysp=true lung=true"), conflict("xray=true dysp=false lung=true"))
}

func ExampleQuery_LeaveOneOut() {
	n, igniter, _, flame, click := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(flame, 1)
	q.Observe(click, 1)
	all, err := q.LeaveOneOut(igniter)
	if err != nil {
		log.Fatal(err)
	}
	for _, left := range all {
		fmt.Printf("not knowing %q: igniter broken %.3f\n", n.Variable(left.Variable).Name, left.Posteriors[0][1])
	}
	// Output:
	// not knowing "no flame": igniter broken 0.020
	// not knowing "pump clicks": igniter broken 0.248
}
