package bayes

import (
	"fmt"
	"math"
	"slices"
)

// distribution is P(child | parents). It is either one full table, rows over the parents with the last parent fastest
// and the child's states fastest of all, or, when links is set, the maximum of independent contributions.
type distribution struct {
	parents []VarID
	table   []float64
	links   [][][]float64 // [parent][parent state][child state]
	leak    []float64     // [child state]; what happens with no contribution
	compute Compute       // makes the table from the context of a query
}

// factored says whether the distribution is kept as contributions rather than as one table.
func (d *distribution) factored() bool { return d.links != nil }

// clone copies all numbers.
func (d *distribution) clone() distribution {
	c := *d
	c.table, c.leak = slices.Clone(d.table), slices.Clone(d.leak)
	c.links = slices.Clone(d.links)
	for i, link := range c.links {
		c.links[i] = slices.Clone(link)
		for s, row := range link {
			c.links[i][s] = slices.Clone(row)
		}
	}
	return c
}

// maxOf writes the distribution of the larger of two independent variables to dst. Only positive terms are added, so
// small probabilities keep their relative precision. dst may be x or y.
func maxOf(dst, x, y []float64) {
	var belowX, belowY float64
	for k := range dst {
		xk, yk := x[k], y[k]
		dst[k] = xk*yk + xk*belowY + belowX*yk
		belowX += xk
		belowY += yk
	}
}

// firstTable is P(accumulator | the parents of links): the leak joined with the given contributions, rows over the
// parents in order.
func firstTable(leak []float64, links [][][]float64) []float64 {
	rows := [][]float64{leak}
	for _, link := range links {
		next := make([][]float64, 0, len(rows)*len(link))
		for _, row := range rows {
			for _, contribution := range link {
				joined := make([]float64, len(leak))
				maxOf(joined, row, contribution)
				next = append(next, joined)
			}
		}
		rows = next
	}
	table := make([]float64, 0, len(rows)*len(leak))
	for _, row := range rows {
		table = append(table, row...)
	}
	return table
}

// stepTable is P(next accumulator | accumulator, parent): the maximum of what was reached so far and what this parent
// contributes, rows over (accumulator, parent state).
func stepTable(states int, link [][]float64) []float64 {
	table := make([]float64, 0, states*len(link)*states)
	point := make([]float64, states)
	for reached := range states {
		clear(point)
		point[reached] = 1
		for _, contribution := range link {
			row := make([]float64, states)
			maxOf(row, point, contribution)
			table = append(table, row...)
		}
	}
	return table
}

// wholeTable is the distribution of v as one full table, whatever it is kept as. It fails for a noisy family of more
// than maxAnswer entries.
func (n *Network) wholeTable(v VarID) ([]float64, error) {
	d := &n.dists[v]
	if !d.factored() {
		return d.table, nil
	}
	entries := n.cards[v]
	for _, p := range d.parents {
		entries *= n.cards[p]
		if entries > maxAnswer {
			return nil, fmt.Errorf("the full table of the noisy family of %q has more than %d entries", n.variables[v].Name,
				maxAnswer)
		}
	}
	table := firstTable(d.leak, d.links)
	for row := range slices.Chunk(table, n.cards[v]) {
		scaleRow(row)
	}
	return table, nil
}

// probability is P(v | its parents) with all variables in the given states.
func (n *Network) probability(v VarID, states []int) float64 {
	d := &n.dists[v]
	if d.factored() {
		row := slices.Clone(d.leak)
		for i, p := range d.parents {
			maxOf(row, row, d.links[i][states[p]])
		}
		return row[states[v]]
	}
	entry := 0
	for _, p := range d.parents {
		entry = entry*n.cards[p] + states[p]
	}
	return d.table[entry*n.cards[v]+states[v]]
}

// scaleRow divides a distribution by its sum. One that is as near to one as division would bring it is left alone, so
// that scaling twice is scaling once and a network survives being written and read to the last bit: summing and
// dividing n numbers errs by less than n units of 2^-52.
func scaleRow(p []float64) {
	sum := 0.0
	for _, x := range p {
		sum += x
	}
	if math.Abs(sum-1) <= float64(len(p))*0x1p-52 {
		return
	}
	for i := range p {
		p[i] /= sum
	}
}
