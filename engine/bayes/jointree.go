package bayes

import (
	"cmp"
	"fmt"
	"slices"
)

// All scopes list their variables in the order of elimination. What a clique passes towards later cliques lacks its
// first variables, so that it lies at the end of the scope in one piece, and the inner loops of the tables run long.

// JoinTree is a compiled network: cliques joined so that every variable's cliques are connected. It never changes and
// may be shared by goroutines; each takes its own Query.
type JoinTree struct {
	net      *Network
	x        *expansion
	rank     []int32 // position of each variable in the order that all scopes follow
	cliques  []clique
	edges    int       // directed edges; e and e^1 are the two directions between the same cliques
	barren   []bool    // [edge] the side it comes from sums to one whatever the other side is
	roots    []int32   // one clique of each component
	holding  [][]int32 // [variable] the cliques in which it occurs, the smallest first
	home     []int32   // [variable] the clique where it is observed and read
	homePlan []*plan
	placed   []int32 // [family] the clique whose table it is part of
	together []joint
	sizes    []int   // [edge] entries of its message
	leaving  []*plan // [edge] how its separator lies in the clique that it comes from
	alone    []int32 // [variable] itself, for scopes of one
	scratch  int     // entries of the largest clique
	thrift   thrift
	spans    *spans    // of bridges, as clamps have crossed them
	origin   *JoinTree // the tree that shares the shape of this one, and was compiled
}

// clique is a set of variables with the product of the tables assigned to it. Where zeros abound, only the entries that
// can ever be positive are kept.
type clique struct {
	scope   []int32
	entries int       // of the whole table
	kept    []int32   // where the entries kept are in the whole table, in rising order; nil if all are kept
	table   []float64 // [entry kept]
	low     float64   // smallest positive entry of table
	links   []link
	homes   []VarID // variables observed and read here
	joints  []int   // together sets entered here
}

// link leads from a clique to a neighbour.
type link struct {
	to   int32
	out  int32 // the edge towards the neighbour; out^1 comes back
	plan *plan // how the separator lies in this clique

	separator []int32 // its variables
}

// joint is a set of variables that share a clique.
type joint struct {
	variables []VarID
	clique    int32
	plan      *plan
	positions []int32 // from the order of the scope to the caller's order
}

// Stats describes the size of a join tree. Variables counts the network's variables and the internal accumulators of
// noisy families. Entries are numbers in clique tables as they are kept; WholeEntries would be without leaving out
// zeros.
type Stats struct {
	Variables, Cliques                        int
	LargestClique, TotalEntries, WholeEntries int64
	Bytes                                     int64 // of tables and of where their entries belong, a query's own aside
	Touched                                   int64 // entries read for all posteriors if there are findings everywhere
}

// Stats tells how large the tree is.
func (t *JoinTree) Stats() Stats {
	s := Stats{Variables: len(t.x.cards), Cliques: len(t.cliques)}
	for i := range t.cliques {
		c := &t.cliques[i]
		n := int64(c.size())
		s.TotalEntries += n
		s.WholeEntries += int64(c.entries)
		s.LargestClique = max(s.LargestClique, n)
		s.Bytes += c.bytes()
		s.Touched += c.touched()
	}
	return s
}

// LargestCliqueNames names the variables of the largest clique in the order of the network; an accumulator of a noisy
// family is named after the child, with a prime.
func (t *JoinTree) LargestCliqueNames() []string {
	largest := 0
	for i := range t.cliques {
		if t.cliques[i].size() > t.cliques[largest].size() {
			largest = i
		}
	}
	if len(t.cliques) == 0 {
		return nil
	}
	return scopeNames(t.net, t.x, t.cliques[largest].scope)
}

// scopeNames hides that accumulators have numbers of their own.
func scopeNames(n *Network, x *expansion, scope []int32) []string {
	scope = slices.Sorted(slices.Values(scope))
	names := make([]string, len(scope))
	for i, v := range scope {
		names[i] = n.variables[x.owner[v]].Name
		if int(v) >= len(n.variables) {
			names[i] += "'"
		}
	}
	return names
}

// Compile builds a join tree. Each together set will share one clique, so that a joint likelihood over it can be
// entered. It fails, naming the largest clique's variables, if the tree would take more than 1 GiB or the reading of
// 2^30 entries for all posteriors, which is a second or so of a processor; only entries that can be positive count. It
// panics if a set is empty, repeats a variable or names one outside the network.
func Compile(n *Network, together ...[]VarID) (*JoinTree, error) {
	return compile(n, usual, together)
}

func compile(n *Network, thrift thrift, together [][]VarID) (*JoinTree, error) {
	checkTogether(n, together)
	x, e := n.triangulate(together)
	return layOut(n, thrift, x, e, together)
}

// layOut builds the tree of an elimination.
func layOut(n *Network, thrift thrift, x *expansion, e *elimination, together [][]VarID) (*JoinTree, error) {
	if err := hopelesslyLarge(n, x, e); err != nil {
		return nil, err
	}
	t := cliquesOf(n, thrift, x, e)
	if err := t.tabulate(together); err != nil {
		return nil, err
	}
	return t, nil
}

// cliquesOf joins the cliques of an elimination, as yet without tables.
func cliquesOf(n *Network, thrift thrift, x *expansion, e *elimination) *JoinTree {
	t := &JoinTree{net: n, x: x, thrift: thrift, rank: make([]int32, len(x.cards))}
	for i, v := range e.order {
		t.rank[v] = int32(i)
	}
	for _, c := range e.cliques {
		entries := 1
		for _, v := range c {
			entries *= x.cards[v]
		}
		t.cliques = append(t.cliques, clique{scope: sortedBy(c, t.rank), entries: entries})
	}
	t.list()
	t.join()
	t.assign()
	return t
}

// familyTables gives the tables of the families in the order of the tree.
func (t *JoinTree) familyTables(p *places) [][]float64 {
	tables := make([][]float64, len(t.x.families))
	for i, f := range t.x.families {
		tables[i] = t.sorted(p, f.scope, f.table(&t.net.dists[f.of]))
	}
	return tables
}

// tabulate decides which entries are kept, and makes all that depends on that.
func (t *JoinTree) tabulate(together [][]VarID) error {
	p := &places{}
	tables := t.familyTables(p)
	if err := t.compress(tables); err != nil {
		return err
	}
	for i := range t.cliques {
		c := &t.cliques[i]
		c.table = ones(c.size())
		t.scratch = max(t.scratch, len(c.table))
	}
	for i, f := range t.x.families {
		t.place(p, &t.cliques[t.placed[i]], f.scope, tables[i])
	}
	for i := range t.cliques {
		t.cliques[i].low, _ = extremes(t.cliques[i].table)
	}
	t.settle(together)
	t.origin, t.spans = t, &spans{of: map[[2]int32]*bridge{}}
	return nil
}

func checkTogether(n *Network, together [][]VarID) {
	for i, set := range together {
		if len(set) == 0 {
			panic(fmt.Sprintf("bayes: together set %d is empty", i))
		}
		for k, v := range set {
			n.check(v)
			if slices.Contains(set[:k], v) {
				panic(fmt.Sprintf("bayes: together set %d holds %q twice", i, n.variables[v].Name))
			}
		}
	}
}

func sortedBy(scope []int32, rank []int32) []int32 {
	scope = slices.Clone(scope)
	slices.SortFunc(scope, func(a, b int32) int { return cmp.Compare(rank[a], rank[b]) })
	return scope
}

// list notes in which cliques each variable occurs, the smallest first.
func (t *JoinTree) list() {
	if t.holding == nil {
		t.holding = make([][]int32, len(t.rank))
		for i := range t.cliques {
			for _, v := range t.cliques[i].scope {
				t.holding[v] = append(t.holding[v], int32(i))
			}
		}
	}
	for _, list := range t.holding {
		slices.SortFunc(list, func(a, b int32) int {
			return cmp.Or(cmp.Compare(t.cliques[a].size(), t.cliques[b].size()), cmp.Compare(a, b))
		})
	}
}

// join links the cliques by a spanning forest of the heaviest separators, which is a join tree because the cliques
// come from an elimination. The forest grows from one clique of each component, its root. Among equally many shared
// variables the smaller cliques are linked first, and to the clique that it costs least.
func (t *JoinTree) join() {
	best := make([]reach, len(t.cliques))
	shared := make([]int, len(t.cliques))
	joined := make([]bool, len(t.cliques))
	left := make([]int32, len(t.cliques))
	for i := range left {
		left[i] = int32(i)
	}
	for len(left) > 0 {
		k := 0
		for i := range left {
			if best[left[i]].better(best[left[k]]) {
				k = i
			}
		}
		next := left[k]
		left = slices.Delete(left, k, k+1)
		if r := best[next]; r.shared == 0 {
			t.roots = append(t.roots, next)
		} else {
			t.connect(t.cheapest(t.separator(r.from, next), joined), next)
		}
		joined[next] = true
		t.widen(best, next, shared, joined)
	}
}

// widen notes what the cliques not yet joined share with one that is. shared is room for counting, and zero before and
// after.
func (t *JoinTree) widen(best []reach, from int32, shared []int, joined []bool) {
	c := &t.cliques[from]
	for _, v := range c.scope {
		for _, i := range t.holding[v] {
			shared[i]++
		}
	}
	for _, v := range c.scope {
		for _, i := range t.holding[v] {
			by := reach{shared[i], c.entries + t.cliques[i].entries, from}
			if shared[i] = 0; !joined[i] && by.better(best[i]) {
				best[i] = by
			}
		}
	}
}

// reach is how a clique can best be linked to those already joined.
type reach struct {
	shared  int
	entries int
	from    int32
}

func (r reach) better(than reach) bool {
	return r.shared > than.shared || r.shared == than.shared && r.shared > 0 && r.entries < than.entries
}

// connect links two cliques by a pair of edges with numbers that differ in the last bit.
func (t *JoinTree) connect(a, b int32) {
	e := int32(t.edges)
	t.edges += 2
	s := t.separator(a, b)
	t.cliques[a].links = append(t.cliques[a].links, link{to: b, out: e, separator: s})
	t.cliques[b].links = append(t.cliques[b].links, link{to: a, out: e + 1, separator: s})
}

// plan fits the variables of part that occur in a clique into it.
func (t *JoinTree) plan(c *clique, part []int32) *plan { return t.planIn(&places{}, c, part) }

// planIn is plan with room to work in.
func (t *JoinTree) planIn(p *places, c *clique, part []int32) *plan {
	if c.kept != nil {
		p.at = nil // which the plan keeps
		at, small := p.positions(t, c, part)
		p.at = nil
		return &plan{at: at, small: small}
	}
	cards := make([]int, len(c.scope))
	in := make([]bool, len(c.scope))
	for i, v := range c.scope {
		cards[i] = t.x.cards[v]
		in[i] = slices.Contains(part, v)
	}
	return newPlan(cards, in)
}

// smallest finds the smallest clique that contains the scope.
func (t *JoinTree) smallest(scope []int32) int32 {
	for _, i := range t.rarest(scope) {
		if contains(t.cliques[i].scope, scope) {
			return i
		}
	}
	panic("bayes: no clique holds a table") // which the elimination makes one for
}

// rarest lists the cliques of that variable of the scope that occurs in the fewest.
func (t *JoinTree) rarest(scope []int32) []int32 {
	list := t.holding[scope[0]]
	for _, v := range scope[1:] {
		if len(t.holding[v]) < len(list) {
			list = t.holding[v]
		}
	}
	return list
}

// cheapest finds, among the cliques joined so far that contain the scope, the one to which one link more adds the least
// work: a clique is read once for each pair of its links. Of equals the last is taken, so that what many variables say
// of one makes a path in their order and not a bush.
func (t *JoinTree) cheapest(scope []int32, joined []bool) int32 {
	best, least := int32(-1), 0.0
	for _, i := range t.rarest(scope) {
		c := &t.cliques[i]
		work := float64(c.entries) * float64(1+len(c.links))
		if joined[i] && (best < 0 || work <= least) && contains(c.scope, scope) {
			best, least = i, work
		}
	}
	return best
}

func contains(set, part []int32) bool {
	for _, v := range part {
		if !slices.Contains(set, v) {
			return false
		}
	}
	return true
}

// assign gives every table to the smallest clique that holds it, and finds the barren edges.
func (t *JoinTree) assign() {
	origin := slices.Repeat([]int32{-1}, len(t.rank))
	open := make([]int32, len(t.cliques))
	for _, f := range t.x.families {
		at := t.smallest(f.scope)
		t.placed = append(t.placed, at)
		if child := f.child(); child >= 0 {
			origin[child] = at
		} else {
			open[at]++
		}
	}
	t.findBarren(origin, open)
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

// place multiplies a table, in the order of the tree, into a clique.
func (t *JoinTree) place(p *places, c *clique, scope []int32, table []float64) {
	if c.kept == nil {
		t.plan(c, scope).multiply(c.table, c.table, table)
		return
	}
	at, _ := p.positions(t, c, scope)
	multiplyAt(c.table, c.table, table, at)
}

// sorted brings a table, row-major in the order of its scope, into the order of the tree. It may be the table itself.
func (t *JoinTree) sorted(p *places, scope []int32, table []float64) []float64 {
	byRank := func(a, b int32) int { return cmp.Compare(t.rank[a], t.rank[b]) }
	if slices.IsSortedFunc(scope, byRank) {
		return table
	}
	p.low = appendPositions(p.low[:0], scope, sortedBy(scope, t.rank), t.x.cards)
	sorted := make([]float64, len(table))
	for i, at := range p.low {
		sorted[i] = table[at]
	}
	return sorted
}

// findBarren marks the edges from whose side every table's child stays behind: each such table sums to one over its
// child, so without findings there the whole side does. origin is where the table lies that sums to one over a
// variable, open how many tables of a clique sum to nothing known.
func (t *JoinTree) findBarren(origin, open []int32) {
	w := &walk{t: t, enter: make([]int32, len(t.cliques)), leave: make([]int32, len(t.cliques)), open: open}
	for _, r := range t.roots {
		w.number(r, -1)
	}
	t.barren = make([]bool, t.edges)
	for _, r := range t.roots {
		w.mark(r, -1, origin, open[r])
	}
}

// walk numbers the cliques from the roots on, so that those beyond a clique have the numbers from when it is entered to
// when it is left.
type walk struct {
	t            *JoinTree
	enter, leave []int32
	open         []int32 // [clique] tables in it and beyond that sum to nothing known
	next         int32
}

func (w *walk) number(i, from int32) {
	w.enter[i] = w.next
	w.next++
	for _, l := range w.t.cliques[i].links {
		if l.to != from {
			w.number(l.to, i)
			w.open[i] += w.open[l.to]
		}
	}
	w.leave[i] = w.next
}

// mark looks at both directions of each edge away from clique i.
func (w *walk) mark(i, from int32, origin []int32, all int32) {
	for _, l := range w.t.cliques[i].links {
		if l.to == from {
			continue
		}
		here, beyond := w.open[l.to] < all, w.open[l.to] > 0
		for _, v := range l.separator {
			if at := origin[v]; at >= 0 && w.enter[at] >= w.enter[l.to] && w.enter[at] < w.leave[l.to] {
				beyond = true
			} else if at >= 0 {
				here = true
			}
		}
		w.t.barren[l.out], w.t.barren[l.out^1] = !here, !beyond
		w.mark(l.to, i, origin, all)
	}
}

// separator keeps the common order, in which the variables of both cliques already stand.
func (t *JoinTree) separator(a, b int32) []int32 {
	var s []int32
	for _, v := range t.cliques[a].scope {
		if slices.Contains(t.cliques[b].scope, v) {
			s = append(s, v)
		}
	}
	return s
}

// settle chooses where each variable and each together set is entered.
func (t *JoinTree) settle(together [][]VarID) {
	t.list()
	t.home, t.homePlan, t.alone = nil, nil, nil
	for i := range t.cliques {
		t.cliques[i].homes, t.cliques[i].joints = nil, nil
	}
	for v := range t.net.variables {
		t.alone = append(t.alone, int32(v))
		at := t.smallest([]int32{int32(v)})
		c := &t.cliques[at]
		c.homes = append(c.homes, VarID(v))
		t.home = append(t.home, at)
		t.homePlan = append(t.homePlan, t.plan(c, []int32{int32(v)}))
	}
	for i, set := range together {
		scope := internal(set)
		at := t.smallest(scope)
		c := &t.cliques[at]
		c.joints = append(c.joints, i)
		t.together = append(t.together, joint{slices.Clone(set), at, t.plan(c, scope),
			positions(scope, sortedBy(scope, t.rank), t.x.cards)})
	}
}
