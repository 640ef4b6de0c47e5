package bayes_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// The oracle shares nothing with the package: it keeps its own description of a network as functions, enumerates the
// full joint distribution and adds up.

// tolerance is for posteriors and logarithms of networks of a dozen variables: a few thousand roundings.
const tolerance = 1e-12

// model is a network twice: as handed to the builder, and as a function for the oracle.
type model struct {
	b     bayes.Builder
	cards []int
	p     []func(states []int) float64 // [variable]: P(its state | its parents' states), given all states
}

// evidence is what an enumeration is weighted with.
type evidence struct {
	single map[bayes.VarID][]float64
	joint  map[int][]float64
	sets   [][]bayes.VarID
}

// enumerate calls f for every combination of states with P(states and evidence).
func (m *model) enumerate(e evidence, f func(states []int, weight float64)) {
	states := make([]int, len(m.cards))
	for {
		weight := 1.0
		for v := range states {
			weight *= m.p[v](states)
			if l := e.single[bayes.VarID(v)]; l != nil {
				weight *= l[states[v]]
			}
		}
		for set, l := range e.joint {
			weight *= l[index(m.cards, e.sets[set], states)]
		}
		f(states, weight)
		v := len(states) - 1
		for ; v >= 0 && states[v] == m.cards[v]-1; v-- {
			states[v] = 0
		}
		if v < 0 {
			return
		}
		states[v]++
	}
}

// index is the position of the states in a row-major table over the set.
func index(cards []int, set []bayes.VarID, states []int) int {
	i := 0
	for _, v := range set {
		i = i*cards[v] + states[v]
	}
	return i
}

// posteriors gives P(evidence) and all posteriors.
func (m *model) posteriors(e evidence) (float64, [][]float64) {
	post := make([][]float64, len(m.cards))
	for v, card := range m.cards {
		post[v] = make([]float64, card)
	}
	total := 0.0
	m.enumerate(e, func(states []int, weight float64) {
		total += weight
		for v, s := range states {
			post[v][s] += weight
		}
	})
	for _, p := range post {
		for s := range p {
			p[s] /= total
		}
	}
	return total, post
}

// information is the mutual information of two variables in bits.
func (m *model) information(e evidence, a, b bayes.VarID) float64 {
	joint := make([]float64, m.cards[a]*m.cards[b])
	total, post := m.posteriors(e)
	m.enumerate(e, func(states []int, weight float64) {
		joint[states[a]*m.cards[b]+states[b]] += weight / total
	})
	bits := 0.0
	for i, p := range joint {
		if p > 0 {
			bits += p * math.Log2(p/(post[a][i/m.cards[b]]*post[b][i%m.cards[b]]))
		}
	}
	return bits
}

func (m *model) add(card int) bayes.VarID {
	names := []string{"a", "b", "c", "d", "e", "f", "g"}
	v := m.b.Add(string(rune('A'+len(m.cards)%26))+string(rune('0'+len(m.cards)/26)), names[:card]...)
	m.cards = append(m.cards, card)
	m.p = append(m.p, nil)
	return v
}

// table gives v a full table.
func (m *model) table(v bayes.VarID, parents []bayes.VarID, p []float64) {
	m.b.Table(v, parents, p)
	m.p[v] = func(states []int) float64 { return p[index(m.cards, parents, states)*m.cards[v]+states[v]] }
}

// noisyOr makes v a noisy-OR, whose oracle is the textbook's product over the present parents.
func (m *model) noisyOr(v bayes.VarID, parents []bayes.VarID, p []float64, leak float64) {
	m.b.NoisyOr(v, parents, p, leak)
	m.p[v] = func(states []int) float64 {
		absent, present := 1-leak, leak
		for i, parent := range parents {
			if states[parent] == 1 {
				present += absent * p[i]
				absent *= 1 - p[i]
			}
		}
		return []float64{absent, present}[states[v]]
	}
}

// noisyMax makes v a noisy-MAX. Its oracle adds up which contribution is the first to reach the maximum: those before
// it stay below and those after it do not exceed it. No difference is taken, so no digits are lost.
func (m *model) noisyMax(v bayes.VarID, links []bayes.Link, leak []float64) {
	m.b.NoisyMax(v, links, leak)
	m.p[v] = func(states []int) float64 {
		rows := [][]float64{leak}
		for _, l := range links {
			rows = append(rows, l.P[states[l.Parent]])
		}
		k, total := states[v], 0.0
		for first, row := range rows {
			p := row[k]
			for i, other := range rows {
				if i < first {
					p *= cumulative(other, k-1)
				} else if i > first {
					p *= cumulative(other, k)
				}
			}
			total += p
		}
		return total
	}
}

func cumulative(p []float64, k int) float64 {
	total := 0.0
	for _, x := range p[:k+1] {
		total += x
	}
	return total
}

// function makes v a function of its parents.
func (m *model) function(v bayes.VarID, parents []bayes.VarID, f func([]int) int) {
	m.b.Deterministic(v, parents, f)
	m.p[v] = func(states []int) float64 {
		own := make([]int, len(parents))
		for i, p := range parents {
			own[i] = states[p]
		}
		if f(own) == states[v] {
			return 1
		}
		return 0
	}
}

func randomRow(r *rand.Rand, card int) []float64 {
	row := make([]float64, card)
	total := 0.0
	for i := range row {
		row[i] = r.Float64() + 1e-3
		if r.IntN(6) == 0 {
			row[i] *= 1e-6
		}
		total += row[i]
	}
	for i := range row {
		row[i] /= total
	}
	return row
}

func randomTable(r *rand.Rand, rows, card int) []float64 {
	var p []float64
	for range rows {
		p = append(p, randomRow(r, card)...)
	}
	return p
}

// randomModel makes a network of n variables of all kinds of distributions.
func randomModel(r *rand.Rand, n int) *model {
	m := &model{}
	for range n {
		v := m.add(2 + r.IntN(2))
		var parents []bayes.VarID
		for _, p := range r.Perm(int(v)) {
			if len(parents) < 4 && r.IntN(3) == 0 {
				parents = append(parents, bayes.VarID(p))
			}
		}
		m.randomDistribution(r, v, parents)
	}
	return m
}

func (m *model) randomDistribution(r *rand.Rand, v bayes.VarID, parents []bayes.VarID) {
	card, binary := m.cards[v], m.cards[v] == 2
	for _, p := range parents {
		binary = binary && m.cards[p] == 2
	}
	switch kind := r.IntN(4); {
	case kind == 0 && binary:
		p := make([]float64, len(parents))
		for i := range p {
			p[i] = r.Float64()
		}
		m.noisyOr(v, parents, p, r.Float64()/4)
	case kind <= 1:
		var links []bayes.Link
		for _, parent := range parents {
			link := bayes.Link{Parent: parent}
			for range m.cards[parent] {
				link.P = append(link.P, randomRow(r, card))
			}
			links = append(links, link)
		}
		m.noisyMax(v, links, randomRow(r, card))
	case kind == 2 && len(parents) > 0:
		m.function(v, parents, func(states []int) int {
			total := 0
			for _, s := range states {
				total += s
			}
			return total % card
		})
	default:
		rows := 1
		for _, p := range parents {
			rows *= m.cards[p]
		}
		m.table(v, parents, randomTable(r, rows, card))
	}
}

// randomEvidence enters hard and likelihood findings and returns them for the oracle.
func randomEvidence(r *rand.Rand, m *model, q *bayes.Query, sets [][]bayes.VarID) evidence {
	e := evidence{single: map[bayes.VarID][]float64{}, joint: map[int][]float64{}, sets: sets}
	for v, card := range m.cards {
		switch r.IntN(6) {
		case 0:
			state := r.IntN(card)
			e.single[bayes.VarID(v)] = make([]float64, card)
			e.single[bayes.VarID(v)][state] = 1
			q.Observe(bayes.VarID(v), state)
		case 1:
			e.single[bayes.VarID(v)] = scaled(randomRow(r, card), 10*r.Float64())
			q.SetLikelihood(bayes.VarID(v), e.single[bayes.VarID(v)])
		}
	}
	for i, set := range sets {
		if r.IntN(2) == 0 {
			size := 1
			for _, v := range set {
				size *= m.cards[v]
			}
			e.joint[i] = scaled(randomRow(r, size), 5)
			q.SetJointLikelihood(i, e.joint[i])
		}
	}
	return e
}

func scaled(p []float64, by float64) []float64 {
	out := make([]float64, len(p))
	for i, x := range p {
		out[i] = x * by
	}
	return out
}

// agree compares a query with the oracle.
func (m *model) agree(t *testing.T, q *bayes.Query, e evidence) {
	t.Helper()
	total, want := m.posteriors(e)
	log, err := q.LogEvidence()
	if total == 0 {
		var impossible *bayes.ImpossibleError
		require.ErrorAs(t, err, &impossible)
		return
	}
	require.NoError(t, err)
	require.InDelta(t, math.Log(total), log, tolerance*(1+math.Abs(log)))
	got, err := q.Marginals(nil)
	require.NoError(t, err)
	for v := range want {
		require.InDeltaSlice(t, want[v], got[v], tolerance)
	}
}

func TestRandomNetworksEqualTheOracle(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 1))
		m := randomModel(r, 3+r.IntN(7))
		n, err := m.b.Build()
		require.NoError(t, err)
		var sets [][]bayes.VarID
		for range r.IntN(3) {
			var set []bayes.VarID
			for _, v := range r.Perm(len(m.cards))[:1+r.IntN(3)] {
				set = append(set, bayes.VarID(v))
			}
			sets = append(sets, set)
		}
		tree, err := bayes.Compile(n, sets...)
		require.NoError(t, err)
		q := tree.NewQuery()
		for range 4 {
			q.Reset()
			e := randomEvidence(r, m, q, sets)
			if !t.Run("", func(t *testing.T) { m.agree(t, q, e); m.agreeOnInformation(t, q, e) }) {
				t.Fatalf("seed %d", seed)
			}
		}
	}
}

func (m *model) agreeOnInformation(t *testing.T, q *bayes.Query, e evidence) {
	if _, err := q.LogEvidence(); err != nil || len(m.cards) > 6 {
		return
	}
	var all []bayes.VarID
	for v := range m.cards {
		all = append(all, bayes.VarID(v))
	}
	info, err := q.MutualInformation(all, all)
	require.NoError(t, err)
	for a := range all {
		for b := range all {
			require.InDelta(t, m.information(e, all[a], all[b]), info[a][b], tolerance)
		}
	}
	m.agree(t, q, e)
}
