package bayes

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// split writes the position i of a row-major table as states.
func split(i int, cards []int) []int {
	states := make([]int, len(cards))
	for k := len(cards) - 1; k >= 0; k-- {
		states[k] = i % cards[k]
		i /= cards[k]
	}
	return states
}

// partIndex is where entry i of a table lies in the table over a part of its variables.
func partIndex(i int, cards []int, in []bool) int {
	p := 0
	for k, s := range split(i, cards) {
		if in[k] {
			p = p*cards[k] + s
		}
	}
	return p
}

// The blocked loops do the same as decoding every index.
func TestPlansEqualIndexArithmetic(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		var cards []int
		var in []bool
		size := 1
		for range r.IntN(8) {
			cards = append(cards, 1+r.IntN(4))
			in = append(in, r.IntN(2) == 0)
			size *= cards[len(cards)-1]
		}
		p := newPlan(cards, in)
		src, dst, want := make([]float64, size), make([]float64, size), make([]float64, size)
		part, sums, wantSums := make([]float64, p.small), make([]float64, p.small), make([]float64, p.small)
		for i := range part {
			part[i] = float64(r.IntN(100)) // whole numbers, so that the order of addition does not matter
		}
		for i := range src {
			src[i] = float64(r.IntN(100))
			want[i] = src[i] * part[partIndex(i, cards, in)]
			wantSums[partIndex(i, cards, in)] += src[i]
		}
		p.multiply(dst, src, part)
		p.sumOut(sums, src)
		require.Equal(t, want, dst)
		require.Equal(t, wantSums, sums)
	}
}

// Bridges, whatever group of variables is the longest and whether or not all entries are kept, do the same as
// multiplying and summing.
func TestBridgesEqualProductAndSum(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		tree := &JoinTree{net: &Network{}, x: &expansion{}}
		var c clique
		var in, out end
		size := 1
		for v := range int32(1 + r.IntN(6)) {
			tree.x.cards = append(tree.x.cards, 1+r.IntN(4))
			tree.rank = append(tree.rank, v)
			c.scope = append(c.scope, v)
			size *= tree.x.cards[v]
			if r.IntN(2) == 0 {
				in.scope = append(in.scope, v)
			}
			if r.IntN(2) == 0 {
				out.scope = append(out.scope, v)
			}
		}
		if c.entries = size; r.IntN(2) == 0 {
			c.kept = []int32{}
			for k := range int32(size) {
				if r.IntN(3) == 0 {
					c.kept = append(c.kept, k)
				}
			}
			size = len(c.kept)
		}
		tree.cliques = []clique{c}
		enter, leave := tree.plan(&c, in.scope), tree.plan(&c, out.scope)
		in.plan, out.plan = enter, leave
		product, src := make([]float64, size), make([]float64, enter.small)
		for i := range product {
			product[i] = float64(r.IntN(64))
		}
		for i := range src {
			src[i] = float64(r.IntN(64))
		}
		b := tree.newBridge(0, in, out)
		scratch := make([]float64, 2*size)
		b.build(product, &scratch)
		want, whole := make([]float64, leave.small), make([]float64, size)
		enter.multiply(whole, product, src)
		leave.sumOut(want, whole)
		rescale(want)
		mirrored := tree.newBridge(0, out, in)
		mirrored.build(product, &scratch)
		for lane := range len(lanes{}) {
			for _, back := range []bool{false, true} {
				require.Equal(t, want, crossAlone(b, mirrored, src, leave.small, lane, back))
			}
		}
	}
}

// crossAlone crosses a bridge in one lane, or the mirrored one the other way round.
func crossAlone(b, mirrored *bridge, src []float64, size, lane int, back bool) []float64 {
	if back {
		b = mirrored
	}
	from, to, got := make([]lanes, len(src)), make([]lanes, size), make([]float64, size)
	for i, x := range src {
		from[i][lane] = x
	}
	b.carry(to, from, back)
	for i := range to {
		got[i] = to[i][lane]
	}
	rescale(got) // a bridge keeps no scale
	return got
}

// checkTree verifies what makes a join tree one.
func checkTree(t *testing.T, tree *JoinTree) {
	for _, f := range tree.x.families {
		require.GreaterOrEqual(t, tree.smallest(f.scope), int32(0), "every table fits into a clique")
	}
	links := 0
	for i := range tree.cliques {
		c := &tree.cliques[i]
		links += len(c.links)
		for k := range tree.cliques {
			require.False(t, k != i && contains(tree.cliques[k].scope, c.scope), "cliques are maximal")
		}
		for _, l := range c.links {
			require.Equal(t, tree.sizes[l.out], l.plan.small)
			require.Equal(t, tree.sizes[l.out^1], l.plan.small)
		}
	}
	require.Equal(t, 2*(len(tree.cliques)-len(tree.roots)), links, "a forest")
	for v := range tree.x.cards {
		require.Equal(t, holders(tree, int32(v)), reachable(tree, int32(v)), "the cliques of a variable are connected")
	}
}

func holders(tree *JoinTree, v int32) (count int) {
	for i := range tree.cliques {
		if slices.Contains(tree.cliques[i].scope, v) {
			count++
		}
	}
	return count
}

// reachable counts the cliques with v that are connected with the first of them through separators with v.
func reachable(tree *JoinTree, v int32) int {
	var walk func(i, from int32) int
	walk = func(i, from int32) int {
		count := 1
		for _, l := range tree.cliques[i].links {
			if l.to != from && slices.Contains(l.separator, v) {
				count += walk(l.to, i)
			}
		}
		return count
	}
	return walk(tree.smallest([]int32{v}), -1)
}

// web is a random network of binary variables with noisy families.
func web(t *testing.T, r *rand.Rand, n int) *Network {
	var b Builder
	for i := range n {
		v := b.Add(string(rune('A'+i)), "no", "yes")
		var parents []VarID
		var p []float64
		for parent := range v {
			if r.IntN(4) == 0 {
				parents = append(parents, parent)
				p = append(p, r.Float64())
			}
		}
		b.NoisyOr(v, parents, p, r.Float64())
	}
	net, err := b.Build()
	require.NoError(t, err)
	return net
}

func TestJoinTreesAreJoinTrees(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 5))
		n := web(t, r, 3+r.IntN(20))
		tree, err := Compile(n, []VarID{0, 2}, []VarID{VarID(n.NumVariables() - 1), 1})
		require.NoError(t, err)
		checkTree(t, tree)
	}
}

// A barren edge promises a message of ones; the message computed all the same must be that.
func TestBarrenMessagesAreOnes(t *testing.T) {
	barren := 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 6))
		tree, err := Compile(web(t, r, 12))
		require.NoError(t, err)
		promised := slices.Clone(tree.barren)
		clear(tree.barren)
		q := tree.NewQuery()
		_, err = q.Marginals(nil)
		require.NoError(t, err)
		for e, yes := range promised {
			m := &q.messages[e]
			if !yes || !m.valid {
				continue
			}
			barren++
			_, high := extremes(m.table)
			require.InEpsilon(t, high, m.low, 1e-12)
		}
	}
	require.Greater(t, barren, 50)
}

// Maxima by blocks are the maxima by index.
func TestMaximaEqualIndexArithmetic(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 2))
	for range 300 {
		var cards []int
		var in []bool
		size := 1
		for range r.IntN(7) {
			cards = append(cards, 1+r.IntN(4))
			in = append(in, r.IntN(2) == 0)
			size *= cards[len(cards)-1]
		}
		p := newPlan(cards, in)
		src, got, want := make([]float64, size), make([]float64, p.small), make([]float64, p.small)
		for i := range src {
			src[i] = r.Float64()
			k := partIndex(i, cards, in)
			want[k] = max(want[k], src[i])
		}
		p.maxOut(got, src)
		require.Equal(t, want, got)
	}
}

// Scaling a row twice is scaling it once, to the last bit, however its entries are spread.
func TestScalingRowsIsIdempotent(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	for range 20000 {
		row := make([]float64, 1+r.IntN(40))
		for i := range row {
			row[i] = r.Float64()
			if r.IntN(3) == 0 {
				row[i] *= 1e-12
			}
		}
		scaleRow(row)
		once := slices.Clone(row)
		scaleRow(row)
		require.Equal(t, once, row)
	}
}

// A tree with one table exchanged is, byte for byte, the tree that compiling the other network gives.
func TestExchangedTablesEqualCompiling(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 7))
		n := web(t, r, 10)
		dists := slices.Clone(n.dists)
		for v := range dists {
			table, err := n.wholeTable(VarID(v))
			require.NoError(t, err)
			dists[v] = distribution{parents: dists[v].parents, table: table}
		}
		full := &Network{variables: n.variables, byName: n.byName, dists: dists, cards: n.cards, memo: &memo{}}
		tree, err := Compile(full)
		require.NoError(t, err)
		v := VarID(r.IntN(len(dists)))
		table := slices.Clone(dists[v].table)
		slices.Reverse(table)
		other := *full
		other.dists = slices.Clone(dists)
		other.dists[v].table = table
		want, err := Compile(&other)
		require.NoError(t, err)
		got := tree.withDistributions(map[VarID]distribution{v: other.dists[v]})
		for i := range want.cliques {
			require.Equal(t, want.cliques[i].table, got.cliques[i].table)
			require.Equal(t, want.cliques[i].low, got.cliques[i].low)
		}
	}
}

// The probability of one entry is the entry of the whole table, for noisy families as well.
func TestSingleProbabilitiesEqualTheTable(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 9))
		n := web(t, r, 8)
		states := make([]int, n.NumVariables())
		for v := range n.dists {
			table, err := n.wholeTable(VarID(v))
			require.NoError(t, err)
			parents := n.dists[v].parents
			for i := range table {
				rest := i / 2
				for k := len(parents) - 1; k >= 0; k-- {
					states[parents[k]] = rest % 2
					rest /= 2
				}
				states[v] = i % 2
				require.InDelta(t, table[i], n.probability(VarID(v), states), 1e-15)
			}
		}
	}
}
