package bayes

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// rowTolerance is how far a row may miss one: printed networks round to six or seven digits. The last digits are room
// for the rounding of the sum itself.
const rowTolerance = 1.000001e-6

// maxEntries is the largest table, of a family or of a clique: one gibibyte of numbers.
const maxEntries = 1 << 27

// Builder collects the variables and distributions of a network. Its zero value is ready. Mistakes are kept and all
// reported by Build.
type Builder struct {
	variables []Variable
	given     []given
}

// given is a distribution as it was handed in, to be checked and expanded by Build.
type given struct {
	child   VarID
	parents []VarID
	make    func(c *checker, child VarID, parents []VarID) distribution
}

// Link is one parent's part in a noisy-MAX.
type Link struct {
	Parent VarID
	P      [][]float64 // [parent state][child state]: what this parent alone brings about
}

// Add adds a variable and returns its id. Names must be unique, and there must be at least one state.
func (b *Builder) Add(name string, states ...string) VarID {
	b.variables = append(b.variables, Variable{name, slices.Clone(states)})
	return VarID(len(b.variables) - 1)
}

// Table gives P(child | parents) as rows over the parents, the last parent fastest, each row over the child's states.
// A row must sum to one within 1e-6 and is then divided by its sum.
func (b *Builder) Table(child VarID, parents []VarID, p []float64) {
	p = slices.Clone(p)
	b.give(child, parents, func(c *checker, child VarID, parents []VarID) distribution {
		return distribution{table: c.rows(child, parents, p)}
	})
}

// NoisyOr makes a binary child, state 1 meaning present, of binary parents that each bring it about independently:
// p[i] is P(child present | only parent i present, no leak) and leak is P(child present | no parent present).
func (b *Builder) NoisyOr(child VarID, parents []VarID, p []float64, leak float64) {
	p = slices.Clone(p)
	b.give(child, parents, func(c *checker, child VarID, parents []VarID) distribution {
		return c.noisyOr(child, parents, p, leak)
	})
}

// NoisyMax makes the child the maximum of one independent contribution per link and of the leak. The child's states
// are ordered with the normal one first; leak is a distribution over them, and nil means no leak.
func (b *Builder) NoisyMax(child VarID, links []Link, leak []float64) {
	leak = slices.Clone(leak)
	parents := make([]VarID, len(links))
	tables := make([][][]float64, len(links))
	for i, link := range links {
		parents[i] = link.Parent
		for _, row := range link.P {
			tables[i] = append(tables[i], slices.Clone(row))
		}
	}
	b.give(child, parents, func(c *checker, child VarID, parents []VarID) distribution {
		return c.noisyMax(child, parents, tables, leak)
	})
}

// Deterministic makes the child a function of its parents. Build calls f once for each combination of parent states;
// f returns the child's state and must not keep its argument.
func (b *Builder) Deterministic(child VarID, parents []VarID, f func(parentStates []int) int) {
	b.give(child, parents, func(c *checker, child VarID, parents []VarID) distribution {
		return distribution{table: c.function(child, parents, f)}
	})
}

// give keeps a distribution until Build, because its parents may get their states later.
func (b *Builder) give(child VarID, parents []VarID, f func(*checker, VarID, []VarID) distribution) {
	b.given = append(b.given, given{child, slices.Clone(parents), f})
}

// Build checks everything and returns the network, or all problems found, joined by [errors.Join].
func (b *Builder) Build() (*Network, error) {
	c := &checker{variables: b.variables}
	byName := c.names()
	dists := make([]distribution, len(b.variables))
	seen := make([]bool, len(b.variables))
	for _, g := range b.given {
		if !c.family(g, seen) {
			continue
		}
		d := g.make(c, g.child, g.parents)
		d.parents = g.parents
		dists[g.child] = d
	}
	for v, ok := range seen {
		if !ok {
			c.errorf("%s has no distribution", c.name(VarID(v)))
		}
	}
	c.cycle(dists)
	if len(c.problems) > 0 {
		return nil, errors.Join(c.problems...)
	}
	n := &Network{variables: slices.Clone(b.variables), byName: byName, dists: dists, memo: &memo{}}
	for _, v := range n.variables {
		n.cards = append(n.cards, len(v.States))
	}
	return n, nil
}

// All checking happens here, once; what comes after trusts the network. A check goes on after a problem wherever the
// rest still makes sense, because whoever writes a network wants the whole list.

// checker gathers the problems of one Build.
type checker struct {
	variables []Variable
	problems  []error
}

func (c *checker) errorf(format string, args ...any) {
	c.problems = append(c.problems, fmt.Errorf(format, args...))
}

func (c *checker) name(v VarID) string { return fmt.Sprintf("variable %q", c.variables[v].Name) }

func (c *checker) card(v VarID) int { return len(c.variables[v].States) }

// names goes on after a name that is taken, so that the states of both variables are looked at.
func (c *checker) names() map[string]VarID {
	byName := make(map[string]VarID, len(c.variables))
	for i, v := range c.variables {
		if _, taken := byName[v.Name]; taken {
			c.errorf("%s is defined twice", c.name(VarID(i)))
		}
		byName[v.Name] = VarID(i)
		if v.Name == "" {
			c.errorf("variable %d has no name", i)
		}
		c.states(VarID(i), v.States)
	}
	return byName
}

func (c *checker) states(v VarID, states []string) {
	if len(states) == 0 {
		c.errorf("%s has no states", c.name(v))
	}
	for i, s := range states {
		if slices.Contains(states[:i], s) {
			c.errorf("%s has two states %q", c.name(v), s)
		}
	}
}

// family checks that child and parents exist and fit together, so that later checks may index freely.
func (c *checker) family(g given, seen []bool) bool {
	before := len(c.problems)
	if !c.exists(g.child) {
		c.errorf("a distribution is given for variable %d of %d", g.child, len(c.variables))
		return false
	}
	if seen[g.child] {
		c.errorf("%s has two distributions", c.name(g.child))
	}
	seen[g.child] = true
	if c.card(g.child) == 0 {
		return false
	}
	for i, p := range g.parents {
		switch {
		case !c.exists(p):
			c.errorf("%s has variable %d of %d as a parent", c.name(g.child), p, len(c.variables))
		case slices.Contains(g.parents[:i], p):
			c.errorf("%s has the parent %q twice", c.name(g.child), c.variables[p].Name)
		case c.card(p) == 0:
			return false
		}
	}
	return len(c.problems) == before
}

func (c *checker) exists(v VarID) bool { return v >= 0 && int(v) < len(c.variables) }

// combinations counts the parent combinations, or reports a table too large and returns 0.
func (c *checker) combinations(child VarID, parents []VarID) int {
	entries := c.card(child)
	for _, p := range parents {
		entries *= c.card(p)
		if entries > maxEntries {
			c.errorf("the table of %s has more than %d entries", c.name(child), maxEntries)
			return 0
		}
	}
	return entries / c.card(child)
}

// rows checks a full table and returns it normalised.
func (c *checker) rows(child VarID, parents []VarID, p []float64) []float64 {
	count, width := c.combinations(child, parents), c.card(child)
	if count == 0 {
		return nil
	}
	if len(p) != count*width {
		c.errorf("the table of %s has %d entries, not %d", c.name(child), len(p), count*width)
		return nil
	}
	p = slices.Clone(p) // so that a second Build starts from what was handed in
	for i := range count {
		c.row(p[i*width:(i+1)*width], func() string {
			return "row of " + c.name(child) + c.witness(parents, i)
		})
	}
	return p
}

// row checks one distribution and divides it by its sum; what names it in a message.
func (c *checker) row(p []float64, what func() string) {
	sum := 0.0
	for _, x := range p {
		if !(x >= 0 && x <= 1+rowTolerance) {
			c.errorf("the %s holds the probability %v", what(), x)
			return
		}
		sum += x
	}
	if math.Abs(sum-1) > rowTolerance {
		c.errorf("the %s sums to %v, not to one", what(), sum)
		return
	}
	scaleRow(p)
}

// witness spells out the parent combination of a row.
func (c *checker) witness(parents []VarID, row int) string {
	if len(parents) == 0 {
		return ""
	}
	parts := make([]string, len(parents))
	for i := len(parents) - 1; i >= 0; i-- {
		v := c.variables[parents[i]]
		parts[i] = v.Name + "=" + v.States[row%len(v.States)]
		row /= len(v.States)
	}
	return " for " + strings.Join(parts, ", ")
}

// noisyOr writes a noisy-OR as the noisy-MAX of two states that it is; only its messages speak of presence.
func (c *checker) noisyOr(child VarID, parents []VarID, p []float64, leak float64) distribution {
	for _, v := range append([]VarID{child}, parents...) {
		if c.card(v) != 2 {
			c.errorf("the noisy-OR of %s needs two states of %q, which has %d", c.name(child), c.variables[v].Name, c.card(v))
		}
	}
	if len(p) != len(parents) {
		c.errorf("the noisy-OR of %s has %d probabilities for %d parents", c.name(child), len(p), len(parents))
		return distribution{}
	}
	d := distribution{links: make([][][]float64, len(p))}
	for i, x := range p {
		c.probability(x, func() string { return c.name(child) + " with only " + c.variables[parents[i]].Name })
		d.links[i] = [][]float64{{1, 0}, {1 - x, x}}
	}
	c.probability(leak, func() string { return "the leak of " + c.name(child) })
	d.leak = []float64{1 - leak, leak}
	return d
}

func (c *checker) probability(x float64, what func() string) {
	if !(x >= 0 && x <= 1) {
		c.errorf("the probability of %s is %v", what(), x)
	}
}

// noisyMax checks the leak and every contribution as the distributions over the child that they are.
func (c *checker) noisyMax(child VarID, parents []VarID, links [][][]float64, leak []float64) distribution {
	if leak == nil {
		leak = make([]float64, c.card(child))
		leak[0] = 1
	}
	leak = slices.Clone(leak)
	if c.width(child, leak, func() string { return "leak of " + c.name(child) }) {
		c.row(leak, func() string { return "leak of " + c.name(child) })
	}
	d := distribution{links: make([][][]float64, len(links)), leak: leak}
	for i, link := range links {
		parent := c.variables[parents[i]]
		if len(link) != len(parent.States) {
			c.errorf("the link of %s from %q has %d rows, not %d", c.name(child), parent.Name, len(link), len(parent.States))
			continue
		}
		for s, row := range link {
			what := func() string {
				return fmt.Sprintf("contribution of %s=%s to %s", parent.Name, parent.States[s], c.name(child))
			}
			row = slices.Clone(row)
			if c.width(child, row, what) {
				c.row(row, what)
			}
			d.links[i] = append(d.links[i], row)
		}
	}
	return d
}

func (c *checker) width(child VarID, row []float64, what func() string) bool {
	if len(row) != c.card(child) {
		c.errorf("the %s has %d entries, not %d", what(), len(row), c.card(child))
	}
	return len(row) == c.card(child)
}

// function tabulates a deterministic child.
func (c *checker) function(child VarID, parents []VarID, f func([]int) int) []float64 {
	count, width := c.combinations(child, parents), c.card(child)
	table := make([]float64, count*width)
	states := make([]int, len(parents))
	for i := range count {
		c.statesOf(parents, i, states)
		state := f(states)
		if state < 0 || state >= width {
			c.errorf("%s is given state %d of %d%s", c.name(child), state, width, c.witness(parents, i))
			continue
		}
		table[i*width+state] = 1
	}
	return table
}

// statesOf spells out the parent combination of a row as states.
func (c *checker) statesOf(parents []VarID, row int, states []int) {
	for k := len(parents) - 1; k >= 0; k-- {
		states[k] = row % c.card(parents[k])
		row /= c.card(parents[k])
	}
}

// cycle reports one cycle by its names, each variable followed by its child.
func (c *checker) cycle(dists []distribution) {
	const open, closed = 1, 2
	mark := make([]int, len(dists))
	var path []VarID
	var visit func(v VarID) bool
	visit = func(v VarID) bool {
		if mark[v] == closed {
			return false
		}
		path = append(path, v)
		if mark[v] == open {
			return true
		}
		mark[v] = open
		if slices.ContainsFunc(dists[v].parents, visit) {
			return true
		}
		mark[v] = closed
		path = path[:len(path)-1]
		return false
	}
	for v := range dists {
		if visit(VarID(v)) {
			c.reportCycle(path)
			return
		}
	}
}

// reportCycle turns a path from child to parents round, since people read arrows from cause to effect.
func (c *checker) reportCycle(path []VarID) {
	loop := path[slices.Index(path, path[len(path)-1]):]
	names := make([]string, len(loop))
	for i, v := range loop {
		names[len(loop)-1-i] = c.variables[v].Name
	}
	c.errorf("cycle: %s", strings.Join(names, " -> "))
}
