package bayes_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// independentTimes is how many milliseconds the independent engine that computed the posteriors takes for one set of
// findings: the last one taken off, this one put on, all posteriors, triangulated anew as it always does. Median over
// the sets, the faster of its two exact methods, compiled with full optimisation, one core of a server of 2026.
var independentTimes = map[string]float64{"cancer": 0.09, "earthquake": 0.09, "asia": 0.20, "survey": 0.13,
	"sachs": 0.28, "child": 0.63, "insurance": 2.12, "alarm": 1.28, "hailfinder": 2.25, "win95pts": 3.77, "andes": 15.5,
	"pathfinder": 7.05, "pigs": 21.5, "munin1": 63, "mildew": 10.7}

// BenchmarkTypicalSet is the median over the sets of what a set takes at best: entered in the tree of the whole network
// (set), and with the network compiled for it (given). Reports how many times as long the independent engine takes.
func BenchmarkTypicalSet(b *testing.B) {
	for _, name := range append(slices.Clone(referenceNetworks), "munin1") {
		b.Run(name, func(b *testing.B) {
			n := readNetwork(b, name)
			sets := readReference(b, name)
			if name != "munin1" { // which is too dense as a whole
				b.Run("set", func(b *testing.B) {
					tree, err := bayes.Compile(n)
					require.NoError(b, err)
					q := tree.NewQuery()
					typical(b, name, sets, func(s referenceSet) (*bayes.Network, *bayes.Query) { return n, q })
				})
			}
			b.Run("given", func(b *testing.B) {
				typical(b, name, sets, func(s referenceSet) (*bayes.Network, *bayes.Query) {
					given := n.Given(s.states(n))
					tree, err := bayes.Compile(given)
					require.NoError(b, err)
					return given, tree.NewQuery()
				})
			})
		})
	}
}

func typical(b *testing.B, name string, sets []referenceSet, query func(referenceSet) (*bayes.Network, *bayes.Query)) {
	best := slices.Repeat([]float64{math.Inf(1)}, len(sets))
	var dst [][]float64
	for b.Loop() {
		for i, s := range sets {
			start := time.Now()
			n, q := query(s)
			s.enter(b, n, q)
			var err error
			dst, err = q.Marginals(dst)
			require.NoError(b, err)
			best[i] = min(best[i], time.Since(start).Seconds()*1000)
		}
	}
	slices.Sort(best)
	median := (best[len(best)/2] + best[(len(best)-1)/2]) / 2
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median, "ms/set")
	b.ReportMetric(independentTimes[name]/median, "times-as-fast")
}
