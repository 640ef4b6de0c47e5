package bayes

// A noisy family of many parents is compiled as a chain of small tables. An accumulator holds the maximum of the leak
// and the contributions of the first parents; each step joins one more parent, and the last accumulator is the child:
//
//	P(A1 | p1, p2), P(A2 | A1, p3), ..., P(child | An, pm)
//
// All entries are positive, so nothing cancels. Accumulators are numbered after the variables of the network.

// family is one table of the expanded network: P(child | the rest of the scope). The child is last in the scope.
type family struct {
	scope []int32
	of    VarID // whose distribution it is, or a part of
	links []int // the links of a noisy distribution that it joins, in the order of the scope
	part  part
}

// part says which table of a distribution a family is.
type part uint8

const (
	whole part = iota // the full table
	first             // the leak and the first links
	step              // what was reached before, and one link more
)

func (f family) child() int32 { return f.scope[len(f.scope)-1] }

// table is row-major in the order of the scope.
func (f family) table(d *distribution) []float64 {
	switch f.part {
	case first:
		links := make([][][]float64, len(f.links))
		for i, l := range f.links {
			links[i] = d.links[l]
		}
		return firstTable(d.leak, links)
	case step:
		return stepTable(len(d.leak), d.links[f.links[0]])
	}
	return d.table
}

// expansion is a network rewritten as small tables.
type expansion struct {
	cards    []int
	owner    []VarID // the variable itself, or whose accumulator this is
	families []family
}

// expand rewrites the network. order gives, for a noisy family, the positions of its parents in chain order.
func (n *Network) expand(order func(v VarID) []int) *expansion {
	x := &expansion{}
	for v := range n.variables {
		x.add(n.cards[v], VarID(v))
	}
	for v := range n.dists {
		if d := &n.dists[v]; d.factored() {
			x.chain(n, VarID(v), order(VarID(v)))
		} else {
			x.families = append(x.families, family{scope: append(internal(d.parents), int32(v)), of: VarID(v)})
		}
	}
	return x
}

func (x *expansion) add(card int, owner VarID) int32 {
	x.cards = append(x.cards, card)
	x.owner = append(x.owner, owner)
	return int32(len(x.cards) - 1)
}

// chain adds the tables of one noisy family. Its first table takes two parents, since that needs no accumulator more.
func (x *expansion) chain(n *Network, v VarID, order []int) {
	d := &n.dists[v]
	head := min(2, len(order))
	var scope []int32
	for _, i := range order[:head] {
		scope = append(scope, int32(d.parents[i]))
	}
	reached := x.accumulator(n, v, head == len(order))
	x.families = append(x.families, family{append(scope, reached), v, order[:head], first})
	for k, i := range order[head:] {
		next := x.accumulator(n, v, head+k+1 == len(order))
		x.families = append(x.families, family{[]int32{reached, int32(d.parents[i]), next}, v, order[head+k : head+k+1], step})
		reached = next
	}
}

func (x *expansion) accumulator(n *Network, v VarID, last bool) int32 {
	if last {
		return int32(v)
	}
	return x.add(n.cards[v], v)
}

// internal turns ids into positions of the expanded network.
func internal(vs []VarID) []int32 {
	out := make([]int32, len(vs), len(vs)+1)
	for i, v := range vs {
		out[i] = int32(v)
	}
	return out
}
