package bayes_test

import (
	"fmt"
	"log"
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// vary is the network with one parameter set and the others of its row scaled, built anew from the tables.
func vary(t testing.TB, n *bayes.Network, of bayes.Parameter, theta float64) *bayes.Network {
	var b bayes.Builder
	for v := range bayes.VarID(n.NumVariables()) {
		b.Add(n.Variable(v).Name, n.Variable(v).States...)
	}
	for v := range bayes.VarID(n.NumVariables()) {
		p := slices.Clone(n.FullTable(v))
		if v == of.Variable {
			row := 0
			for i, parent := range n.Parents(v) {
				row = row*n.Card(parent) + of.Parents[i]
			}
			entries := p[row*n.Card(v):][:n.Card(v)]
			rest := 0.0 // added up, for one less an entry near one has few digits
			for s, x := range entries {
				if s != of.State {
					rest += x
				}
			}
			for s, x := range entries {
				if s != of.State {
					entries[s] = x / rest * (1 - theta)
				}
			}
			entries[of.State] = theta
		}
		b.Table(v, n.Parents(v), p)
	}
	varied, err := b.Build()
	require.NoError(t, err)
	return varied
}

// tablesOnly draws a network of full tables with positive entries.
func tablesOnly(r *rand.Rand, count int) *model {
	m := &model{}
	for range count {
		v := m.add(2 + r.IntN(3))
		var parents []bayes.VarID
		rows := 1
		for _, p := range r.Perm(int(v)) {
			if len(parents) < 3 && r.IntN(2) == 0 {
				parents = append(parents, bayes.VarID(p))
				rows *= m.cards[p]
			}
		}
		m.table(v, parents, randomTable(r, rows, m.cards[v]))
	}
	return m
}

func someParameter(r *rand.Rand, n *bayes.Network) bayes.Parameter {
	of := bayes.Parameter{Variable: bayes.VarID(r.IntN(n.NumVariables()))}
	of.State = r.IntN(n.Card(of.Variable))
	for _, p := range n.Parents(of.Variable) {
		of.Parents = append(of.Parents, r.IntN(n.Card(p)))
	}
	return of
}

// The function says what compiling the changed network says.
func TestSensitivityEqualsCompilingAgain(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 12))
		m := tablesOnly(r, 2+r.IntN(6))
		sets := [][]bayes.VarID{{1, 0}}
		n, err := m.b.Build()
		require.NoError(t, err)
		tree, err := bayes.Compile(n, sets...)
		require.NoError(t, err)
		q := tree.NewQuery()
		e := randomEvidence(r, m, q, sets)
		of, v := someParameter(r, n), bayes.VarID(r.IntN(len(m.cards)))
		state := r.IntN(m.cards[v])
		before := ask(q)
		got, err := q.Sensitivity(of, v, state)
		require.NoError(t, err)
		require.Equal(t, before, ask(q))
		require.InDelta(t, before.marginals[v][state], got.At(got.Value), 1e-11)
		require.InEpsilon(t, 1+got.Delta, 1+1-got.Gamma*got.Value, 1e-10)
		for _, theta := range []float64{0.001, 0.25, 0.5, 0.9} {
			other, err := bayes.Compile(vary(t, n, of, theta), sets...)
			require.NoError(t, err)
			changed := other.NewQuery()
			for v, l := range e.single {
				changed.SetLikelihood(v, l)
			}
			for set, l := range e.joint {
				changed.SetJointLikelihood(set, l)
			}
			p, err := changed.Marginal(v)
			require.NoError(t, err)
			require.InDelta(t, p[state], got.At(theta), 1e-11, "seed %d", seed)
			fromFour := (got.Alpha*theta + got.Beta) / (got.Gamma*theta + got.Delta)
			require.InDelta(t, p[state], fromFour, 1e-10, "seed %d", seed)
			const h = 1e-5
			slope := (got.At(theta*(1+h)) - got.At(theta*(1-h))) / (2 * h * theta)
			require.InDelta(t, slope, got.Slope(theta), 1e-4*(1+max(slope, -slope)), "seed %d", seed)
		}
	}
}

// A test of prevalence θ: P(ill | positive) = 0.8 θ / (0.8 θ + 0.096 (1-θ)), from the mammography figures of Eddy
// 1982 (sensitivity 0.8, false positives 0.096), whose answer at θ = 0.01 is the textbooks' 0.078.
func TestPublishedSensitivity(t *testing.T) {
	m := &model{}
	ill, positive := m.add(2), m.add(2)
	m.table(ill, nil, []float64{0.99, 0.01})
	m.table(positive, []bayes.VarID{ill}, []float64{0.904, 0.096, 0.2, 0.8})
	q := compiled(t, m).NewQuery()
	q.Observe(positive, 1)
	s, err := q.Sensitivity(bayes.Parameter{Variable: ill, State: 1}, ill, 1)
	require.NoError(t, err)
	scale := 0.8*0.01 + 0.096*0.99
	require.InDelta(t, 0.8/scale, s.Alpha, tolerance*100)
	require.InDelta(t, 0, s.Beta, tolerance)
	require.InDelta(t, (0.8-0.096)/scale, s.Gamma, tolerance*100)
	require.InDelta(t, 0.096/scale, s.Delta, tolerance*100)
	require.InDelta(t, 0.078, s.At(0.01), 5e-4)
	require.InDelta(t, 0.8*0.0336/(0.8*0.0336+0.096*0.9664), s.At(0.0336), tolerance)
}

// A row with a zero or a one in it, an observed parent that excludes the row, and certainty that cannot be varied away.
func TestSensitivityAtTheEnds(t *testing.T) {
	m := &model{}
	a, b, c := m.add(3), m.add(3), m.add(2)
	m.table(a, nil, []float64{0, 1, 0})
	m.table(b, []bayes.VarID{a}, []float64{0.2, 0.3, 0.5, 0.1, 0.2, 0.7, 0.6, 0.3, 0.1})
	m.table(c, []bayes.VarID{b}, []float64{0.5, 0.5, 0.1, 0.9, 0.8, 0.2})
	q := compiled(t, m).NewQuery()
	s, err := q.Sensitivity(bayes.Parameter{Variable: a, State: 1}, b, 2)
	require.NoError(t, err)
	require.Equal(t, 1.0, s.Value)
	require.InDelta(t, (0.5+0.1)/2, s.At(0), tolerance, "the others share equally")
	require.InDelta(t, 0.7, s.At(1), tolerance)
	s, err = q.Sensitivity(bayes.Parameter{Variable: a, State: 0}, b, 2)
	require.NoError(t, err)
	require.InDelta(t, 0.4*0.5+0.6*0.7, s.At(0.4), tolerance)
	q.Observe(b, 1)
	s, err = q.Sensitivity(bayes.Parameter{Variable: c, Parents: []int{0}, State: 1}, c, 1)
	require.NoError(t, err)
	require.Zero(t, s.Alpha)
	require.Zero(t, s.Gamma)
	require.InDelta(t, 0.9, s.At(0.1), tolerance)
	s, err = q.Sensitivity(bayes.Parameter{Variable: c, Parents: []int{1}, State: 1}, c, 1)
	require.NoError(t, err)
	require.InDelta(t, 0.1, s.At(0.1), tolerance)
	require.InDelta(t, 1, s.Slope(0.1), tolerance)
}

// A variable of one state has a parameter that is always one, and so says nothing.
func TestSensitivityToACertainty(t *testing.T) {
	m := &model{}
	only, b := m.add(1), m.add(2)
	m.table(only, nil, []float64{1})
	m.table(b, []bayes.VarID{only}, []float64{0.3, 0.7})
	q := compiled(t, m).NewQuery()
	s, err := q.Sensitivity(bayes.Parameter{Variable: only}, b, 1)
	require.NoError(t, err)
	require.Equal(t, 1.0, s.Value)
	require.Zero(t, s.Alpha)
	require.Zero(t, s.Gamma)
	require.InDelta(t, 0.7, s.At(1), tolerance)
}

// A link of a noisy family, and its leak, are parameters too. The networks to compare with are built anew.
func TestSensitivityToContributions(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 21))
		f := newNoisyFamily(r)
		tree, err := bayes.Compile(f.build(t))
		require.NoError(t, err)
		q := tree.NewQuery()
		seen := randomRow(r, len(f.leak))
		q.SetLikelihood(f.child, seen)
		of := bayes.Parameter{Variable: f.child, Parents: []int{bayes.Unknown, bayes.Unknown, bayes.Unknown},
			State: r.IntN(len(f.leak))}
		row := f.leak
		if i := r.IntN(4); i < 3 {
			of.Parents[i] = r.IntN(len(f.links[i].P))
			row = f.links[i].P[of.Parents[i]]
		}
		got, err := q.Sensitivity(of, f.parents[0], 1)
		require.NoError(t, err)
		require.Equal(t, row[of.State], got.Value)
		for _, theta := range []float64{0, 0.2, 0.7, 1} {
			rest := 1 - row[of.State]
			for s := range row {
				if s != of.State {
					row[s] *= (1 - theta) / rest
				}
			}
			row[of.State] = theta
			again, err := bayes.Compile(f.build(t))
			require.NoError(t, err)
			changed := again.NewQuery()
			changed.SetLikelihood(f.child, seen)
			p, err := changed.Marginal(f.parents[0])
			require.NoError(t, err)
			require.InDelta(t, p[1], got.At(theta), 1e-11, "seed %d", seed)
			if theta == 1 {
				break
			}
		}
	}
}

func TestSensitivityRefusesWhatIsNoParameter(t *testing.T) {
	n, igniter, pump, flame, _ := fire()
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	require.PanicsWithValue(t, `bayes: 2 of 2 parent states name no row of "no flame"`, func() {
		_, _ = q.Sensitivity(bayes.Parameter{Variable: flame, Parents: []int{0, 0}, State: 1}, igniter, 1)
	})
	require.PanicsWithValue(t, `bayes: 1 parent states of "igniter broken", which has 0`, func() {
		_, _ = q.Sensitivity(bayes.Parameter{Variable: igniter, Parents: []int{0}}, pump, 1)
	})
	q.SetLikelihood(pump, []float64{0, 0})
	_, err = q.Sensitivity(bayes.Parameter{Variable: igniter}, pump, 1)
	var impossible *bayes.ImpossibleError
	require.ErrorAs(t, err, &impossible)
}

func ExampleQuery_Sensitivity() {
	n, igniter, pump, flame, _ := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(flame, 1)
	s, err := q.Sensitivity(bayes.Parameter{Variable: pump, State: 1}, igniter, 1)
	if err != nil {
		log.Fatal(err)
	}
	for _, theta := range []float64{0.01, 0.05, 0.2} {
		fmt.Printf("pumps stuck in %.0f %%: igniter broken %.3f\n", 100*theta, s.At(theta))
	}
	// Output:
	// pumps stuck in 1 %: igniter broken 0.495
	// pumps stuck in 5 %: igniter broken 0.248
	// pumps stuck in 20 %: igniter broken 0.087
}
