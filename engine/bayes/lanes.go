package bayes

// lanes holds one entry of several clamps, each in its own lane. No lane ever looks at another, so that what a clamp
// gives doesn't depend on its company.
type lanes [8]float64

// half is as many lanes as an ordinary processor keeps in registers for two sums at once.
type half = [4]float64

// The loops over lanes are nearly all of the work of a clamp. Where the processor takes four lanes in one instruction,
// they are written for that, and else in Go. Both do the same operations in the same order, so that the answers are the
// same to the last digit, unless a compiler rounds a product and a sum only once.

// crossRowsPlain adds to dst what leaves when src arrives, over a block of a bridge: at leave[o], the sum over i of
// table[o·stepOut + i·stepIn] times src at enter[i].
func crossRowsPlain(dst, src []lanes, table []float64, enter, leave []int32, stepIn, stepOut int) {
	for h := 0; h < len(lanes{}); h += len(half{}) {
		o := 0
		for ; o+1 < len(leave); o += 2 {
			var a0, a1, a2, a3, b0, b1, b2, b3 float64
			at := o * stepOut
			for _, i := range enter {
				s, x, y := (*half)(src[i][h:]), table[at], table[at+stepOut]
				a0 += x * s[0]
				a1 += x * s[1]
				a2 += x * s[2]
				a3 += x * s[3]
				b0 += y * s[0]
				b1 += y * s[1]
				b2 += y * s[2]
				b3 += y * s[3]
				at += stepIn
			}
			addHalf((*half)(dst[leave[o]][h:]), a0, a1, a2, a3)
			addHalf((*half)(dst[leave[o+1]][h:]), b0, b1, b2, b3)
		}
		if o < len(leave) {
			var a half
			at := o * stepOut
			for _, i := range enter {
				for j, s := range (*half)(src[i][h:]) {
					a[j] += table[at] * s
				}
				at += stepIn
			}
			addHalf((*half)(dst[leave[o]][h:]), a[0], a[1], a[2], a[3])
		}
	}
}

func addHalf(d *half, a0, a1, a2, a3 float64) {
	d[0] += a0
	d[1] += a1
	d[2] += a2
	d[3] += a3
}

// gatherPairsPlain adds to dst[r.out], for each row, the sum of its values times src at in.
func gatherPairsPlain(dst, src []lanes, rows []row, in []int32, value []float64) {
	begin := int32(0)
	for _, r := range rows {
		d := &dst[r.out]
		for h := 0; h < len(lanes{}); h += len(half{}) {
			var a0, a1, a2, a3 float64
			for k := begin; k < r.end; k++ {
				x, s := value[k], (*half)(src[in[k]][h:])
				a0 += x * s[0]
				a1 += x * s[1]
				a2 += x * s[2]
				a3 += x * s[3]
			}
			addHalf((*half)(d[h:]), a0, a1, a2, a3)
		}
		begin = r.end
	}
}

// scatterPairsPlain adds to dst, at the places in of each row, its values times src[r.out].
func scatterPairsPlain(dst, src []lanes, rows []row, in []int32, value []float64) {
	begin := int32(0)
	for _, r := range rows {
		s := &src[r.out]
		for h := 0; h < len(lanes{}); h += len(half{}) {
			s0, s1, s2, s3 := s[h], s[h+1], s[h+2], s[h+3]
			for k := begin; k < r.end; k++ {
				x := value[k]
				addHalf((*half)(dst[in[k]][h:]), x*s0, x*s1, x*s2, x*s3)
			}
		}
		begin = r.end
	}
}

// sumLanesPlain is the total of each lane.
func sumLanesPlain(m []lanes) (total lanes) {
	for h := 0; h < len(lanes{}); h += len(half{}) {
		var a, b, c, d float64
		for i := range m {
			x := (*half)(m[i][h:])
			a, b, c, d = a+x[0], b+x[1], c+x[2], d+x[3]
		}
		total[h], total[h+1], total[h+2], total[h+3] = a, b, c, d
	}
	return total
}
