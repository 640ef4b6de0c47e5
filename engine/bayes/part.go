package bayes

import "slices"

// That a cause is active says not that it has a part in what came of it: a hose may draw air in a machine whose wire is
// broken. Which of the things that were so had a part can be followed back through the network, from the outcome: of a
// noisy family every parent that contributed, of a table every parent without which the state would have been less
// likely, or which brings it about alone.

// Part tells what had a part in an outcome.
type Part struct {
	// [variable][state]: probability that it is in that state and has a part; zero for first states
	Of          [][]float64
	Unexplained float64 // probability that the outcome is not in its first state and nothing that explains has a part
}

// Parts tells, given all findings, which variables have a part in what state the outcome is in. First states stand for
// nothing being the matter: they have a part in nothing, and nothing has a part in an outcome that is in its first
// state. explains says which variables are explanations, behind which nothing further is looked for when it is added up
// what remains unexplained.
//
// A parent of a noisy family has a part in the family's state if it contributed to it, whether or not others did. A
// parent in a table has one as far as the state would be less likely had the parent been in its first state, 1 − P(y
// | first) / P(y | x), which is the probability that a monotone mechanism was necessary (Pearl, Causality, 2nd edition
// 2009, section 9.2), or as far as the parent alone would bring it about. Within a family that is exact. From family to
// family it is taken that, given the findings and a variable's state, whether it has a part does not hang on how it
// came to that state, which holds where all ways from a cause to the outcome lead through that variable.
//
// The result is the query's own and good until the next call. The network must hold no variable to a state.
func (q *Query) Parts(outcome VarID, explains func(VarID) bool) (Part, error) {
	q.t.net.check(outcome)
	if err := q.possible(); err != nil {
		return Part{}, err
	}
	if q.ways == nil || q.ways.outcome != outcome {
		q.ways = q.t.waysTo(outcome)
	}
	w := q.ways
	for v := range w.part {
		clear(w.part[v])
		clear(w.flow[v])
	}
	q.refresh(q.t.home[outcome])
	copy(w.part[outcome][1:], q.post[outcome][1:])
	copy(w.flow[outcome][1:], q.post[outcome][1:])
	unexplained := 0.0
	for i := range w.families {
		f := &w.families[i]
		unexplained += q.followed(f, w, explains(f.of))
	}
	for v, card := range q.t.net.cards {
		for s := 1; s < card; s++ {
			if w.part[v][s] == 0 {
				continue
			}
			q.refresh(q.t.home[v])
			w.part[v][s] = min(w.part[v][s], q.post[v][s]) // by several ways it may have been counted twice
		}
	}
	return Part{w.part[:len(q.post)], unexplained}, nil
}

// ways are the families that lead to an outcome, the last first, with the memory for following them.
type ways struct {
	outcome    VarID
	families   []way
	part, flow [][]float64 // [variable of the expanded network][state]; flow divides what part may count for several
}

// way is one family on the way back.
type way struct {
	gatherer
	child     int32
	parents   []int32
	cards     []int
	strides   []int // of the parents, in rows of the family's table
	states    []int
	shares    []float64
	total     []float64
	posterior []float64
}

func (t *JoinTree) waysTo(outcome VarID) *ways {
	n, w := t.net, &ways{outcome: outcome}
	for _, card := range t.x.cards {
		w.part, w.flow = append(w.part, make([]float64, card)), append(w.flow, make([]float64, card))
	}
	of := map[VarID][]int{}
	for i, f := range t.x.families {
		if f.part != point {
			of[f.of] = append(of[f.of], i)
		}
	}
	seen := make([]bool, len(n.variables))
	var order []VarID // parents before their children
	var visit func(v VarID)
	visit = func(v VarID) {
		if seen[v] {
			return
		}
		seen[v] = true
		for _, p := range n.dists[v].parents {
			visit(p)
		}
		if len(n.dists[v].parents) > 0 {
			order = append(order, v)
		}
	}
	visit(outcome)
	for _, v := range slices.Backward(order) {
		for _, i := range slices.Backward(of[v]) { // the last of a chain first
			w.families = append(w.families, t.way(i))
		}
	}
	return w
}

func (t *JoinTree) way(family int) way {
	f, at := t.x.families[family], t.placed[family]
	if f.held {
		panic("bayes: parts in a network that holds " + t.net.variables[f.of].Name + " to a state")
	}
	last := len(f.scope) - 1
	w := way{gatherer: gatherer{f, at, t.plan(&t.cliques[at], f.scope),
		positions(f.scope, sortedBy(f.scope, t.rank), t.x.cards)},
		child: f.scope[last], parents: f.scope[:last], cards: make([]int, last), strides: make([]int, last),
		states: make([]int, last), shares: make([]float64, last), total: make([]float64, f.top)}
	for i, stride := last-1, 1; i >= 0; i-- {
		w.cards[i], w.strides[i] = t.x.cards[f.scope[i]], stride
		stride *= w.cards[i]
	}
	w.posterior = make([]float64, len(w.entries))
	return w
}

// followed gives the child's part to those of its parents that brought its state about, and returns what none of them
// explains. Behind an explanation only parts are followed.
func (q *Query) followed(f *way, w *ways, explained bool) (unexplained float64) {
	part, flow := w.part[f.child], w.flow[f.child]
	if sum(part) == 0 {
		return 0
	}
	q.receive(f.clique, -1)
	product, _ := q.product(f.clique, -1, -1)
	f.plan.sumOut(f.posterior, product)
	normalise(f.posterior)
	clear(f.total)
	for i, x := range f.posterior {
		f.total[int(f.entries[i])%f.top] += x
	}
	d := &q.t.net.dists[f.of]
	for i, x := range f.posterior {
		row, s := int(f.entries[i])/f.top, int(f.entries[i])%f.top
		if x == 0 || s == 0 || part[s] == 0 {
			continue
		}
		for k := range f.parents {
			f.states[k] = row / f.strides[k] % f.cards[k]
		}
		rest := f.divide(d, row, s)
		takes, flows := x*min(1, part[s]/f.total[s]), x*min(1, flow[s]/f.total[s])
		for k, y := range f.states {
			w.part[f.parents[k]][y] += takes * f.shares[k]
		}
		if explained {
			continue
		}
		all := sum(f.shares)
		if all == 0 {
			unexplained += flows
			continue
		}
		unexplained += flows * rest
		for k, y := range f.states {
			share := (1 - rest) * f.shares[k] / all
			if f.part == step { // what was reached before explains it where this parent does not
				share = f.shares[1]
				if k == 0 {
					share = 1 - share
				}
			}
			w.flow[f.parents[k]][y] += flows * share
		}
	}
	return unexplained
}

// divide sets the parents' shares in the child's state s, given their own states, and returns the probability that none
// of them has one.
func (f *way) divide(d *distribution, row, s int) (rest float64) {
	clear(f.shares)
	switch f.part {
	case whole:
		as, none := d.table[row*f.top+s], d.table[s]
		if as == 0 {
			return 1
		}
		for k, y := range f.states {
			if y > 0 {
				without, alone := d.table[(row-y*f.strides[k])*f.top+s], d.table[y*f.strides[k]*f.top+s]
				f.shares[k] = max(0, 1-without/as, min(1, (alone-none)/as))
			}
		}
		return min(1, none/as)
	case step:
		link, reached := d.links[f.links[0]][f.states[1]], f.states[0]
		if reached > 0 {
			f.shares[0] = 1
		}
		if f.states[1] > 0 {
			f.shares[1] = 1 // what was reached before is less, so that this parent made it what it is
			if reached == s {
				f.shares[1] = 1 - link[0]/sum(link[:s+1])
			}
		}
		return 0 // what was reached before has been brought about by something, if only the leak
	}
	// The leak and one or two parents: how probable is it that a parent contributed nothing, and that none did?
	of := func(without int, all bool) float64 { // P(maximum is s, and such parents contribute nothing)
		upTo, under := sum(d.leak[:s+1]), sum(d.leak[:s])
		for k, l := range f.links {
			link := d.links[l][f.states[k]]
			if all && f.states[k] > 0 || k == without {
				upTo, under = upTo*link[0], under*link[0]
			} else {
				upTo, under = upTo*sum(link[:s+1]), under*sum(link[:s])
			}
		}
		return upTo - under
	}
	all := of(-1, false)
	if all <= 0 {
		return 1
	}
	for k := range f.links {
		if f.states[k] > 0 {
			f.shares[k] = max(0, 1-of(k, false)/all)
		}
	}
	return min(1, of(-1, true)/all)
}
