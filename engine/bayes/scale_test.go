package bayes_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// sensors is a binary cause with many readings of it.
func sensors(t testing.TB, count int) (*bayes.JoinTree, bayes.VarID, []bayes.VarID) {
	var b bayes.Builder
	cause := coin(&b, "cause")
	var readings []bayes.VarID
	for i := range count {
		v := b.Add(fmt.Sprint("reading", i), "low", "high")
		b.Table(v, []bayes.VarID{cause}, []float64{0.9, 0.1, 0.2, 0.8})
		readings = append(readings, v)
	}
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	return tree, cause, readings
}

// Two thousand findings have a probability near 1e-1000, far below the smallest number.
func TestThousandsOfFindings(t *testing.T) {
	tree, cause, readings := sensors(t, 2000)
	q := tree.NewQuery()
	for i, v := range readings {
		q.Observe(v, i%2)
	}
	n := float64(len(readings) / 2)
	no, yes := n*math.Log(0.9*0.1), n*math.Log(0.2*0.8)
	log, err := q.LogEvidence()
	require.NoError(t, err)
	require.InDelta(t, yes+math.Log1p(math.Exp(no-yes))-math.Ln2, log, 1e-9)
	p, err := q.Marginal(cause)
	require.NoError(t, err)
	require.InDelta(t, math.Exp(no-yes), p[0], 1e-12)
	require.InDelta(t, 1, p[1], 1e-12)
}

// Likelihoods at the ends of the range of numbers, along a chain, so that no single table holds them all.
func TestTinyAndHugeLikelihoodsAlongAChain(t *testing.T) {
	var b bayes.Builder
	before := coin(&b, "v0")
	for i := range 1999 {
		v := b.Add(fmt.Sprint("v", i+1), "no", "yes")
		b.Table(v, []bayes.VarID{before}, []float64{0.7, 0.3, 0.3, 0.7})
		before = v
	}
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	want := 0.0
	for v := range bayes.VarID(n.NumVariables()) {
		exponent := []int{-1000, 1023, -1074}[v%3]
		scale := math.Ldexp(1, exponent)
		q.SetLikelihood(v, []float64{scale, scale})
		want += float64(exponent) * math.Ln2
	}
	log, err := q.LogEvidence()
	require.NoError(t, err)
	require.InDelta(t, want, log, 1e-9*math.Abs(want))
	all, err := q.Marginals(nil)
	require.NoError(t, err)
	for _, p := range all {
		require.InDeltaSlice(t, []float64{0.5, 0.5}, p, 1e-12)
	}
}

func TestGoroutinesShareATree(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	m := randomModel(r, 8)
	tree := compiled(t, m)
	want := make([]answers, 8)
	got := make([]answers, 8)
	run := func(i int) answers {
		q := tree.NewQuery()
		q.SetLikelihood(bayes.VarID(i), scaled(randomRow(rand.New(rand.NewPCG(uint64(i), 1)), m.cards[i]), 2))
		_, _ = q.MutualInformation([]bayes.VarID{0}, []bayes.VarID{1, 2})
		return ask(q)
	}
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

func TestCompilingTwiceGivesTheSameBytes(t *testing.T) {
	a := newAppliance(t)
	one, two := a.query(t), a.query(t)
	require.Equal(t, ask(one), ask(two))
	x, err := one.MutualInformation(a.causes, a.observations)
	require.NoError(t, err)
	y, err := two.MutualInformation(a.causes, a.observations)
	require.NoError(t, err)
	require.Equal(t, x, y)
}

// An appliance is too large for the oracle; clamping each cause by hand is an independent way to the same information.
func TestMutualInformationOfAnAppliance(t *testing.T) {
	a := newAppliance(t)
	q := a.query(t)
	targets := a.causes[:6]
	info, err := q.MutualInformation(targets, a.observations)
	require.NoError(t, err)
	base, err := q.Marginals(nil)
	require.NoError(t, err)
	for i, target := range targets {
		want := make([]float64, len(a.observations))
		for s, p := range base[target] {
			q.Observe(target, s)
			clamped, err := q.Marginals(nil)
			require.NoError(t, err)
			for k, o := range a.observations {
				for state, x := range clamped[o] {
					if x > 0 {
						want[k] += p * x * math.Log2(x/base[o][state])
					}
				}
			}
		}
		q.Withdraw(target)
		require.InDeltaSlice(t, want, info[i], tolerance)
	}
}

func TestWarmQueriesDoNotAllocate(t *testing.T) {
	a := newAppliance(t)
	q := a.query(t)
	dst, err := q.Marginals(nil)
	require.NoError(t, err)
	p := make([]float64, 2)
	state := 0
	require.Zero(t, testing.AllocsPerRun(20, func() {
		state = 1 - state
		q.Observe(a.observations[3], state)
		_ = q.MarginalInto(a.causes[0], p)
		dst, _ = q.Marginals(dst)
		q.Withdraw(a.observations[3])
	}))
}

func TestCompileRefusesWhatCannotFit(t *testing.T) {
	var b bayes.Builder
	var all []bayes.VarID
	for i := range 28 {
		all = append(all, coin(&b, fmt.Sprint("v", i)))
	}
	n, err := b.Build()
	require.NoError(t, err)
	_, err = bayes.Compile(n, all)
	require.ErrorContains(t, err, "2^28.0")
	require.ErrorContains(t, err, "v0, v1, v2")
	_, err = bayes.Compile(n, all[:3])
	require.NoError(t, err)
}

func TestNetworksOfAlmostNothing(t *testing.T) {
	n, err := new(bayes.Builder).Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	require.Zero(t, tree.Stats())
	require.Empty(t, tree.LargestCliqueNames())
	require.Equal(t, answers{}, ask(tree.NewQuery()))
	info, err := tree.NewQuery().MutualInformation(nil, nil)
	require.NoError(t, err)
	require.Empty(t, info)

	var m model
	only, b := m.add(1), m.add(2)
	m.table(only, []bayes.VarID{b}, []float64{1, 1})
	m.table(b, nil, []float64{0.25, 0.75})
	q := compiled(t, &m, []bayes.VarID{only, b}).NewQuery()
	q.SetJointLikelihood(0, []float64{0.5, 0.25})
	m.agree(t, q, evidence{joint: map[int][]float64{0: {0.5, 0.25}}, sets: [][]bayes.VarID{{only, b}}})
	info, err = q.MutualInformation([]bayes.VarID{only, b}, []bayes.VarID{only, b})
	require.NoError(t, err)
	require.Zero(t, info[0][1])
}

// A family of many parents costs small tables, not one of all combinations.
func TestNoisyFamiliesAreFactored(t *testing.T) {
	var b bayes.Builder
	var links []bayes.Link
	for i := range 60 {
		links = append(links, bayes.Link{Parent: coin(&b, fmt.Sprint("v", i)), P: [][]float64{{1, 0, 0}, {0.5, 0.25, 0.25}}})
	}
	b.NoisyMax(b.Add("effect", "none", "some", "much"), links, nil)
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	s := tree.Stats()
	require.LessOrEqual(t, s.LargestClique, int64(18))
	require.Greater(t, s.Variables, n.NumVariables())
	require.LessOrEqual(t, s.TotalEntries, int64(18*60))
	require.NotEmpty(t, strings.Join(tree.LargestCliqueNames(), " "))
	require.Equal(t, 61, n.NumVariables(), "accumulators are nobody else's business")
}

func TestImpossibleFindingsAreNamed(t *testing.T) {
	n := mustRead(t, asia)
	either, _ := n.Lookup("either")
	tub, _ := n.Lookup("tub")
	tree, err := bayes.Compile(n, []bayes.VarID{tub, either})
	require.NoError(t, err)
	q := tree.NewQuery()
	observe(t, n, q, "smoke=true xray=true tub=true dysp=true either=false")
	_, err = q.Marginal(0)
	require.EqualError(t, err, "impossible findings: tub, either")
	var impossible *bayes.ImpossibleError
	require.ErrorAs(t, err, &impossible)
	require.Equal(t, []bayes.VarID{tub, either}, impossible.Findings)
	_, err = q.Marginals(nil)
	require.Error(t, err)
	_, err = q.MutualInformation(nil, nil)
	require.Error(t, err)
	q.Withdraw(either)
	_, err = q.LogEvidence()
	require.NoError(t, err)
	q.SetJointLikelihood(0, []float64{0, 1, 1, 1})
	_, err = q.LogEvidence()
	require.EqualError(t, err, "impossible findings: tub, (tub, either)")
	q.WithdrawJoint(0)
	q.SetLikelihood(tub, []float64{0, 0})
	_, err = q.LogEvidence()
	require.EqualError(t, err, "impossible findings: tub")
}
