package bayes_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// appliance is a synthetic network of the size and shape of a real appliance model: 75 rare binary causes in groups,
// quantities that several causes of one group push up or down, and observations of causes and quantities. Nearly all
// effects are noisy-MAX; one quantity of each group also feels the group
// before it, and some observations a cause of the last four groups.
type appliance struct {
	net          *bayes.Network
	causes       []bayes.VarID
	observations []bayes.VarID
}

func newAppliance(tb testing.TB) appliance {
	r := rand.New(rand.NewPCG(7, 7))
	var b bayes.Builder
	var a appliance
	var cards []int
	add := func(kind string, card int) bayes.VarID {
		states := make([]string, card)
		for i := range states {
			states[i] = fmt.Sprint("s", i)
		}
		cards = append(cards, card)
		return b.Add(fmt.Sprintf("%s%d", kind, len(cards)), states...)
	}
	effect := func(v bayes.VarID, parents []bayes.VarID) {
		var links []bayes.Link
		for _, p := range parents {
			link := bayes.Link{Parent: p, P: [][]float64{normal(cards[v])}}
			for range cards[p] - 1 {
				link.P = append(link.P, randomRow(r, cards[v]))
			}
			links = append(links, link)
		}
		b.NoisyMax(v, links, randomRow(r, cards[v]))
	}
	some := func(from []bayes.VarID, n int) []bayes.VarID {
		var out []bayes.VarID
		for _, i := range r.Perm(len(from))[:min(n, len(from))] {
			out = append(out, from[i])
		}
		return out
	}
	var before []bayes.VarID
	for range 15 {
		var causes, quantities []bayes.VarID
		for range 5 {
			c := add("cause", 2)
			p := 0.002 + 0.03*r.Float64()
			b.Table(c, nil, []float64{1 - p, p})
			causes = append(causes, c)
		}
		for i := range 2 {
			q := add("quantity", 2+r.IntN(3))
			parents := some(causes, 4)
			if i == 0 {
				parents = append(parents, before...)
			}
			effect(q, parents)
			quantities = append(quantities, q)
		}
		for i := range 5 {
			o := add("observation", []int{2, 2, 2, 3, 3, 4, 6, 20}[r.IntN(8)])
			parents := append(some(causes, 1+r.IntN(2)), some(quantities, 1+r.IntN(2))...)
			if i < 2 && len(a.causes) > 0 {
				parents = append(parents, some(a.causes[max(0, len(a.causes)-20):], 1)...)
			}
			effect(o, parents)
			a.observations = append(a.observations, o)
		}
		a.causes = append(a.causes, causes...)
		before = quantities[:1]
	}
	all := add("code", 12)
	effect(all, some(a.causes, 8))
	a.observations = append(a.observations, all)
	net, err := b.Build()
	require.NoError(tb, err)
	a.net = net
	return a
}

// normal is a certain contribution of the normal state.
func normal(card int) []float64 {
	row := make([]float64, card)
	row[0] = 1
	return row
}

func (a appliance) query(tb testing.TB) *bayes.Query {
	tree, err := bayes.Compile(a.net)
	require.NoError(tb, err)
	q := tree.NewQuery()
	for i, o := range a.observations {
		if i%9 == 0 {
			q.Observe(o, 1)
		}
	}
	return q
}

func BenchmarkCompile(b *testing.B) {
	a := newAppliance(b)
	for b.Loop() {
		tree, err := bayes.Compile(a.net.Fresh())
		require.NoError(b, err)
		s := tree.Stats()
		b.ReportMetric(float64(s.LargestClique), "largest")
		b.ReportMetric(float64(s.TotalEntries), "entries")
	}
}

func BenchmarkAllMarginals(b *testing.B) {
	a := newAppliance(b)
	q := a.query(b)
	var dst [][]float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		for k, o := range a.observations {
			if k%9 == 0 {
				q.Observe(o, i%2)
			}
		}
		dst, _ = q.Marginals(dst)
	}
}

func BenchmarkOneFinding(b *testing.B) {
	a := newAppliance(b)
	q := a.query(b)
	p := make([]float64, 2)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		q.Observe(a.observations[40], i%2)
		_ = q.MarginalInto(a.causes[30], p)
	}
}

func BenchmarkMutualInformation(b *testing.B) {
	a := newAppliance(b)
	q := a.query(b)
	for b.Loop() {
		_, err := q.MutualInformation(a.causes, a.observations)
		require.NoError(b, err)
	}
}

// BenchmarkFirstMutualInformation includes what a new query has to lay out once.
func BenchmarkFirstMutualInformation(b *testing.B) {
	a := newAppliance(b)
	tree, err := bayes.Compile(a.net)
	require.NoError(b, err)
	for b.Loop() {
		_, err := tree.NewQuery().MutualInformation(a.causes, a.observations)
		require.NoError(b, err)
	}
}

// BenchmarkStandardNetworks asks for all posteriors in several ways: entering one set of observations after the other
// (set), one observation more or less (one), the sets on all cores at once (parallel), and with the network compiled
// anew for each set, as an engine does that triangulates after entering observations (given). Reports the size of the
// tree.
func BenchmarkStandardNetworks(b *testing.B) {
	for _, name := range append(slices.Clone(referenceNetworks), "munin1") {
		b.Run(name, func(b *testing.B) { benchmarkNetwork(b, name) })
	}
}

func benchmarkNetwork(b *testing.B, name string) {
	n := readNetwork(b, name)
	sets := readReference(b, name)
	if name != "munin1" { // which is too dense as a whole
		tree, err := bayes.Compile(n)
		require.NoError(b, err)
		b.Run("compile", func(b *testing.B) { benchmarkCompile(b, n) })
		b.Run("set", func(b *testing.B) { benchmarkSets(b, n, tree, sets) })
		b.Run("one", func(b *testing.B) { benchmarkOne(b, n, tree, sets[0]) })
		b.Run("parallel", func(b *testing.B) { benchmarkParallel(b, n, tree, sets) })
	}
	b.Run("given", func(b *testing.B) { benchmarkGiven(b, n, sets) })
}

func benchmarkCompile(b *testing.B, n *bayes.Network) {
	b.ReportAllocs()
	for b.Loop() {
		tree, err := bayes.Compile(n.Fresh())
		require.NoError(b, err)
		b.ReportMetric(float64(tree.Stats().LargestClique), "largest")
		b.ReportMetric(float64(tree.Stats().TotalEntries), "entries")
	}
}

func benchmarkSets(b *testing.B, n *bayes.Network, tree *bayes.JoinTree, sets []referenceSet) {
	q := tree.NewQuery()
	dst, err := q.Marginals(nil)
	require.NoError(b, err)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		sets[i%len(sets)].enter(b, n, q)
		dst, err = q.Marginals(dst)
		require.NoError(b, err)
	}
}

func benchmarkOne(b *testing.B, n *bayes.Network, tree *bayes.JoinTree, set referenceSet) {
	q := tree.NewQuery()
	set.enter(b, n, q)
	dst, err := q.Marginals(nil)
	require.NoError(b, err)
	v := slices.IndexFunc(set.states(n), func(s int) bool { return s != bayes.Unknown })
	state := set.states(n)[v]
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if i%2 == 0 {
			q.Withdraw(bayes.VarID(v))
		} else {
			q.Observe(bayes.VarID(v), state)
		}
		dst, err = q.Marginals(dst)
		require.NoError(b, err)
	}
}

func benchmarkParallel(b *testing.B, n *bayes.Network, tree *bayes.JoinTree, sets []referenceSet) {
	b.RunParallel(func(p *testing.PB) {
		q := tree.NewQuery()
		var dst [][]float64
		for i := 0; p.Next(); i++ {
			sets[i%len(sets)].enter(b, n, q)
			dst, _ = q.Marginals(dst)
		}
	})
}

func benchmarkGiven(b *testing.B, n *bayes.Network, sets []referenceSet) {
	var dst [][]float64
	for i := 0; b.Loop(); i++ {
		set := sets[i%len(sets)]
		given := n.Given(set.states(n))
		tree, err := bayes.Compile(given)
		require.NoError(b, err)
		q := tree.NewQuery()
		set.enter(b, given, q)
		dst, err = q.Marginals(dst)
		require.NoError(b, err)
	}
}

// BenchmarkAnswers is what else can be asked about one case of the appliance.
func BenchmarkAnswers(b *testing.B) {
	a := newAppliance(b)
	q := a.query(b)
	root := a.causes[10]
	utility := [][]float64{{0, -100}, {-20, -30}}
	answers := []struct {
		name string
		ask  func() error
	}{
		{"conflict", func() error { _, err := q.Conflict(); return err }},
		{"leave one out", func() error { _, err := q.LeaveOneOut(root); return err }},
		{"joint of five", func() error { _, err := q.Joint(a.causes[10:15]); return err }},
		{"value of information", func() error { _, err := q.ValueOfInformation(root, a.observations, utility); return err }},
		{"same decision of four", func() error { _, err := q.SameDecision(root, 1, 0.5, a.observations[1:5]); return err }},
		{"sensitivity", func() error {
			_, err := q.Sensitivity(bayes.Parameter{Variable: root, State: 1}, a.causes[20], 1)
			return err
		}},
		{"counts", func() error { return q.AddCounts(a.net.NewCounts(), 1) }},
	}
	for _, answer := range answers {
		b.Run(answer.name, func(b *testing.B) {
			for b.Loop() {
				require.NoError(b, answer.ask())
			}
		})
	}
}

// BenchmarkMostProbable finds ten explanations of one set of observations.
func BenchmarkMostProbable(b *testing.B) {
	for _, name := range []string{"alarm", "hailfinder", "win95pts", "andes", "pathfinder"} {
		b.Run(name, func(b *testing.B) {
			n := readNetwork(b, name)
			tree, err := bayes.Compile(n)
			require.NoError(b, err)
			q := tree.NewQuery()
			readReference(b, name)[0].enter(b, n, q)
			for b.Loop() {
				_, err := q.MostProbable(10)
				require.NoError(b, err)
			}
		})
	}
}
