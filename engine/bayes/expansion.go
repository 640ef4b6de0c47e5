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
	table func() []float64 // row-major in the order of scope; called once, for the expansion that is kept
}

func (f family) child() int32 { return f.scope[len(f.scope)-1] }

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
			scope := append(internal(d.parents), int32(v))
			x.families = append(x.families, family{scope, func() []float64 { return d.table }})
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
	var links [][][]float64
	var scope []int32
	for _, i := range order[:head] {
		links = append(links, d.links[i])
		scope = append(scope, int32(d.parents[i]))
	}
	reached := x.accumulator(n, v, head == len(order))
	x.families = append(x.families, family{append(scope, reached), func() []float64 { return firstTable(d.leak, links) }})
	for k, i := range order[head:] {
		next := x.accumulator(n, v, head+k+1 == len(order))
		table := func() []float64 { return stepTable(n.cards[v], d.links[i]) }
		x.families = append(x.families, family{[]int32{reached, int32(d.parents[i]), next}, table})
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
