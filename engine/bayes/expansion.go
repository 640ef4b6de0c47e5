package bayes

import "slices"

// A noisy family of many parents is compiled as a chain of small tables. An accumulator holds the maximum of the leak
// and the contributions of the first parents; each step joins one more parent, and the last accumulator is the child:
//
//	P(A1 | p1, p2), P(A2 | A1, p3), ..., P(child | An, pm)
//
// All entries are positive, so nothing cancels. Accumulators are numbered after the variables of the network.

//
// A variable that the network holds to a state has no place in its family's table, but only the column of that state;
// by itself it is certain. A noisy child held to a state is the largest of contributions none of which goes beyond
// that state, so its accumulators need no more states, and none at all if the state is the first.

// family is one table of the expanded network: P(child | the rest of the scope). The child is last in the scope.
type family struct {
	scope []int32
	of    VarID // whose distribution it is, or a part of
	links []int // the links of a noisy distribution that it joins, in the order of the scope
	part  part
	top   int  // the child's states that it speaks of: the first ones
	width int  // the child's states
	held  bool // the child is held to the last of the first ones, and not in the scope
}

// part says which table of a distribution a family is.
type part uint8

const (
	whole part = iota // the full table
	first             // the leak and the first links
	step              // what was reached before, and one link more
	point             // not of the distribution: the variable is held to a state
)

// child is the variable over which the table sums to one whatever the rest of the scope is, or -1.
func (f family) child() int32 {
	if f.held || f.part == point || f.top < f.width {
		return -1
	}
	return f.scope[len(f.scope)-1]
}

// table is row-major in the order of the scope. It may be part of the distribution.
func (f family) table(d *distribution) []float64 {
	var t []float64
	width := f.top
	switch f.part {
	case point:
		t = make([]float64, f.width)
		t[f.top-1] = 1
		return t
	case first:
		links := make([][][]float64, len(f.links))
		for i, l := range f.links {
			links[i] = leading(d.links[l], f.top)
		}
		t = firstTable(d.leak[:f.top], links)
	case step:
		t = stepTable(f.top, leading(d.links[f.links[0]], f.top))
	default:
		t, width = d.table, f.width
	}
	if !f.held {
		return t
	}
	column := make([]float64, 0, len(t)/width)
	for i := f.top - 1; i < len(t); i += width {
		column = append(column, t[i])
	}
	return column
}

// leading keeps the first states of each row.
func leading(rows [][]float64, top int) [][]float64 {
	if len(rows[0]) == top {
		return rows
	}
	kept := make([][]float64, len(rows))
	for i, row := range rows {
		kept[i] = row[:top]
	}
	return kept
}

// expansion is a network rewritten as small tables.
type expansion struct {
	cards        []int
	owner        []VarID // the variable itself, or whose accumulator this is
	families     []family
	accumulators []accumulator     // those numbered after the variables
	chains       map[VarID][]VarID // the parents of noisy families, in the order in which they join
}

// accumulator is told from others of its child by the last parent that has joined.
type accumulator struct{ child, parent VarID }

// expand rewrites the network. order gives, for a noisy family, the positions of its parents in chain order.
func (n *Network) expand(order func(v VarID) []int) *expansion {
	x := &expansion{chains: map[VarID][]VarID{}}
	for v := range n.variables {
		x.add(n.cards[v], VarID(v))
	}
	for v := range n.dists {
		x.distribution(n, VarID(v), order)
	}
	return x
}

func (x *expansion) distribution(n *Network, v VarID, order func(v VarID) []int) {
	d := &n.dists[v]
	top, held := n.cards[v], false
	if s := n.seen(v); s != Unknown {
		x.families = append(x.families, family{scope: []int32{int32(v)}, of: v, part: point, top: s + 1, width: top})
		if len(d.parents) > 0 {
			top, held = s+1, true
		}
	}
	if d.factored() {
		x.chain(n, v, order(v), top, held)
		return
	}
	scope := internal(d.parents)
	if !held {
		scope = append(scope, int32(v))
	}
	x.families = append(x.families, family{scope: scope, of: v, top: top, held: held, width: n.cards[v]})
}

func (x *expansion) add(card int, owner VarID) int32 {
	x.cards = append(x.cards, card)
	x.owner = append(x.owner, owner)
	return int32(len(x.cards) - 1)
}

// chain adds the tables of one noisy family, of which the first states of the child are of interest. Its first table
// takes two parents, since that needs no accumulator more; one if there are no accumulators that could tie them.
func (x *expansion) chain(n *Network, v VarID, order []int, top int, held bool) {
	d := &n.dists[v]
	most := 2
	if held && top == 1 {
		most = 1
	}
	head := min(most, len(order))
	x.chains[v] = nil
	for _, i := range order {
		x.chains[v] = append(x.chains[v], d.parents[i])
	}
	f := family{of: v, links: order[:head], part: first, top: top, width: n.cards[v]}
	for _, i := range f.links {
		f.scope = append(f.scope, int32(d.parents[i]))
	}
	for k := head; ; k++ {
		f.held = held && (k == len(order) || top == 1)
		var reached []int32
		if !f.held {
			reached = []int32{int32(v)}
			if k < len(order) {
				reached[0] = x.add(top, v)
				x.accumulators = append(x.accumulators, accumulator{v, x.chains[v][k-1]})
			}
		}
		f.scope = append(f.scope, reached...)
		x.families = append(x.families, f)
		if k == len(order) {
			return
		}
		f.links, f.part = order[k:k+1], step
		f.scope = append(slices.Clone(reached), int32(d.parents[order[k]]))
	}
}

// internal turns ids into positions of the expanded network.
func internal(vs []VarID) []int32 {
	out := make([]int32, len(vs), len(vs)+1)
	for i, v := range vs {
		out[i] = int32(v)
	}
	return out
}
