package bayes

import "slices"

// In a clique of which only some entries are kept, few of the pairs of an incoming and an outgoing entry have anything
// between them. Such a bridge lists them, by outgoing entry.

// pairs is a list of pairs of places at the two ends of a bridge, ordered by the outgoing place and then the incoming
// one.
type pairs struct {
	rows  []row
	in    []int32 // [pair]
	of    []int32 // [entry kept] its pair
	value []float64

	ownRows []row // room for rows and in where they are not shared
	ownIn   []int32
}

// row is the pairs of one outgoing place: those from where the row before it ends.
type row struct{ out, end int32 }

// newPairs lists the pairs of a clique's entries, whose places at the ends are given.
func newPairs(in, out *plan) *pairs {
	byIn := countingSort(nil, in.at, in.small)
	order := countingSort(byIn, out.at, out.small)
	p := &pairs{of: make([]int32, len(in.at))}
	for _, k := range order {
		i, o := in.at[k], out.at[k]
		switch last := len(p.rows) - 1; {
		case last < 0 || p.rows[last].out != o:
			p.rows = append(p.rows, row{out: o})
			p.in = append(p.in, i)
		case p.in[len(p.in)-1] != i:
			p.in = append(p.in, i)
		}
		p.of[k] = int32(len(p.in) - 1)
		p.rows[len(p.rows)-1].end = int32(len(p.in))
	}
	return p
}

// countingSort orders entries by their places, and those of one place as they were; order nil is their own order.
func countingSort(order, places []int32, n int) []int32 {
	starts := make([]int32, n+1)
	for _, p := range places {
		starts[p+1]++
	}
	for i := range n {
		starts[i+1] += starts[i]
	}
	out := make([]int32, len(places))
	for k := range places {
		e := int32(k)
		if order != nil {
			e = order[k]
		}
		out[starts[places[e]]] = e
		starts[places[e]]++
	}
	return out
}

// fill sums a clique's product into the pairs, on any scale, and leaves out those that the findings make zero. Where
// there are none, the list of all pairs serves.
func (p *pairs) fill(whole *pairs, product []float64) {
	p.value = slices.Grow(p.value[:0], len(whole.in))[:len(whole.in)]
	clear(p.value)
	addAt(p.value, product, whole.of)
	p.rows, p.in = whole.rows, whole.in
	if level(p.value) {
		p.drop(whole)
	}
}

func (p *pairs) drop(whole *pairs) {
	rows := slices.Grow(p.ownRows[:0], len(whole.rows))[:len(whole.rows)]
	in := slices.Grow(p.ownIn[:0], len(whole.in))[:len(whole.in)]
	value := p.value // entries only move forward
	begin, n, kept := int32(0), 0, 0
	for _, r := range whole.rows {
		before := n
		for k := begin; k < r.end; k++ {
			x := value[k]
			if in[n], value[n] = whole.in[k], x; x > 0 {
				n++
			}
		}
		begin = r.end
		if rows[kept] = (row{r.out, int32(n)}); n > before {
			kept++
		}
	}
	p.ownRows, p.ownIn = rows, in
	p.rows, p.in, p.value = rows[:kept], in[:n], value[:n]
}

// carry adds to dst what leaves when src arrives, or the other way round if back.
func (p *pairs) carry(dst, src []lanes, back bool) {
	if back {
		scatterPairs(dst, src, p.rows, p.in, p.value)
		return
	}
	gatherPairs(dst, src, p.rows, p.in, p.value)
}
