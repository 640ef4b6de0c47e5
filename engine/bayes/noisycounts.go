package bayes

// A noisy family has hidden parts, the contributions of its links and of the leak. Each table of its chain holds the
// maximum of some of them. Given the states around such a table, a contribution is distributed as it would be with the
// maximum known, and that is all that expected counts need: the family is never expanded.

// NoisyCounts are expected numbers of contributions to a noisy family, laid out as in Builder.NoisyMax.
type NoisyCounts struct {
	Links [][][]float64 // [link][parent state][child state]
	Leak  []float64     // [child state]
}

// newNoisyCounts gives zero counts in the shape of d.
func newNoisyCounts(d *distribution) *NoisyCounts {
	shape := d.clone()
	clear(shape.leak)
	for _, link := range shape.links {
		for _, row := range link {
			clear(row)
		}
	}
	return &NoisyCounts{shape.links, shape.leak}
}

// fits says whether the counts have the shape of d.
func (c *NoisyCounts) fits(d *distribution) bool {
	if len(c.Links) != len(d.links) || len(c.Leak) != len(d.leak) {
		return false
	}
	for i, link := range c.Links {
		if len(link) != len(d.links[i]) {
			return false
		}
		for _, row := range link {
			if len(row) != len(d.leak) {
				return false
			}
		}
	}
	return true
}

// gather adds the expected contributions of one table of a chain, whose posterior is given in the order of its scope.
func (c *NoisyCounts) gather(f family, d *distribution, posterior []float64, weight float64) {
	width := f.top
	reached := make([]float64, width)
	rows, counts := [][]float64{d.leak}, [][]float64{c.Leak}
	cards := make([]int, len(f.links)+1)
	cards[0] = 1
	if f.part == step {
		rows[0], counts[0] = reached, make([]float64, width) // what was reached before has been counted where it was
		cards[0] = width
	}
	for i, l := range f.links {
		cards[i+1] = len(d.links[l])
		rows, counts = append(rows, nil), append(counts, nil)
	}
	for at := 0; at < len(posterior); at += width {
		rest := at / width
		for i := len(f.links); i > 0; i-- {
			state := rest % cards[i]
			rest /= cards[i]
			l := f.links[i-1]
			rows[i], counts[i] = d.links[l][state], c.Links[l][state]
		}
		if f.part == step {
			clear(reached)
			reached[rest] = 1
		}
		for highest, p := range posterior[at : at+width] {
			if p > 0 {
				share(rows, highest, weight*p, counts)
			}
		}
	}
}

// share distributes a count over independent contributions whose maximum is known: contribution i is c < highest where
// the others reach it, and highest where they don't exceed it.
func share(rows [][]float64, highest int, count float64, counts [][]float64) {
	for i, row := range rows {
		var below, at float64 // the others' maximum is below highest; is highest
		at, below = 0, 1
		for k, other := range rows {
			if k == i {
				continue
			}
			under := sum(other[:highest])
			at = at*(under+other[highest]) + below*other[highest]
			below *= under
		}
		total := row[highest] * (at + below)
		for _, x := range row[:highest] {
			total += x * at
		}
		if total == 0 {
			continue // the posterior of such a combination is rounding alone
		}
		for c, x := range row[:highest] {
			counts[i][c] += count * (x * at / total)
		}
		counts[i][highest] += count * (row[highest] * (at + below) / total)
	}
}
