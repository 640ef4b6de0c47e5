package knowledge

import (
	"math"
	"slices"
)

// levels are the joint normal distributions of a group's readings, one for each configuration of what they depend on.
// They follow from the installation alone.
type levels struct {
	mean []float64 // [configuration][reading]
	cov  []float64 // [configuration][reading][reading]
}

// levelsOf works them out for all groups.
func (f *files) levelsOf(groups []*readingGroup, s *situation) []levels {
	out := make([]levels, len(groups))
	for i, g := range groups {
		f.configurations(g.names, func(at map[string]string) { f.joint(g.readings, at, s, &out[i]) })
	}
	return out
}

// explain reports whether some configuration makes a reading noticeably denser than an outlier is. A reading that none
// explains is left out: it would shift odds by a few hundredths at most, but cast doubt on the readings beside it.
func (l *levels) explain(g *readingGroup, i int, x []float64) bool {
	r := g.readings[i]
	return slices.Max(l.likelihood(g, []int{i}, x)) >= 1.05*r.doubt*r.outlier()
}

// likelihood is the density of some of a group's readings, by their positions in it, in each configuration. x holds the
// values by position. Each reading may be an outlier with the chance that its file gives. Of the ways in which several
// could be, those with none, one and all are summed; the others are of second order in the doubt and never decide
// between configurations.
func (l *levels) likelihood(g *readingGroup, which []int, x []float64) []float64 {
	n := len(g.readings)
	sound, off := 1.0, 1.0
	for _, i := range which {
		r := g.readings[i]
		sound *= 1 - r.doubt
		off *= r.doubt * r.outlier()
	}
	d := &density{n: n, x: x, factor: make([]float64, len(which)*len(which)), z: make([]float64, len(which)),
		keep: make([]int, len(which))}
	table := make([]float64, len(l.mean)/n)
	for c := range table {
		d.mean, d.cov = l.mean[c*n:(c+1)*n], l.cov[c*n*n:(c+1)*n*n]
		total := off + sound*d.normal(which, -1)
		for k, i := range which {
			if len(which) == 1 {
				break
			}
			r := g.readings[i]
			total += sound / (1 - r.doubt) * r.doubt * r.outlier() * d.normal(which, k)
		}
		table[c] = total
	}
	return table
}

// density works out densities of one normal distribution.
type density struct {
	n         int
	mean, cov []float64
	x         []float64
	factor, z []float64
	keep      []int
}

// normal is the density of some values of x without the one at the position skip (−1: all), by Cholesky
// factorisation.
func (d *density) normal(which []int, skip int) float64 {
	keep := d.keep[:0]
	for k, i := range which {
		if k != skip {
			keep = append(keep, i)
		}
	}
	n := len(keep)
	logDensity := -0.5 * float64(n) * math.Log(2*math.Pi)
	product := 1.0 // of the diagonal, whose logarithm is taken once
	for a, i := range keep {
		row := d.factor[a*n : a*n+a+1]
		rest := d.x[i] - d.mean[i]
		for b := 0; b <= a; b++ {
			sum := d.cov[i*d.n+keep[b]]
			for k := 0; k < b; k++ {
				sum -= row[k] * d.factor[b*n+k]
			}
			if b < a {
				row[b] = sum / d.factor[b*n+b]
			} else {
				row[a] = math.Sqrt(max(sum, 1e-12))
			}
		}
		for k := 0; k < a; k++ {
			rest -= row[k] * d.z[k]
		}
		d.z[a] = rest / row[a]
		logDensity -= 0.5 * d.z[a] * d.z[a]
		product *= row[a]
	}
	return math.Exp(logDensity) / product
}
