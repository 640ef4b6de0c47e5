package bayes_test

import (
	"math"
	"strings"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// coin adds a binary variable with an even table.
func coin(b *bayes.Builder, name string) bayes.VarID {
	v := b.Add(name, "no", "yes")
	b.Table(v, nil, []float64{0.5, 0.5})
	return v
}

func TestBuildReports(t *testing.T) {
	tests := []struct {
		name  string
		build func(b *bayes.Builder)
		want  string
	}{
		{"no distribution", func(b *bayes.Builder) { b.Add("A", "x", "y") }, `variable "A" has no distribution`},
		{"two distributions", func(b *bayes.Builder) { b.Table(coin(b, "A"), nil, []float64{0.5, 0.5}) },
			`variable "A" has two distributions`},
		{"two names", func(b *bayes.Builder) { coin(b, "A"); coin(b, "A") }, `variable "A" is defined twice`},
		{"no name", func(b *bayes.Builder) { coin(b, "") }, `variable 0 has no name`},
		{"no states", func(b *bayes.Builder) { b.Table(b.Add("A"), nil, nil) }, `variable "A" has no states`},
		{"two states", func(b *bayes.Builder) { b.Table(b.Add("A", "x", "x"), nil, []float64{1, 0}) },
			`variable "A" has two states "x"`},
		{"row sum", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.Table(b.Add("B", "x", "y"), []bayes.VarID{a}, []float64{0.5, 0.5, 0.5, 0.47})
		}, `the row of variable "B" for A=yes sums to 0.97, not to one`},
		{"NaN", func(b *bayes.Builder) { b.Table(b.Add("A", "x", "y"), nil, []float64{math.NaN(), 1}) },
			`the row of variable "A" holds the probability NaN`},
		{"negative", func(b *bayes.Builder) { b.Table(b.Add("A", "x", "y"), nil, []float64{-0.5, 1.5}) },
			`the row of variable "A" holds the probability -0.5`},
		{"length", func(b *bayes.Builder) { b.Table(b.Add("A", "x", "y"), nil, []float64{1}) },
			`the table of variable "A" has 1 entries, not 2`},
		{"unknown parent", func(b *bayes.Builder) { b.Table(b.Add("A", "x"), []bayes.VarID{7}, []float64{1}) },
			`variable "A" has variable 7 of 1 as a parent`},
		{"unknown child", func(b *bayes.Builder) { b.Table(7, nil, []float64{1}) },
			`a distribution is given for variable 7 of 0`},
		{"parent twice", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.NoisyOr(b.Add("B", "no", "yes"), []bayes.VarID{a, a}, []float64{0.1, 0.2}, 0)
		}, `variable "B" has the parent "A" twice`},
		{"too large", func(b *bayes.Builder) {
			var parents []bayes.VarID
			for i := range 27 {
				parents = append(parents, coin(b, strings.Repeat("A", i+1)))
			}
			b.Table(b.Add("B", "x", "y"), parents, nil)
		}, `the table of variable "B" has more than 134217728 entries`},
		{"cycle", func(b *bayes.Builder) {
			a, c := b.Add("A", "x", "y"), b.Add("C", "x", "y")
			b.Table(a, []bayes.VarID{c}, []float64{1, 0, 0, 1})
			b.Table(c, []bayes.VarID{a}, []float64{1, 0, 0, 1})
		}, `cycle: A -> C -> A`},
		{"own parent", func(b *bayes.Builder) {
			a := b.Add("A", "x", "y")
			b.Table(a, []bayes.VarID{a}, []float64{1, 0, 0, 1})
		}, `cycle: A -> A`},
		{"noisy-OR of three states", func(b *bayes.Builder) { b.NoisyOr(b.Add("A", "x", "y", "z"), nil, nil, 0) },
			`the noisy-OR of variable "A" needs two states of "A", which has 3`},
		{"noisy-OR length", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.NoisyOr(b.Add("B", "x", "y"), []bayes.VarID{a}, nil, 0)
		}, `the noisy-OR of variable "B" has 0 probabilities for 1 parents`},
		{"noisy-OR probability", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.NoisyOr(b.Add("B", "x", "y"), []bayes.VarID{a}, []float64{1.5}, 0)
		}, `the probability of variable "B" with only A is 1.5`},
		{"noisy-OR leak", func(b *bayes.Builder) { b.NoisyOr(b.Add("B", "x", "y"), nil, nil, -1) },
			`the probability of the leak of variable "B" is -1`},
		{"noisy-MAX leak", func(b *bayes.Builder) { b.NoisyMax(b.Add("B", "x", "y"), nil, []float64{0.5, 0.4}) },
			`the leak of variable "B" sums to 0.9, not to one`},
		{"noisy-MAX rows", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.NoisyMax(b.Add("B", "x", "y"), []bayes.Link{{a, [][]float64{{1, 0}}}}, nil)
		}, `the link of variable "B" from "A" has 1 rows, not 2`},
		{"noisy-MAX row", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.NoisyMax(b.Add("B", "x", "y"), []bayes.Link{{a, [][]float64{{1, 0}, {0.1, 0.1}}}}, nil)
		}, `the contribution of A=yes to variable "B" sums to 0.2, not to one`},
		{"noisy-MAX width", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.NoisyMax(b.Add("B", "x", "y"), []bayes.Link{{a, [][]float64{{1, 0}, {1}}}}, nil)
		}, `the contribution of A=yes to variable "B" has 1 entries, not 2`},
		{"function", func(b *bayes.Builder) {
			a := coin(b, "A")
			b.Deterministic(b.Add("B", "x", "y"), []bayes.VarID{a}, func(s []int) int { return 2 * s[0] })
		}, `variable "B" is given state 2 of 2 for A=yes`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var b bayes.Builder
			tt.build(&b)
			_, err := b.Build()
			require.EqualError(t, err, tt.want)
		})
	}
}

func TestBuildReportsEverything(t *testing.T) {
	var b bayes.Builder
	b.Add("A", "x", "y")
	b.Table(b.Add("B", "x", "y"), nil, []float64{0.5, 0.4})
	b.NoisyOr(b.Add("C", "x", "y"), nil, nil, 2)
	_, err := b.Build()
	require.ErrorContains(t, err, `variable "A" has no distribution`)
	require.ErrorContains(t, err, `the row of variable "B" sums to 0.9, not to one`)
	require.ErrorContains(t, err, `the probability of the leak of variable "C" is 2`)
}

// Rows are divided by their sum, so that printed tables of six digits behave as exact ones; a second Build starts from
// what was handed in.
func TestBuildNormalises(t *testing.T) {
	var b bayes.Builder
	a := b.Add("A", "x", "y", "z")
	b.Table(a, nil, []float64{0.333333, 0.333333, 0.333333})
	for range 2 {
		n, err := b.Build()
		require.NoError(t, err)
		tree, err := bayes.Compile(n)
		require.NoError(t, err)
		log, err := tree.NewQuery().LogEvidence()
		require.NoError(t, err)
		require.InDelta(t, 0, log, 1e-15)
	}
}

func TestNetworkDescribesItself(t *testing.T) {
	var b bayes.Builder
	a := coin(&b, "A")
	c := b.Add("C", "low", "mid", "high")
	b.NoisyMax(c, []bayes.Link{{a, [][]float64{{1, 0, 0}, {0, 0.5, 0.5}}}}, nil)
	n, err := b.Build()
	require.NoError(t, err)
	require.Equal(t, 2, n.NumVariables())
	require.Equal(t, bayes.Variable{Name: "C", States: []string{"low", "mid", "high"}}, n.Variable(c))
	require.Equal(t, []bayes.VarID{a}, n.Parents(c))
	require.Equal(t, 3, n.Card(c))
	found, ok := n.Lookup("C")
	require.True(t, ok)
	require.Equal(t, c, found)
	_, ok = n.Lookup("D")
	require.False(t, ok)
}

func TestMisusePanics(t *testing.T) {
	var b bayes.Builder
	a := coin(&b, "A")
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n, []bayes.VarID{a})
	require.NoError(t, err)
	q := tree.NewQuery()
	tests := map[string]func(){
		"variable":            func() { n.Variable(1) },
		"parents":             func() { n.Parents(-1) },
		"card":                func() { n.Card(1) },
		"observed variable":   func() { q.Observe(1, 0) },
		"observed state":      func() { q.Observe(a, 2) },
		"likelihood length":   func() { q.SetLikelihood(a, []float64{1}) },
		"likelihood negative": func() { q.SetLikelihood(a, []float64{1, -1}) },
		"likelihood NaN":      func() { q.SetLikelihood(a, []float64{1, math.NaN()}) },
		"likelihood infinite": func() { q.SetLikelihood(a, []float64{1, math.Inf(1)}) },
		"joint set":           func() { q.SetJointLikelihood(1, nil) },
		"joint length":        func() { q.SetJointLikelihood(0, []float64{1, 1, 1}) },
		"withdraw":            func() { q.Withdraw(2) },
		"withdraw joint":      func() { q.WithdrawJoint(-1) },
		"marginal":            func() { _, _ = q.Marginal(1) },
		"destination":         func() { _ = q.MarginalInto(a, nil) },
		"target":              func() { _, _ = q.MutualInformation([]bayes.VarID{1}, nil) },
		"candidate":           func() { _, _ = q.MutualInformation(nil, []bayes.VarID{1}) },
		"empty set":           func() { _, _ = bayes.Compile(n, nil) },
		"repeated variable":   func() { _, _ = bayes.Compile(n, []bayes.VarID{a, a}) },
		"set of a stranger":   func() { _, _ = bayes.Compile(n, []bayes.VarID{9}) },
	}
	for name, misuse := range tests {
		t.Run(name, func(t *testing.T) {
			defer func() {
				message, _ := recover().(string)
				require.True(t, strings.HasPrefix(message, "bayes: "), message)
			}()
			misuse()
		})
	}
}
