package bayes

import "slices"

// Within a clique, what arrives on one side and what leaves on another are tied by the clique's product, summed to the
// two scopes together. Such a bridge turns one vector into another: out = Σ bridge × in. It is laid out for that one
// purpose, whatever the order of the tree's tables is.

// end is one end of a bridge: a separator or a single variable. Its key is the edge, or the variable counted on from
// the number of edges; skip is the neighbour behind a separator, whose message does not belong to the bridge.
type end struct {
	key, skip int32
	scope     []int32
}

func (t *JoinTree) variableEnd(v VarID) end {
	return end{key: int32(t.edges) + int32(v), skip: -1, scope: []int32{int32(v)}}
}

// layout is the order of the entries of a bridge. The variables fall into those of the incoming end only, those of the
// outgoing end only, and those of both, with in, out and both entries.
type layout struct {
	whole         *plan   // the scope of the bridge within its clique
	entries       []int32 // from the order of the tree to that of the bridge
	enter, leave  []int32 // the same for the two ends
	in, out, both int
	cross         func(l *layout, dst, table, src []float64)
}

// newLayout makes the longest of the three groups the fastest, because the inner loop runs over it.
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
	l.whole = t.plan(t.cliques[clique].scope, union)
	order := slices.Concat(both, onlyIn, onlyOut)
	source, target := slices.Concat(both, onlyIn), slices.Concat(both, onlyOut)
	l.cross = crossByOut
	switch longest := max(l.in, l.out, l.both); {
	case l.both == longest:
		order = slices.Concat(onlyIn, onlyOut, both)
		source, target = slices.Concat(onlyIn, both), slices.Concat(onlyOut, both)
		l.cross = crossByBoth
	case l.in == longest:
		order = slices.Concat(both, onlyOut, onlyIn)
		l.cross = crossByIn
	}
	l.entries = positions(union, order, t.x.cards)
	l.enter = positions(sortedBy(source, t.rank), source, t.x.cards)
	l.leave = positions(sortedBy(target, t.rank), target, t.x.cards)
	return l
}

// crossByBoth crosses a bridge of order [in][out][both].
func crossByBoth(l *layout, dst, table, src []float64) {
	for ; len(src) > 0; src = src[l.both:] {
		s := src[:l.both]
		for d := dst; len(d) > 0; d = d[len(s):] {
			row, sums := table[:len(s)], d[:len(s)]
			for i, x := range s {
				sums[i] += row[i] * x
			}
			table = table[len(s):]
		}
	}
}

// crossByIn crosses a bridge of order [both][out][in].
func crossByIn(l *layout, dst, table, src []float64) {
	for ; len(src) > 0; src = src[l.in:] {
		s := src[:l.in]
		for o := range l.out {
			dst[o] += dot(table[:len(s)], s)
			table = table[len(s):]
		}
		dst = dst[l.out:]
	}
}

// crossByOut crosses a bridge of order [both][in][out].
func crossByOut(l *layout, dst, table, src []float64) {
	for range l.both {
		sums := dst[:l.out]
		for _, x := range src[:l.in] {
			row := table[:len(sums)]
			for o, k := range row {
				sums[o] += k * x
			}
			table = table[len(sums):]
		}
		src, dst = src[l.in:], dst[l.out:]
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

// bridge is a laid out table. It is made once and crossed by every clamp that arrives at the same end.
type bridge struct {
	*layout
	from  int32
	table []float64
}

// build fills the bridge from the product of its clique, scaled by a power of two.
func (b *bridge) build(product, scratch []float64) {
	sums := scratch[:b.whole.small]
	b.whole.sumOut(sums, product)
	rescale(sums)
	b.table = slices.Grow(b.table[:0], len(sums))[:len(sums)]
	for i, p := range b.entries {
		b.table[i] = sums[p]
	}
}

// carry sets dst to what leaves when src arrives.
func (b *bridge) carry(dst, src, scratch []float64) {
	if len(src) != len(b.enter) || len(dst) != len(b.leave) {
		panic("bayes: bridge of another size")
	}
	s, d := scratch[:len(src)], scratch[len(src):len(src)+len(dst)]
	for i, p := range b.enter {
		s[i] = src[p]
	}
	clear(d)
	b.cross(b.layout, d, b.table, s)
	for i, p := range b.leave {
		dst[p] = d[i]
	}
}
