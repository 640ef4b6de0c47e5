package bayes

import (
	"fmt"
	"slices"
)

// Given is the network for one pattern of hard findings, which it holds from then on: entering them again changes
// nothing, and taking them back has no effect. What an observed variable does to its children no longer hangs on it,
// so its outgoing edges are cut and its children keep the rows of the observed state; its link to a noisy family
// becomes part of the leak. What is known of it ties its parents only by the one column of its state, and those of a
// noisy child that shows nothing not at all. Posteriors and ln P(e) are those of the whole network with the same
// findings. The cliques are smaller, sometimes by many orders of magnitude, which is worth a Compile of its own where
// the network as a whole is too dense, or where many answers are wanted for the same observed states. What is asked
// about the findings themselves, such as a conflict between them, needs the whole network. It panics if the case has
// another length than the network, a state out of range, or another state than one that is held already.
func (n *Network) Given(observed Case) *Network {
	if len(observed) != len(n.variables) {
		panic(fmt.Sprintf("bayes: case of %d states, want %d", len(observed), len(n.variables)))
	}
	observed = slices.Clone(observed)
	for v, s := range observed {
		held := n.seen(VarID(v))
		switch {
		case s == Unknown:
			observed[v] = held
			continue
		case held != Unknown && held != s:
			n.checkState(VarID(v), s)
			panic(fmt.Sprintf("bayes: %q is held in state %d", n.variables[v].Name, held))
		}
		n.checkState(VarID(v), s)
	}
	given := *n
	given.given = observed
	if n.whole == nil {
		given.whole = n
	}
	given.dists = slices.Clone(n.dists)
	for v := range given.dists {
		if slices.ContainsFunc(n.dists[v].parents, func(p VarID) bool { return observed[p] != Unknown }) {
			given.dists[v] = n.cut(VarID(v), observed)
		}
	}
	return &given
}

// seen is the state that the network holds v to, or Unknown.
func (n *Network) seen(v VarID) int {
	if n.given == nil {
		return Unknown
	}
	return n.given[v]
}

// cut is the distribution of v with its observed parents in their states.
func (n *Network) cut(v VarID, observed Case) distribution {
	d := &n.dists[v]
	out := distribution{leak: slices.Clone(d.leak)}
	parts := [][]float64{d.table}
	for i, p := range d.parents {
		state := observed[p]
		if state == Unknown {
			out.parents = append(out.parents, p)
		}
		switch {
		case !d.factored():
			parts = byState(parts, n.cards[p], state)
		case state == Unknown:
			out.links = append(out.links, d.links[i])
		default:
			maxOf(out.leak, out.leak, d.links[i][state])
		}
	}
	if !d.factored() {
		out.table = slices.Concat(parts...)
		out.compute = d.refill(observed)
		return out
	}
	scaleRow(out.leak)
	if out.links == nil {
		out.links = [][][]float64{}
	}
	return out
}

// byState cuts each part of a table by the states of its slowest parent, and keeps one state or, if Unknown, all.
func byState(parts [][]float64, card, state int) (kept [][]float64) {
	for _, part := range parts {
		rows := len(part) / card
		for s := range card {
			if state == Unknown || s == state {
				kept = append(kept, part[s*rows:(s+1)*rows])
			}
		}
	}
	return kept
}

// refill makes the function of a computed distribution one of the parents that are left.
func (d *distribution) refill(observed Case) Compute {
	if d.compute == nil {
		return nil
	}
	return func(context Context, left []int) []float64 {
		states := make([]int, 0, len(d.parents))
		for _, p := range d.parents {
			s := observed[p]
			if s == Unknown {
				s, left = left[0], left[1:]
			}
			states = append(states, s)
		}
		return d.compute(context, states)
	}
}
