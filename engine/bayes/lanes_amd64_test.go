package bayes

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The loops for the processor's vectors are held to those in Go, to the last digit, over blocks and rows of small
// shapes.
func TestVectorsGiveTheSameDigits(t *testing.T) {
	if !vectors {
		t.Skip("this processor has no AVX")
	}
	r := rand.New(rand.NewPCG(8, 3))
	some := func(n int) []lanes {
		m := make([]lanes, n)
		for i := range m {
			for j := range m[i] {
				m[i][j] = r.Float64()
			}
		}
		return m
	}
	places := func(n int) []int32 {
		p := make([]int32, n)
		for i, x := range r.Perm(n) {
			p[i] = int32(x)
		}
		return p
	}
	for in := range 12 {
		for out := range 12 {
			table := make([]float64, in*out)
			for i := range table {
				table[i] = r.Float64()
			}
			src, dst := some(in), some(out)
			want, got := append([]lanes(nil), dst...), append([]lanes(nil), dst...)
			enter, leave := places(in), places(out)
			crossRowsPlain(want, src, table, enter, leave, 1, in)
			crossRowsAVX(got, src, table, enter, leave, 1, in)
			crossRowsPlain(want, src, table, enter, leave, out, 1)
			crossRowsAVX(got, src, table, enter, leave, out, 1)
			require.Equal(t, want, got, "%d to %d", in, out)

			p := &pairs{}
			for _, o := range leave {
				for i := range in {
					if r.IntN(3) > 0 {
						p.in, p.value = append(p.in, int32(i)), append(p.value, r.Float64())
					}
				}
				p.rows = append(p.rows, row{o, int32(len(p.in))})
			}
			gatherPairsPlain(want, src, p.rows, p.in, p.value)
			gatherPairsAVX(got, src, p.rows, p.in, p.value)
			require.Equal(t, want, got, "pairs of %d and %d", in, out)
			want, got = append([]lanes(nil), src...), append([]lanes(nil), src...)
			scatterPairsPlain(want, dst, p.rows, p.in, p.value)
			scatterPairsAVX(got, dst, p.rows, p.in, p.value)
			require.Equal(t, want, got, "pairs of %d and %d, back", in, out)

			var total lanes
			sumLanesAVX(dst, &total)
			require.Equal(t, sumLanesPlain(dst), total)
		}
	}
}
