package bayes

import (
	"errors"
	"fmt"
	"slices"
)

// Some distributions depend on what is known about a case before anything is observed: the length of a cable, the
// temperature outside. As variables such facts would tie together all that they bear on; as context they cost nothing
// but a few tables made anew. The cliques that hold none of these are shared with the tree that was compiled.

// Context is what computed distributions are computed from. Its meaning is between its maker and the functions given to
// Builder.Computed; nil stands for nothing known.
type Context any

// Compute is P(child | its parents in the given states), over the states of the child. It must be a function of its
// arguments alone, and must not keep them.
type Compute func(context Context, parentStates []int) []float64

// Computed makes the distribution of child a function of the context of a query. Build calls f with a nil context, for
// queries that are made without one.
func (b *Builder) Computed(child VarID, parents []VarID, f Compute) {
	b.give(child, parents, func(c *checker, child VarID, parents []VarID) distribution {
		return distribution{table: c.computed(child, parents, f, nil), compute: f}
	})
}

// computed tabulates a computed distribution and checks its rows.
func (c *checker) computed(child VarID, parents []VarID, f Compute, context Context) []float64 {
	count, width := c.combinations(child, parents), c.card(child)
	table := make([]float64, 0, count*width)
	states := make([]int, len(parents))
	for i := range count {
		c.statesOf(parents, i, states)
		row := slices.Clone(f(context, states))
		what := func() string { return "computed row of " + c.name(child) + c.witness(parents, i) }
		if !c.width(child, row, what) {
			return nil
		}
		c.row(row, what)
		table = append(table, row...)
	}
	return table
}

// InContext is the tree with its computed distributions computed from the context. Tables that hold none of them are
// shared, and so is its shape: a query may be moved between it and t. It fails, naming the variable and the row, if one
// of them is no distribution.
func (t *JoinTree) InContext(context Context) (*JoinTree, error) {
	c := &checker{variables: t.net.variables}
	changed := map[VarID]distribution{}
	for v := range t.net.dists {
		if d := t.net.dists[v]; d.compute != nil {
			d.table = c.computed(VarID(v), d.parents, d.compute, context)
			changed[VarID(v)] = d
		}
	}
	if len(c.problems) > 0 {
		return nil, fmt.Errorf("context: %w", errors.Join(c.problems...))
	}
	return t.withDistributions(changed), nil
}

// OwnSize is what the tables take that are not shared with the tree that this one was made from.
func (t *JoinTree) OwnSize() (n int64) {
	for i := range t.cliques {
		if own := t.cliques[i].table; len(own) > 0 && &own[0] != &t.origin.cliques[i].table[0] {
			n += 8 * int64(len(own))
		}
	}
	return n
}

// NewQueryWith starts a case without findings on the tree In a context.
func (t *JoinTree) NewQueryWith(context Context) (*Query, error) {
	in, err := t.InContext(context)
	if err != nil {
		return nil, err
	}
	return in.NewQuery(), nil
}

// withDistributions is the tree with other numbers in some distributions, of the same shapes; all that doesn't depend
// on them is shared. The tables of a clique are multiplied in anew, in the same order as Compile does, and not divided
// out, because they may hold zeros. The barren edges stay as they are, for every row must be a distribution again, and
// so do the entries that are kept: no number may be positive that was zero, unless it was computed.
func (t *JoinTree) withDistributions(changed map[VarID]distribution) *JoinTree {
	if len(changed) == 0 {
		return t
	}
	net := *t.net
	net.dists = slices.Clone(net.dists)
	for v, d := range changed {
		net.dists[v] = d
	}
	other := *t
	other.net = &net
	other.cliques = slices.Clone(t.cliques)
	again := make([]bool, len(t.cliques))
	for i, f := range t.x.families {
		if _, ok := changed[f.of]; ok {
			again[t.placed[i]] = true
		}
	}
	for at := range again {
		if again[at] {
			other.cliques[at].table = ones(other.cliques[at].size())
		}
	}
	p := &places{}
	for i, f := range t.x.families {
		if at := t.placed[i]; again[at] {
			other.place(p, &other.cliques[at], f.scope, t.sorted(p, f.scope, f.table(&net.dists[f.of])))
		}
	}
	for at := range again {
		if again[at] {
			other.cliques[at].low, _ = extremes(other.cliques[at].table)
		}
	}
	return &other
}

// widened is the tree with other numbers of which some may be positive that were zero, so that which entries are kept
// is found anew.
func (t *JoinTree) widened(changed map[VarID]distribution) (*JoinTree, error) {
	other := t.withDistributions(changed)
	for i := range other.cliques {
		c := &other.cliques[i]
		c.kept, c.links = nil, slices.Clone(c.links)
	}
	sets := t.sets()
	other.together = nil
	return other, other.tabulate(sets)
}

// sets are the together sets as they were given.
func (t *JoinTree) sets() [][]VarID {
	sets := make([][]VarID, len(t.together))
	for i := range t.together {
		sets[i] = t.together[i].variables
	}
	return sets
}

// widens reports whether a distribution has a positive number where another has none.
func (d *distribution) widens(before *distribution) bool {
	more := func(now, then []float64) bool {
		for i, x := range now {
			if x > 0 && then[i] == 0 {
				return true
			}
		}
		return false
	}
	for i, link := range d.links {
		for s, row := range link {
			if more(row, before.links[i][s]) {
				return true
			}
		}
	}
	return more(d.table, before.table) || more(d.leak, before.leak)
}
