package bayes_test

import (
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// sample draws a complete case, parents first, and hides each variable with a chance of one in three.
func (m *model) sample(r *rand.Rand) bayes.Case {
	states := make([]int, len(m.cards))
	for v, card := range m.cards {
		u := r.Float64()
		for s := range card {
			states[v] = s
			if u -= m.p[v](states); u < 0 {
				break
			}
		}
	}
	for v := range states {
		if r.IntN(3) == 0 {
			states[v] = bayes.Unknown
		}
	}
	return states
}

func (m *model) samples(r *rand.Rand, count int) (all []bayes.Case) {
	for range count {
		all = append(all, m.sample(r))
	}
	return all
}

func evidenceOf(m *model, states bayes.Case) evidence {
	e := evidence{single: map[bayes.VarID][]float64{}}
	for v, s := range states {
		if s != bayes.Unknown {
			e.single[bayes.VarID(v)] = make([]float64, m.cards[v])
			e.single[bayes.VarID(v)][s] = 1
		}
	}
	return e
}

func TestExpectedCountsEqualTheOracle(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 14))
		m := randomModel(r, 2+r.IntN(6))
		n, err := m.b.Build()
		require.NoError(t, err)
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		all := m.samples(r, 8)
		got, err := bayes.ExpectedCounts(tree, all)
		require.NoError(t, err)
		require.Equal(t, float64(len(all)), got.Cases)
		logP := 0.0
		for _, states := range all {
			total, _ := m.posteriors(evidenceOf(m, states))
			logP += math.Log(total)
		}
		require.InDelta(t, logP, got.LogP, 1e-11*(1+math.Abs(logP)), "seed %d", seed)
		for v := range bayes.VarID(len(m.cards)) {
			if n.FullTable(v) == nil {
				require.Nil(t, got.Tables[v])
				require.NotNil(t, got.Noisy[v])
				continue
			}
			want := make([]float64, len(n.FullTable(v)))
			for _, states := range all {
				for i, p := range m.joint(evidenceOf(m, states), append(slices.Clone(n.Parents(v)), v)) {
					want[i] += p
				}
			}
			require.InDeltaSlice(t, want, got.Tables[v], 1e-11, "seed %d", seed)
		}
	}
}

// noisyFamily is a noisy-MAX of three parents, to be built as such or with its contributions as variables.
type noisyFamily struct {
	parents []bayes.VarID
	child   bayes.VarID
	priors  [][]float64
	links   []bayes.Link
	leak    []float64
}

func newNoisyFamily(r *rand.Rand) *noisyFamily {
	f := &noisyFamily{child: 3}
	card := 2 + r.IntN(3)
	f.leak = randomRow(r, card)
	for i := range bayes.VarID(3) {
		f.parents = append(f.parents, i)
		f.priors = append(f.priors, randomRow(r, 2+r.IntN(2)))
		link := bayes.Link{Parent: i}
		for range f.priors[i] {
			link.P = append(link.P, randomRow(r, card))
		}
		f.links = append(f.links, link)
	}
	return f
}

// add gives a builder the parents and the child, and says what the child's states are.
func (f *noisyFamily) add(b *bayes.Builder) []string {
	states := []string{"a", "b", "c", "d"}
	for i, p := range f.priors {
		b.Table(b.Add(fmt.Sprint("parent", i), states[:len(p)]...), nil, p)
	}
	b.Add("child", states[:len(f.leak)]...)
	return states[:len(f.leak)]
}

func (f *noisyFamily) build(t *testing.T) *bayes.Network {
	var b bayes.Builder
	f.add(&b)
	b.NoisyMax(f.child, f.links, f.leak)
	n, err := b.Build()
	require.NoError(t, err)
	return n
}

// spelledOut has a variable for each contribution, the leak last, of which the child is the largest.
func (f *noisyFamily) spelledOut(t *testing.T) (*bayes.Network, []bayes.VarID) {
	var b bayes.Builder
	states := f.add(&b)
	var contributions []bayes.VarID
	for i, link := range f.links {
		c := b.Add(fmt.Sprint("contribution", i), states...)
		b.Table(c, []bayes.VarID{link.Parent}, slices.Concat(link.P...))
		contributions = append(contributions, c)
	}
	leak := b.Add("leak", states...)
	b.Table(leak, nil, f.leak)
	contributions = append(contributions, leak)
	b.Deterministic(f.child, contributions, func(s []int) int { return slices.Max(s) })
	n, err := b.Build()
	require.NoError(t, err)
	return n, contributions
}

// The counts of a noisy family's contributions are those of the variables that they stand for.
func TestExpectedContributionsEqualThoseSpelledOut(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 22))
		f := newNoisyFamily(r)
		apart, contributions := f.spelledOut(t)
		var cases, longer []bayes.Case
		for range 6 {
			states := bayes.Case{bayes.Unknown, bayes.Unknown, bayes.Unknown, r.IntN(len(f.leak))}
			for i, p := range f.priors {
				if r.IntN(2) == 0 {
					states[i] = r.IntN(len(p))
				}
			}
			cases = append(cases, states)
			longer = append(longer, append(slices.Clone(states), slices.Repeat([]int{bayes.Unknown}, len(contributions))...))
		}
		count := func(n *bayes.Network, cases []bayes.Case) *bayes.Counts {
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			counts, err := bayes.ExpectedCounts(tree, cases)
			require.NoError(t, err)
			return counts
		}
		n := f.build(t)
		got, want := count(n, cases), count(apart, longer)
		for i, link := range got.Noisy[f.child].Links {
			require.InDeltaSlice(t, want.Tables[contributions[i]], slices.Concat(link...), 1e-11, "seed %d", seed)
		}
		require.InDeltaSlice(t, want.Tables[contributions[3]], got.Noisy[f.child].Leak, 1e-11, "seed %d", seed)
		// Learned from, they give the same network again.
		learned, err := bayes.Compile(n.Learn(got, 5))
		require.NoError(t, err)
		learnedApart, err := bayes.Compile(apart.Learn(want, 5))
		require.NoError(t, err)
		p, err := learned.NewQuery().Marginal(f.child)
		require.NoError(t, err)
		pApart, err := learnedApart.NewQuery().Marginal(f.child)
		require.NoError(t, err)
		require.InDeltaSlice(t, pApart, p, tolerance)
	}
}

// One step of EM never lowers the likelihood, also where noisy families or fixed tables are held.
func TestEMRaisesTheLikelihood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 15))
		m := randomModel(r, rapid.IntRange(2, 6).Draw(t, "variables"))
		all := m.samples(r, 12)
		n, err := m.b.Build()
		require.NoError(t, err)
		before := math.Inf(-1)
		for range 4 {
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			counts, err := bayes.ExpectedCounts(tree, all)
			require.NoError(t, err)
			require.GreaterOrEqual(t, counts.LogP, before-1e-10*(1+math.Abs(before)))
			before = counts.LogP
			if r.IntN(2) == 0 {
				v := r.IntN(len(m.cards))
				counts.Tables[v], counts.Noisy[v] = nil, nil
			}
			n = n.Learn(counts, 0)
		}
	})
}

// Learning from two batches one after the other is learning from both at once: the prior of the second is the
// posterior of the first, with its size.
func TestDirichletUpdatesAddUp(t *testing.T) {
	m := &model{}
	v := m.add(3)
	m.table(v, nil, []float64{0.2, 0.3, 0.5})
	n, err := m.b.Build()
	require.NoError(t, err)
	one, two, both := n.NewCounts(), n.NewCounts(), n.NewCounts()
	one.Tables[v], two.Tables[v], both.Tables[v] = []float64{1, 2, 0}, []float64{0, 4, 1.5}, []float64{1, 6, 1.5}
	require.InDeltaSlice(t, n.Learn(both, 10).FullTable(v), n.Learn(one, 10).Learn(two, 13).FullTable(v), tolerance)
	require.Equal(t, []float64{0.2, 0.3, 0.5}, n.FullTable(v), "the network itself stays as it was")
	require.Equal(t, n.FullTable(v), n.Learn(n.NewCounts(), 0).FullTable(v), "no counts, no change")
}

// Posterior means of Dirichlet priors that are printed.
func TestPublishedDirichletMeans(t *testing.T) {
	tests := []struct {
		source string
		size   float64
		counts []float64
		f      func(p []float64) float64
		want   float64
		within float64
	}{
		{"Gelman et al., Bayesian Data Analysis 3rd ed. p. 37: placenta previa, Beta(1, 1) and 437 of 980", 2,
			[]float64{437, 543}, func(p []float64) float64 { return p[0] }, 0.446, 5e-4},
		{"Bayesian Data Analysis sect. 3.4: the poll of 1988, flat prior, E(θ1 - θ2); from memory", 3,
			[]float64{727, 583, 137}, func(p []float64) float64 { return p[0] - p[1] }, 0.0993, 5e-5},
		{"Laplace's rule of succession, 9 of 10; from memory", 2,
			[]float64{9, 1}, func(p []float64) float64 { return p[0] }, 10.0 / 12, 1e-15},
	}
	for _, tt := range tests {
		t.Run(tt.source, func(t *testing.T) {
			m := &model{}
			v := m.add(len(tt.counts))
			m.table(v, nil, slices.Repeat([]float64{1 / float64(len(tt.counts))}, len(tt.counts)))
			n, err := m.b.Build()
			require.NoError(t, err)
			counts := n.NewCounts()
			counts.Tables[v] = tt.counts
			require.InDelta(t, tt.want, tt.f(n.Learn(counts, tt.size).FullTable(v)), tt.within)
		})
	}
}

// The genetic linkage of Dempster, Laird & Rubin 1977, Table 1: four phenotypes of probabilities 1/2 + θ/4, (1-θ)/4,
// (1-θ)/4 and θ/4, seen 125, 18, 20 and 34 times, from θ = 0.5. Half of all cases are of the first phenotype
// whatever θ is; in the others a coin of θ and a fair one decide. Only the first coin is learned.
func TestPublishedEM(t *testing.T) {
	m := &model{}
	linked, coin, fair, seen := m.add(2), m.add(2), m.add(2), m.add(4)
	m.table(linked, nil, []float64{0.5, 0.5})
	m.table(coin, []bayes.VarID{linked}, []float64{0.5, 0.5, 0.5, 0.5})
	m.table(fair, nil, []float64{0.5, 0.5})
	m.function(seen, []bayes.VarID{linked, coin, fair}, func(s []int) int {
		if s[0] == 0 {
			return 0
		}
		return []int{1, 2, 0, 3}[2*s[1]+s[2]]
	})
	n, err := m.b.Build()
	require.NoError(t, err)
	var all []bayes.Case
	for state, count := range []int{125, 18, 20, 34} {
		all = append(all, slices.Repeat([]bayes.Case{{bayes.Unknown, bayes.Unknown, bayes.Unknown, state}}, count)...)
	}
	for _, want := range []float64{0.608247423, 0.62432105, 0.626488879, 0.626777322, 0.626815632, 0.626820719} {
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		counts, err := bayes.ExpectedCounts(tree, all)
		require.NoError(t, err)
		counts.Tables[linked], counts.Tables[fair], counts.Tables[seen] = nil, nil, nil
		n = n.Learn(counts, 0)
		require.InDelta(t, want, n.FullTable(coin)[3], 6e-10)
	}
}

func TestLearningReportsImpossibleCases(t *testing.T) {
	n := mustRead(t, asia)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	states := slices.Repeat([]int{bayes.Unknown}, n.NumVariables())
	bad := slices.Clone(states)
	tub, _ := n.Lookup("tub")
	either, _ := n.Lookup("either")
	bad[tub], bad[either] = 0, 1
	_, err = bayes.ExpectedCounts(tree, []bayes.Case{states, bad})
	require.EqualError(t, err, "case 1: impossible findings: tub, either")
	var impossible *bayes.ImpossibleError
	require.ErrorAs(t, err, &impossible)
}

func TestLearningPanicsOnMisuse(t *testing.T) {
	n := mustRead(t, sprinkler)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	short := n.NewCounts()
	short.Tables[1] = []float64{1}
	misshapen := n.NewCounts()
	misshapen.Noisy[1] = &bayes.NoisyCounts{Leak: []float64{1}}
	negative := n.NewCounts()
	negative.Tables[0][1] = -1
	tests := map[string]struct {
		want string
		f    func()
	}{
		"length": {"bayes: case of 1 states, want 4", func() { _, _ = bayes.ExpectedCounts(tree, []bayes.Case{{0}}) }},
		"state": {`bayes: state 2 of "Cloudy", which has 2`,
			func() { _, _ = bayes.ExpectedCounts(tree, []bayes.Case{{2, 0, 0, 0}}) }},
		"weight":    {"bayes: weight NaN", func() { _ = tree.NewQuery().AddCounts(n.NewCounts(), math.NaN()) }},
		"variables": {"bayes: counts of 0 and 0 variables, want 4", func() { n.Learn(&bayes.Counts{}, 1) }},
		"table":     {`bayes: 1 counts of "Sprinkler", want 4`, func() { n.Learn(short, 1) }},
		"shape":     {`bayes: counts of contributions to "Sprinkler" of another shape`, func() { n.Learn(misshapen, 1) }},
		"count":     {"bayes: count -1", func() { n.Learn(negative, 1) }},
		"size":      {"bayes: count -2", func() { n.Learn(n.NewCounts(), -2) }},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) { require.PanicsWithValue(t, tt.want, tt.f) })
	}
}

func ExampleNetwork_Learn() {
	n, _, pump, _, click := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	// Ten pumps were silent and nobody looked further; two of the flames failed as well.
	var cases []bayes.Case
	for i := range 10 {
		cases = append(cases, bayes.Case{bayes.Unknown, bayes.Unknown, min(i/8, 1), 0})
	}
	counts, err := bayes.ExpectedCounts(tree, cases)
	if err != nil {
		log.Fatal(err)
	}
	counts.Tables[click] = nil // how well the ear tells is known
	learned, err := bayes.Compile(n.Learn(counts, 100))
	if err != nil {
		log.Fatal(err)
	}
	p, err := learned.NewQuery().Marginal(pump)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("pump stuck: %.3f\n", p[1])
	// Output: pump stuck: 0.063
}
