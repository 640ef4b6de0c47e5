package bayes

import (
	"slices"
	"sync"
)

// Within a clique, what arrives on one side and what leaves on another are tied by the clique's product, summed to the
// two scopes together. Such a bridge turns one vector into another: out = Σ bridge × in. It is laid out for that one
// purpose, whatever the order of the tree's tables is, and serves both ways. Several clamps cross at once, because
// reading the table costs more than the arithmetic.

// end is one end of a bridge: a separator or a single variable. Its key is the edge, or the variable counted on from
// the number of edges; skip is the neighbour behind a separator, whose message does not belong to the bridge.
type end struct {
	key, skip int32
	scope     []int32
	plan      *plan    // how it lies in the clique
	without   *finding // that does not belong to the bridge
}

func (t *JoinTree) variableEnd(v VarID) end {
	return end{key: int32(t.edges) + int32(v), skip: -1, scope: t.alone[v : v+1], plan: t.homePlan[v]}
}

// linkEnd is the end at the separator over which an edge leaves a clique for another.
func (t *JoinTree) linkEnd(e, to int32, separator []int32) end {
	return end{key: e, skip: to, scope: separator, plan: t.leaving[e]}
}

// findingEnd is the end at the variables of a finding, which is itself left out.
func (t *JoinTree) findingEnd(f placed) end {
	key, scope := int32(t.edges)+int32(len(t.alone)), t.alone
	if f.joint >= 0 {
		key, scope = key+int32(len(t.alone)+f.joint), internal(t.together[f.joint].variables)
	} else {
		key, scope = key+int32(f.variable), scope[f.variable:f.variable+1]
	}
	return end{key: key, skip: -1, scope: scope, plan: f.plan, without: f.finding}
}

// layout is the order of the entries of a bridge: [both][out][in]. The variables fall into those of the incoming end
// only, those of the outgoing end only, and those of both, with in, out and both entries.
type layout struct {
	whole         *plan   // the scope of the bridge within its clique
	entries       []int32 // from the order of the tree to that of the bridge
	enter, leave  []int32 // the same for the two ends
	in, out, both int
}

func (t *JoinTree) newLayout(clique int32, in, out end) *layout {
	l := &layout{in: 1, out: 1, both: 1}
	var union, onlyIn, onlyOut, both []int32
	for _, v := range t.cliques[clique].scope {
		enters, leaves := slices.Contains(in.scope, v), slices.Contains(out.scope, v)
		switch {
		case enters && leaves:
			both = append(both, v)
			l.both *= t.x.cards[v]
		case enters:
			onlyIn = append(onlyIn, v)
			l.in *= t.x.cards[v]
		case leaves:
			onlyOut = append(onlyOut, v)
			l.out *= t.x.cards[v]
		default:
			continue
		}
		union = append(union, v)
	}
	l.whole = t.plan(&t.cliques[clique], union)
	source, target := slices.Concat(both, onlyIn), slices.Concat(both, onlyOut)
	l.entries = positions(union, slices.Concat(both, onlyOut, onlyIn), t.x.cards)
	l.enter = positions(sortedBy(source, t.rank), source, t.x.cards)
	l.leave = positions(sortedBy(target, t.rank), target, t.x.cards)
	return l
}

// bridge is a laid out table. It is made once for the findings and crossed by every clamp, from either end.
type bridge struct {
	*layout          // of the entries that the findings leave
	whole    *layout // of all entries, which depends on the tree alone
	kept     layout  // room for the former
	table    []float64
	findings int64 // for which it was made

	all  *pairs // instead of the above in a clique of which only some entries are kept: of all entries,
	some pairs  // and of those that the findings leave
}

// spans are the bridges' layouts, by their ends. They depend on the tree's shape alone, so that all queries share them.
type spans struct {
	mu sync.Mutex
	of map[[2]int32]*bridge
}

// bridge gives a bridge without a table between two ends, the one of the lower key first.
func (t *JoinTree) bridge(clique int32, in, out end) *bridge {
	t.spans.mu.Lock()
	defer t.spans.mu.Unlock()
	key := [2]int32{in.key, out.key}
	b := t.spans.of[key]
	if b == nil {
		b = t.newBridge(clique, in, out)
		t.spans.of[key] = b
	}
	return &bridge{whole: b.whole, all: b.all}
}

func (t *JoinTree) newBridge(clique int32, in, out end) *bridge {
	if t.cliques[clique].kept != nil {
		return &bridge{all: newPairs(in.plan, out.plan)}
	}
	return &bridge{whole: t.newLayout(clique, in, out)}
}

// build fills the bridge from the product of its clique, on any scale.
func (b *bridge) build(product []float64, scratch *[]float64) {
	if b.all != nil {
		b.some.fill(b.all, product)
		return
	}
	b.layout = b.whole
	sums, plan := product, b.whole.whole
	if plan.small < len(product) {
		sums = (*scratch)[:plan.small]
		plan.sumOut(sums, product)
	}
	b.table = slices.Grow(b.table[:0], len(sums))[:len(sums)]
	for i, p := range b.entries {
		b.table[i] = sums[p]
	}
	if level(b.table) {
		b.drop()
	}
}

// drop leaves out the rows, columns and blocks of zeros, which hard findings make. What is left are the same sums to
// the last bit, for only zeros were added.
func (b *bridge) drop() {
	l := b.layout
	both, out, in := make([]bool, l.both), make([]bool, l.out), make([]bool, l.in)
	at := 0
	for k := range both {
		for o := range out {
			for i, x := range b.table[at : at+l.in] {
				if x > 0 {
					both[k], out[o], in[i] = true, true, true
				}
			}
			at += l.in
		}
	}
	blocks, rows, columns := indices(both), indices(out), indices(in)
	if len(blocks)*len(rows)*len(columns) == len(b.table) {
		return
	}
	kept := &b.kept
	*kept = layout{in: len(columns), out: len(rows), both: len(blocks), enter: kept.enter[:0], leave: kept.leave[:0]}
	table := b.table[:0] // entries only move forward
	for _, k := range blocks {
		for _, o := range rows {
			row := b.table[(k*l.out+o)*l.in:]
			kept.leave = append(kept.leave, l.leave[k*l.out+o])
			for _, i := range columns {
				table = append(table, row[i])
			}
		}
		for _, i := range columns {
			kept.enter = append(kept.enter, l.enter[k*l.in+i])
		}
	}
	b.layout, b.table = kept, table
}

// indices lists where the set has members.
func indices(set []bool) (list []int) {
	for i, member := range set {
		if member {
			list = append(list, i)
		}
	}
	return list
}

// carry adds to dst what leaves when src arrives, or the other way round if back.
func (b *bridge) carry(dst, src []lanes, back bool) {
	if b.all != nil {
		b.some.carry(dst, src, back)
		return
	}
	enter, leave, in, out, stepIn, stepOut := b.enter, b.leave, b.in, b.out, 1, b.in
	if back {
		enter, leave, in, out, stepIn, stepOut = leave, enter, out, in, b.in, 1
	}
	for k := range b.both {
		table := b.table[k*in*out : (k+1)*in*out]
		crossRows(dst, src, table, enter[k*in:(k+1)*in], leave[k*out:(k+1)*out], stepIn, stepOut)
	}
}

// dot is the inner product of two vectors of one length, in four interleaved lanes.
func dot(x, y []float64) float64 {
	var a, b, c, d float64
	for len(x) >= 4 && len(y) >= 4 {
		a += x[0] * y[0]
		b += x[1] * y[1]
		c += x[2] * y[2]
		d += x[3] * y[3]
		x, y = x[4:], y[4:]
	}
	for i, v := range x {
		a += v * y[i]
	}
	return (a + b) + (c + d)
}
