package bayes

import (
	"math"
	"slices"
)

// A table over some variables is row-major with the last variable fastest. Within a compiled tree all scopes follow
// one common order, so a small scope lies inside a large one as alternating runs of kept and summed variables.

// plan says how a table over a part of a scope lies inside a table over the whole scope. The large table is cut into
// blocks of mid rows of run entries. Either the run is kept in the small table (kept) and the rows of a block share
// it, or the run is summed out and the rows of a block are neighbours in the small table.
type plan struct {
	outer    []int32 // where each block begins in the small table
	mid, run int
	kept     bool
	small    int // entries of the small table

	at []int32 // [entry of the large table] its place in the small one, where not all entries are kept; else nil
}

// newPlan fits a part into a whole. inPart[i] says whether variable i of the whole, with cards[i] states, is in the
// part.
func newPlan(cards []int, inPart []bool) *plan {
	p := &plan{mid: 1, run: 1, small: 1}
	i := len(cards) - 1
	if i >= 0 {
		p.kept = inPart[i]
	}
	for ; i >= 0 && inPart[i] == p.kept; i-- {
		p.run *= cards[i]
	}
	for ; i >= 0 && inPart[i] != p.kept; i-- {
		p.mid *= cards[i]
	}
	if p.kept {
		p.small = p.run
	} else {
		p.small = p.mid
	}
	p.outer = []int32{0}
	for ; i >= 0; i-- {
		p.widen(cards[i], inPart[i])
	}
	return p
}

// widen puts one more, slower, variable in front.
func (p *plan) widen(card int, kept bool) {
	inner := len(p.outer)
	for s := 1; s < card; s++ {
		for _, o := range p.outer[:inner] {
			if kept {
				o += int32(s * p.small)
			}
			p.outer = append(p.outer, o)
		}
	}
	if kept {
		p.small *= card
	}
}

// multiply sets dst = src × part, dst and src over the whole scope; dst may be src.
func (p *plan) multiply(dst, src, part []float64) {
	if p.at != nil {
		multiplyAt(dst, src, part, p.at)
		return
	}
	var room [tile]float64
	block := p.mid * p.run
	k := 0
	for _, o := range p.outer {
		d, s := dst[k:k+block], src[k:k+block]
		if p.kept {
			multiplyRows(d, s, repeat(&room, part[o:int(o)+p.run], block))
		} else {
			multiplyScaled(d, s, part[o:int(o)+p.mid], p.run)
		}
		k += block
	}
}

// tile is how long short rows are made by repetition before they are swept over a block. A sweep of a few entries costs
// more to start than to run.
const tile = 64

// repeat fills room with copies of the row as long as a block has use for them.
func repeat(room *[tile]float64, row []float64, block int) []float64 {
	if 2*len(row) > tile || 2*len(row) > block {
		return row
	}
	n := copy(room[:], row)
	for 2*n <= tile && block%(2*n) == 0 {
		n += copy(room[n:2*n], room[:n])
	}
	return room[:n]
}

// multiplyAt multiplies each entry of src by the factor at its place.
func multiplyAt(dst, src, factors []float64, at []int32) {
	dst, src = dst[:len(at)], src[:len(at)]
	for i, p := range at {
		dst[i] = src[i] * factors[p]
	}
}

// addAt adds each entry of src to the sum at its place.
func addAt(sums, src []float64, at []int32) {
	src = src[:len(at)]
	for i, p := range at {
		sums[p] += src[i]
	}
}

// multiplyRows multiplies each row of src by the same row of factors.
func multiplyRows(dst, src, row []float64) {
	for len(dst) > 0 {
		d, s := dst[:len(row)], src[:len(row)]
		for i, f := range row {
			d[i] = s[i] * f
		}
		dst, src = dst[len(row):], src[len(row):]
	}
}

// multiplyScaled multiplies run entries at a time by one factor.
func multiplyScaled(dst, src, factors []float64, run int) {
	if run == 2 {
		dst, src = dst[:2*len(factors)], src[:2*len(factors)]
		for i, f := range factors {
			dst[2*i] = src[2*i] * f
			dst[2*i+1] = src[2*i+1] * f
		}
		return
	}
	for _, f := range factors {
		d, s := dst[:run], src[:run]
		for i := range d {
			d[i] = s[i] * f
		}
		dst, src = dst[run:], src[run:]
	}
}

// sumOut sets part to the sums of src over the variables outside the part.
func (p *plan) sumOut(part, src []float64) {
	clear(part)
	if p.at != nil {
		addAt(part, src, p.at)
		return
	}
	for _, o := range p.outer {
		block := src[:p.mid*p.run]
		src = src[len(block):]
		if p.kept {
			addRows(part[o:int(o)+p.run], block)
		} else {
			addRuns(part[o:int(o)+p.mid], block, p.run)
		}
	}
}

// addRows adds every row of src to row.
func addRows(row, src []float64) {
	for len(src) > 0 {
		s := src[:len(row)]
		for i := range row {
			row[i] += s[i]
		}
		src = src[len(row):]
	}
}

// addRuns adds the sum of each run of src to its entry.
func addRuns(sums, src []float64, run int) {
	if run == 2 {
		src = src[:2*len(sums)]
		for i := range sums {
			sums[i] += src[2*i] + src[2*i+1]
		}
		return
	}
	for i := range sums {
		sums[i] += sum(src[:run])
		src = src[run:]
	}
}

// maxOut sets part to the maxima of src, which has no negative entries, over the variables outside the part.
func (p *plan) maxOut(part, src []float64) {
	clear(part)
	for i, at := range p.at {
		part[at] = max(part[at], src[i])
	}
	if p.at != nil {
		return
	}
	for _, o := range p.outer {
		block := src[:p.mid*p.run]
		src = src[len(block):]
		for k, x := range block {
			i := k / p.run
			if p.kept {
				i = k % p.run
			}
			part[int(o)+i] = max(part[int(o)+i], x)
		}
	}
}

// sum adds up x in four interleaved lanes, which is faster than one and just as repeatable.
func sum(x []float64) float64 {
	var a, b, c, d float64
	for len(x) >= 4 {
		a += x[0]
		b += x[1]
		c += x[2]
		d += x[3]
		x = x[4:]
	}
	for _, v := range x {
		a += v
	}
	return (a + b) + (c + d)
}

// extremes finds the largest entry and the smallest positive one. Both are zero for a table of zeros.
func extremes(x []float64) (low, high float64) {
	low = math.Inf(1)
	for _, v := range x {
		if v > high {
			high = v
		}
		if v > 0 && v < low {
			low = v
		}
	}
	if high == 0 {
		low = 0
	}
	return low, high
}

// rescale divides x by the power of two that brings its largest entry into [0.5, 1), and returns the exponent and the
// smallest positive entry. Powers of two keep the digits, so scaling never shows in an answer.
func rescale(x []float64) (exponent int, low float64) {
	low, high := extremes(x)
	if high == 0 {
		return 0, 1
	}
	exponent, first, second := inverse(high)
	if exponent == 0 {
		return 0, low
	}
	for i := range x {
		x[i] = x[i] * first * second
	}
	return exponent, low * first * second
}

// level keeps the largest entry away from the ends of the range, by a power of two, and reports whether there are
// zeros.
func level(x []float64) (zeros bool) {
	high := 0.0
	for _, v := range x {
		if v > high {
			high = v
		}
		zeros = zeros || v == 0
	}
	if high == 0 || high > 0x1p-100 && high < 0x1p100 {
		return zeros
	}
	_, first, second := inverse(high)
	for i := range x {
		x[i] = x[i] * first * second
	}
	return zeros
}

// inverse gives the exponent of a positive number and two powers of two which, multiplied one after the other, take it
// away. Two, because the inverse of a denormal is out of range.
func inverse(x float64) (exponent int, first, second float64) {
	_, exponent = math.Frexp(x)
	return exponent, math.Ldexp(1, -exponent/2), math.Ldexp(1, -exponent-(-exponent/2))
}

// positions gives, for each entry of a table over the variables in the order to, its position in the same table in the
// order from.
func positions(from, to []int32, cards []int) []int32 {
	return appendPositions(nil, from, to, cards)
}

func appendPositions(room, from, to []int32, cards []int) []int32 {
	strides := make([]int32, len(to))
	stride := int32(1)
	for i := len(from) - 1; i >= 0; i-- {
		if at := slices.Index(to, from[i]); at >= 0 {
			strides[at] = stride
		}
		stride *= int32(cards[from[i]])
	}
	return appendSums(room, to, strides, cards)
}

// appendSums appends the sum of the strides for every combination of states, the last variable fastest.
func appendSums(room, scope, strides []int32, cards []int) []int32 {
	size := 1
	for _, v := range scope {
		size *= cards[v]
	}
	start := len(room)
	room = append(slices.Grow(room, size), 0)
	for i := len(scope) - 1; i >= 0; i-- {
		inner := len(room)
		for s := int32(1); s < int32(cards[scope[i]]); s++ {
			for _, o := range room[start:inner] {
				room = append(room, o+s*strides[i])
			}
		}
	}
	return room
}
