package physics

import "slices"

// point is a row of a published table.
type point struct{ x, y float64 }

// curve is a table with x ascending, read by straight lines between its rows.
type curve []point

// at holds the first or last value beyond the ends.
func (c curve) at(x float64) float64 {
	i, _ := slices.BinarySearchFunc(c, x, func(p point, x float64) int {
		switch {
		case p.x < x:
			return -1
		case p.x > x:
			return 1
		}
		return 0
	})
	switch {
	case i == 0:
		return c[0].y
	case i == len(c):
		return c[i-1].y
	}
	a, b := c[i-1], c[i]
	return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
}

// inverse swaps the axes; y must ascend too.
func (c curve) inverse() curve {
	swapped := make(curve, len(c))
	for i, p := range c {
		swapped[i] = point{p.y, p.x}
	}
	return swapped
}

// halvings bring an interval down to rounding: 2^-60 of its width.
const halvings = 60

// crossing is where an increasing function passes zero between low and high, by halving the interval a fixed number of
// times. It is the nearer end if the function does not pass zero there.
func crossing(low, high float64, f func(float64) float64) float64 {
	for range halvings {
		if mid := low + (high-low)/2; f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low + (high-low)/2
}
