package bayes_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lightoff/engine/bayes"
)

// sparseModel is a random network whose tables hold many zeros.
func sparseModel(r *rand.Rand, n int) *model {
	m := &model{}
	for range n {
		v := m.add(2 + r.IntN(3))
		var parents []bayes.VarID
		for _, p := range r.Perm(int(v)) {
			if len(parents) < 3 && r.IntN(2) == 0 {
				parents = append(parents, bayes.VarID(p))
			}
		}
		if r.IntN(3) == 0 {
			m.randomDistribution(r, v, parents)
			continue
		}
		rows := 1
		for _, p := range parents {
			rows *= m.cards[p]
		}
		var table []float64
		for range rows {
			row := make([]float64, m.cards[v])
			total := 0.0
			for s := range row {
				if r.IntN(2) == 0 {
					row[s] = r.Float64()
				}
				total += row[s]
			}
			if total == 0 {
				row[r.IntN(len(row))], total = 1, 1
			}
			table = append(table, scaled(row, 1/total)...)
		}
		m.table(v, parents, table)
	}
	return m
}

// Trees that keep every entry, only the positive ones or these where it pays, and enumeration, agree on everything that
// is read from a clique.
func TestKeepingOnlyPositiveEntriesChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 21))
		m := sparseModel(r, rapid.IntRange(2, 7).Draw(t, "variables"))
		n, err := m.b.Build()
		require.NoError(t, err)
		sets := [][]bayes.VarID{{1, 0}}
		var queries []*bayes.Query
		var kept []int64
		seed := r.Uint64()
		var e evidence
		for _, share := range []float64{1, 0, 0.5} {
			tree, err := bayes.CompileKeeping(n, share, sets...)
			require.NoError(t, err)
			q := tree.NewQuery()
			e = randomEvidence(rand.New(rand.NewPCG(seed, 22)), m, q, sets)
			queries, kept = append(queries, q), append(kept, tree.Stats().TotalEntries)
			require.Equal(t, tree.Stats().WholeEntries, kept[0])
		}
		require.LessOrEqual(t, kept[1], kept[2])
		total, want := m.posteriors(e)
		for _, q := range queries {
			log, err := q.LogEvidence()
			if total == 0 {
				var impossible *bayes.ImpossibleError
				require.ErrorAs(t, err, &impossible)
				continue
			}
			require.NoError(t, err)
			require.InDelta(t, math.Log(total), log, tolerance*(1+math.Abs(log)))
			got, err := q.Marginals(nil)
			require.NoError(t, err)
			for v := range want {
				require.InDeltaSlice(t, want[v], got[v], tolerance)
			}
		}
		if total > 0 {
			sameAnswers(t, m, queries)
		}
	})
}

// sameAnswers compares what else queries on different trees for the same findings say.
func sameAnswers(t *rapid.T, m *model, queries []*bayes.Query) {
	var all []bayes.VarID
	for v := range m.cards {
		all = append(all, bayes.VarID(v))
	}
	plain := queries[0]
	for _, q := range queries[1:] {
		want, err := plain.MutualInformation(all, all)
		require.NoError(t, err)
		got, err := q.MutualInformation(all, all)
		require.NoError(t, err)
		for i := range want {
			require.InDeltaSlice(t, want[i], got[i], tolerance)
		}
		some := all[:min(3, len(all))]
		wantJoint, err := plain.Joint(some)
		require.NoError(t, err)
		gotJoint, err := q.Joint(some)
		require.NoError(t, err)
		require.InDeltaSlice(t, wantJoint, gotJoint, tolerance)
		wantMost, err := plain.MostProbable(3)
		require.NoError(t, err)
		gotMost, err := q.MostProbable(3)
		require.NoError(t, err)
		require.Equal(t, len(wantMost), len(gotMost))
		for i := range wantMost {
			require.Equal(t, wantMost[i].States, gotMost[i].States)
		}
		wantOut, err := plain.LeaveOneOut(0)
		require.NoError(t, err)
		gotOut, err := q.LeaveOneOut(0)
		require.NoError(t, err)
		for i := range wantOut {
			require.InDeltaSlice(t, wantOut[i].Posteriors[0], gotOut[i].Posteriors[0], tolerance)
		}
	}
}

// A tree without zeros keeps all its entries and takes no more room than it did.
func TestTreesWithoutZerosStayWhole(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 23))
	m := &model{}
	for v := range bayes.VarID(6) {
		m.add(3)
		parents := []bayes.VarID{0, 1, 2, 3, 4, 5}[max(0, v-3):v]
		table := make([]float64, 0, 81)
		for range int(math.Pow(3, float64(len(parents)))) {
			x, y, z := 0.1+r.Float64(), 0.1+r.Float64(), 0.1+r.Float64()
			table = append(table, scaled([]float64{x, y, z}, 1/(x+y+z))...)
		}
		m.table(v, parents, table)
	}
	n, err := m.b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	s := tree.Stats()
	assert.Equal(t, s.WholeEntries, s.TotalEntries)
}

// What would take more memory or time than a tree may is refused before it is laid out, with the clique that is to
// blame.
func TestTooMuchWorkIsRefused(t *testing.T) {
	var b bayes.Builder
	var roots []bayes.VarID
	states := []string{"a", "b", "c", "d", "e", "f", "g", "h", "i", "j"}
	row := []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1}
	for i := range 9 {
		v := b.Add(string(rune('A'+i)), states...)
		b.Table(v, nil, row)
		roots = append(roots, v)
	}
	n, err := b.Build()
	require.NoError(t, err)
	_, err = bayes.Compile(n, roots)
	require.ErrorContains(t, err, "network too dense")
	require.ErrorContains(t, err, "A, B, C, D, E, F, G, H, I")
	_, err = bayes.Compile(n, roots[:6])
	require.NoError(t, err)
}
