package bayes

import (
	"math"
	"math/bits"
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

func (g *graph) clone() *graph {
	c := *g
	c.bits = append([]uint64(nil), g.bits...)
	return &c
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

// eliminate takes the variables away one by one. seed picks among equal scores, always in the same way. It gives up
// and returns nil once the entries of all its cliques, maximal or not, exceed limit.
func (g *graph) eliminate(score heuristic, seed uint32, limit float64) *elimination {
	s := &eliminator{graph: g.clone(), score: score, scores: make([]float64, g.n), e: &elimination{}}
	s.ties = make([]uint32, g.n)
	s.alive = make([]int32, g.n)
	s.touched = make([]uint64, g.words)
	for v := range g.n {
		s.alive[v] = int32(v)
		s.ties[v] = mix(uint32(v) + seed*0x9e3779b9)
		if seed == 0 {
			s.ties[v] = uint32(v)
		}
		s.rescore(v)
	}
	for len(s.alive) > 0 {
		s.step()
		if s.e.total > limit {
			return nil
		}
	}
	s.e.dropCovered(s.sizes)
	return s.e
}

// dropCovered keeps the maximal cliques and their total. What is left of a clique without its eliminated variable lies
// within the clique of the next of its variables to go; if that one has no variable more, it is covered.
func (e *elimination) dropCovered(sizes []float64) {
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
			e.total += sizes[i]
		}
	}
	e.cliques = maximal
}

// mix scrambles a number; the constants are the usual ones of a 32-bit multiplicative hash.
func mix(x uint32) uint32 {
	x ^= x >> 16
	x *= 0x7feb352d
	x ^= x >> 15
	x *= 0x846ca68b
	return x ^ x>>16
}

// eliminator is the state of one elimination.
type eliminator struct {
	*graph
	score      heuristic
	scores     []float64
	ties       []uint32
	alive      []int32
	touched    []uint64
	neighbours []int32
	sizes      []float64 // [step] entries of its clique
	e          *elimination
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

// step eliminates the variable of the lowest score and rescores those whose neighbourhood changed.
func (s *eliminator) step() {
	v := s.takeBest()
	clique := appendBits([]int32{v}, s.row(int(v)))
	s.e.order = append(s.e.order, v)
	s.e.cliques = append(s.e.cliques, clique)
	size := math.Exp2(s.logWeight(int(v), clique[1:]))
	s.sizes = append(s.sizes, size)
	s.e.total += size
	s.e.largest = max(s.e.largest, size)
	filled := s.fill(int(v), clique[1:]) > 0
	if filled {
		s.connect(clique[1:])
		s.e.filled = true
	}
	copy(s.touched, s.row(int(v)))
	for _, u := range clique[1:] {
		row := s.row(int(u))
		row[v/64] &^= 1 << (v % 64)
		if filled {
			for w, b := range row {
				s.touched[w] |= b
			}
		}
	}
	clear(s.row(int(v)))
	for _, u := range appendBits(nil, s.touched) {
		s.rescore(int(u))
	}
}

func (s *eliminator) takeBest() int32 {
	best := 0
	for i, v := range s.alive {
		b := s.alive[best]
		if s.scores[v] < s.scores[b] || s.scores[v] == s.scores[b] && s.ties[v] < s.ties[b] {
			best = i
		}
	}
	v := s.alive[best]
	s.alive[best] = s.alive[len(s.alive)-1]
	s.alive = s.alive[:len(s.alive)-1]
	return v
}
