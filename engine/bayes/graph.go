package bayes

import (
	"math"
	"math/bits"
	"slices"
)

// Finding the elimination order with the smallest cliques is intractable, so greedy rules stand in. None of them wins
// everywhere; for networks with noisy chains it is mostly a weighted one. All are tried.

// graph is the moral graph of an expansion, as one bit set of neighbours per variable.
type graph struct {
	n, words int
	bits     []uint64
	cards    []int
	logCards []float64
}

func newGraph(cards []int) *graph {
	g := &graph{n: len(cards), words: (len(cards) + 63) / 64, cards: cards}
	g.bits = make([]uint64, g.n*g.words)
	for _, c := range cards {
		g.logCards = append(g.logCards, math.Log2(float64(c)))
	}
	return g
}

func (g *graph) row(v int) []uint64 { return g.bits[v*g.words : (v+1)*g.words] }

// connect joins all pairs of the scope.
func (g *graph) connect(scope []int32) {
	for _, a := range scope {
		for _, b := range scope {
			if a != b {
				g.row(int(a))[b/64] |= 1 << (b % 64)
			}
		}
	}
}

// appendBits appends the members of the set to list.
func appendBits(list []int32, set []uint64) []int32 {
	for w, b := range set {
		for ; b != 0; b &= b - 1 {
			list = append(list, int32(w*64+bits.TrailingZeros64(b)))
		}
	}
	return list
}

// fill counts the pairs of neighbours of v that are not neighbours of each other.
func (g *graph) fill(v int, neighbours []int32) int {
	row, missing := g.row(v), 0
	for _, u := range neighbours {
		other := g.row(int(u))
		for w, b := range row {
			missing += bits.OnesCount64(b &^ other[w])
		}
		missing-- // u itself
	}
	return missing / 2
}

// weightedFill is the sum, over the pairs that fill counts, of the product of their numbers of states.
func (g *graph) weightedFill(v int, neighbours []int32) float64 {
	row, total := g.row(v), 0.0
	for _, u := range neighbours {
		other, weight := g.row(int(u)), 0
		for w := range row {
			for b := row[w] &^ other[w]; b != 0; b &= b - 1 {
				if x := w*64 + bits.TrailingZeros64(b); x > int(u) {
					weight += g.cards[x]
				}
			}
		}
		total += float64(weight * g.cards[u])
	}
	return total
}

// logWeight is log2 of the entries of the clique that eliminating v would make.
func (g *graph) logWeight(v int, neighbours []int32) float64 {
	total := g.logCards[v]
	for _, u := range neighbours {
		total += g.logCards[u]
	}
	return total
}

// heuristic scores a variable; the lowest score is eliminated next.
type heuristic func(g *graph, v int, neighbours []int32) float64

// minFill adds the fewest edges; among equals the lighter clique goes first.
func minFill(g *graph, v int, ns []int32) float64 {
	return float64(g.fill(v, ns)) + g.logWeight(v, ns)*1e-4
}

// minWeight makes the smallest clique.
func minWeight(g *graph, v int, ns []int32) float64 { return g.logWeight(v, ns) }

// minWeightedFill adds edges between variables of few states.
func minWeightedFill(g *graph, v int, ns []int32) float64 {
	return g.weightedFill(v, ns) + g.logWeight(v, ns)*1e-4
}

// minMixed prefers small fill but lets a light clique win over a heavy one.
func minMixed(g *graph, v int, ns []int32) float64 {
	return math.Log2(1+g.weightedFill(v, ns)) + 0.5*g.logWeight(v, ns)
}

var heuristics = []heuristic{minFill, minWeight, minWeightedFill, minMixed}

// elimination is an order of the variables and the cliques that it makes.
type elimination struct {
	order          []int32
	cliques        [][]int32 // maximal: an eliminated variable, then its neighbours at that time in ascending order
	total, largest float64   // entries of all maximal cliques and of the largest one
	filled         bool      // whether variables had to be connected; if none, no order is better
}

func (e *elimination) better(than *elimination) bool {
	if than == nil || e.total != than.total {
		return than == nil || e.total < than.total
	}
	return e.largest < than.largest
}

// eliminate notes the elimination of v, whose clique has the given entries.
func (e *elimination) eliminate(v int32, clique []int32, entries float64) {
	e.order = append(e.order, v)
	e.cliques = append(e.cliques, clique)
	e.total += entries
	e.largest = max(e.largest, entries)
}

// dropCovered keeps the maximal cliques and their total. What is left of a clique without its eliminated variable lies
// within the clique of the next of its variables to go; if that one has no variable more, it is covered.
func (e *elimination) dropCovered(cards []int) {
	rank := make([]int32, len(e.order))
	for i, v := range e.order {
		rank[v] = int32(i)
	}
	covered := make([]bool, len(e.cliques))
	for _, c := range e.cliques {
		next := int32(len(e.order))
		for _, u := range c[1:] {
			next = min(next, rank[u])
		}
		if len(c) > 1 && len(e.cliques[next]) == len(c)-1 {
			covered[next] = true
		}
	}
	maximal := e.cliques[:0]
	e.total = 0
	for i, c := range e.cliques {
		if !covered[i] {
			maximal = append(maximal, c)
			e.total += entries(cards, c)
		}
	}
	e.cliques = maximal
}

// entries is the size of a table over the variables, which may be beyond any memory.
func entries(cards []int, scope []int32) float64 {
	n := 1.0
	for _, v := range scope {
		n *= float64(cards[v])
	}
	return n
}

// core is what is left of a graph once the variables are gone whose neighbours all know each other. Taking such a
// variable first connects nothing and is never worse than another order, so every trial begins with them.
type core struct {
	whole *graph
	gone  elimination // in the numbers of the whole graph
	graph *graph      // of the others, numbered anew
	vars  []int32     // [variable of the core] its number in the whole graph
}

// core takes those variables away.
func (g *graph) core() *core {
	c := &core{whole: g}
	left := &graph{n: g.n, words: g.words, cards: g.cards, logCards: g.logCards, bits: slices.Clone(g.bits)}
	queue := make([]int32, g.n)
	queued, gone := slices.Repeat([]bool{true}, g.n), make([]bool, g.n)
	for v := range queue {
		queue[v] = int32(v)
	}
	var neighbours []int32
	for len(queue) > 0 {
		v := queue[0]
		queue = queue[1:]
		queued[v] = false
		neighbours = appendBits(neighbours[:0], left.row(int(v)))
		if gone[v] || !left.simplicial(int(v), neighbours) {
			continue
		}
		gone[v] = true
		clique := append([]int32{v}, neighbours...)
		c.gone.eliminate(v, clique, entries(g.cards, clique))
		left.isolate(v, neighbours)
		for _, u := range neighbours {
			if !queued[u] {
				queued[u] = true
				queue = append(queue, u)
			}
		}
	}
	c.number(left, gone)
	return c
}

// simplicial says whether all neighbours of v are neighbours of each other.
func (g *graph) simplicial(v int, neighbours []int32) bool {
	row := g.row(v)
	for _, u := range neighbours {
		other := g.row(int(u))
		for w, b := range row {
			missing := b &^ other[w]
			if int(u)/64 == w {
				missing &^= 1 << (u % 64)
			}
			if missing != 0 {
				return false
			}
		}
	}
	return true
}

// isolate cuts all edges of v.
func (g *graph) isolate(v int32, neighbours []int32) {
	for _, u := range neighbours {
		g.row(int(u))[v/64] &^= 1 << (v % 64)
	}
	clear(g.row(int(v)))
}

// number gives the variables that are left numbers without gaps.
func (c *core) number(left *graph, gone []bool) {
	place := make([]int32, left.n)
	var cards []int
	for v := range left.n {
		if !gone[v] {
			place[v] = int32(len(c.vars))
			c.vars = append(c.vars, int32(v))
			cards = append(cards, left.cards[v])
		}
	}
	c.graph = newGraph(cards)
	var neighbours []int32
	for i, v := range c.vars {
		neighbours = appendBits(neighbours[:0], left.row(int(v)))
		row := c.graph.row(i)
		for _, u := range neighbours {
			row[place[u]/64] |= 1 << (place[u] % 64)
		}
	}
}

// eliminate takes the variables of the core away one by one. seed picks among equal scores, always in the same way. It
// gives up and returns nil once the entries of all cliques, maximal or not, exceed limit.
func (c *core) eliminate(score heuristic, seed uint32, limit float64) *elimination {
	s := newEliminator(c, score, seed)
	for len(s.heap) > 0 {
		s.step()
		if s.e.total > limit {
			return nil
		}
	}
	s.e.dropCovered(c.whole.cards)
	return s.e
}

// mix scrambles a number; the constants are the usual ones of a 32-bit multiplicative hash.
func mix(x uint32) uint32 {
	x ^= x >> 16
	x *= 0x7feb352d
	x ^= x >> 15
	x *= 0x846ca68b
	return x ^ x>>16
}

// eliminator is the state of one elimination of a core.
type eliminator struct {
	*graph
	c              *core
	score          heuristic
	scores         []float64
	ties           []uint32
	heap           []int32 // the variables not yet eliminated, the next one first
	place          []int32 // [variable] where it is in the heap
	touched        []uint64
	neighbours     []int32
	clique, others []int32
	members        []int32 // room for the cliques
	e              *elimination
}

func newEliminator(c *core, score heuristic, seed uint32) *eliminator {
	n := c.graph.n
	g := *c.graph
	g.bits = slices.Clone(g.bits)
	s := &eliminator{graph: &g, c: c, score: score, scores: make([]float64, n), ties: make([]uint32, n),
		heap: make([]int32, n), place: make([]int32, n), touched: make([]uint64, g.words)}
	s.e = &elimination{order: make([]int32, 0, c.whole.n), cliques: make([][]int32, 0, c.whole.n),
		total: c.gone.total, largest: c.gone.largest}
	s.e.order = append(s.e.order, c.gone.order...)
	s.e.cliques = append(s.e.cliques, c.gone.cliques...)
	for v := range n {
		original := uint32(c.vars[v])
		s.ties[v] = mix(original + seed*0x9e3779b9)
		if seed == 0 {
			s.ties[v] = original
		}
		s.heap[v], s.place[v] = int32(v), int32(v)
		s.rescore(v)
	}
	for i := n/2 - 1; i >= 0; i-- {
		s.sink(i)
	}
	return s
}

// rescore scores a variable again. Where its clique would be far beyond every limit, the weight alone decides: counting
// the fill of a variable with thousands of neighbours would cost more than all else.
func (s *eliminator) rescore(v int) {
	s.neighbours = appendBits(s.neighbours[:0], s.row(v))
	if w := s.logWeight(v, s.neighbours); w > hopeless {
		s.scores[v] = w * 1e30
		return
	}
	s.scores[v] = s.score(s.graph, v, s.neighbours)
}

// hopeless is log2 of a clique that no memory holds.
const hopeless = 64

// step eliminates the variable of the lowest score and rescores those whose score may have changed: its neighbours, and
// whoever knows both ends of a new edge.
func (s *eliminator) step() {
	v := s.heap[0]
	s.remove()
	s.others = appendBits(s.others[:0], s.row(int(v)))
	s.note(v)
	copy(s.touched, s.row(int(v)))
	s.isolate(v, s.others)
	s.join()
	s.neighbours = s.neighbours[:0]
	s.clique = appendBits(s.clique[:0], s.touched)
	for _, u := range s.clique {
		s.rescore(int(u))
		s.moved(int(s.place[u]))
	}
}

// note keeps the clique of v and its neighbours in the numbers of the whole graph.
func (s *eliminator) note(v int32) {
	if cap(s.members)-len(s.members) < len(s.others)+1 {
		s.members = make([]int32, 0, max(1024, len(s.others)+1))
	}
	start := len(s.members)
	s.members = append(s.members, s.c.vars[v])
	for _, u := range s.others {
		s.members = append(s.members, s.c.vars[u])
	}
	clique := s.members[start:len(s.members):len(s.members)]
	s.e.eliminate(clique[0], clique, entries(s.c.whole.cards, clique))
}

// join connects the neighbours of the variable that was eliminated.
func (s *eliminator) join() {
	for i, a := range s.others {
		for _, b := range s.others[:i] {
			if s.row(int(a))[b/64]&(1<<(b%64)) != 0 {
				continue
			}
			s.e.filled = true
			ra, rb := s.row(int(a)), s.row(int(b))
			for w := range ra {
				s.touched[w] |= ra[w] & rb[w]
			}
			ra[b/64] |= 1 << (b % 64)
			rb[a/64] |= 1 << (a % 64)
		}
	}
}

// before says whether the variable at one place of the heap goes before that at another.
func (s *eliminator) before(i, j int) bool {
	a, b := s.heap[i], s.heap[j]
	return s.scores[a] < s.scores[b] || s.scores[a] == s.scores[b] && s.ties[a] < s.ties[b]
}

func (s *eliminator) swap(i, j int) {
	s.heap[i], s.heap[j] = s.heap[j], s.heap[i]
	s.place[s.heap[i]], s.place[s.heap[j]] = int32(i), int32(j)
}

// remove takes away the first.
func (s *eliminator) remove() {
	last := len(s.heap) - 1
	s.swap(0, last)
	s.heap = s.heap[:last]
	s.sink(0)
}

// moved restores the order of the heap after a change at one place.
func (s *eliminator) moved(i int) {
	for i > 0 && s.before(i, (i-1)/2) {
		s.swap(i, (i-1)/2)
		i = (i - 1) / 2
	}
	s.sink(i)
}

func (s *eliminator) sink(i int) {
	for {
		least := i
		for child := 2*i + 1; child <= 2*i+2 && child < len(s.heap); child++ {
			if s.before(child, least) {
				least = child
			}
		}
		if least == i {
			return
		}
		s.swap(i, least)
		i = least
	}
}
