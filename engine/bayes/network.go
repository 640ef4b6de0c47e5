// Package bayes does exact inference in discrete Bayesian networks. It knows nothing of heaters.
//
// A [Builder] collects variables and their distributions and yields an immutable [Network]. [Compile] turns the
// network into a [JoinTree], also immutable and safe to share between goroutines. A [Query] on the tree holds the
// findings of one case and answers with posteriors, the probability of the evidence and mutual information. A query
// belongs to one goroutine. Equal findings give equal bytes, in whatever order they were entered or withdrawn, and
// whatever was asked before.
//
// What a query can be asked: how probable a variable ([Query.Marginal]) or several together ([Query.Joint]) are, and
// what explains the findings best ([Query.MostProbable]); whether the findings agree ([Query.Conflict]) and what each
// of them contributes ([Query.LeaveOneOut]); what to observe next ([Query.MutualInformation],
// [Query.ValueOfInformation]) and whether it could still change a decision ([Query.SameDecision]); and how far an
// answer hangs on a number of the network ([Query.Sensitivity]). [ExpectedCounts] and [Network.Learn] fit the numbers
// to cases. [ReadBIF] and [WriteBIF] exchange networks with other programs.
//
// Every answer is exact up to rounding. Tables are kept within range by exact powers of two, so thousands of findings
// neither underflow nor produce NaN; two states of one table more than about 1e300 apart are the limit.
//
// How the files hang together, in the order in which to read them, from what a caller states to what a query answers:
//
//	builder, distribution, network   what is stated: variables, and how each follows from its parents
//	bif, given, context              other ways to a network: a file, findings built in, tables computed for a situation
//	expansion, graph, triangulate    families with many parents become chains of small tables; an order of elimination
//	jointree, support, pairs         the tree that the order makes, and which entries of its tables can ever be positive
//	factor, bridge, lanes            how a table is read, from a clique to its neighbour: the inner loops
//	query, propagate                 findings, and the messages that they change
//	joint, information, value        what is read off: several variables together, what to observe next and its worth
//	explain, conflict, leaveout, part, separation, sensitivity, impossible   why an answer is what it is
//	learn                            counts from cases, and numbers from counts
//
// Misuse, such as an index out of range or a vector of the wrong length, panics with a message that begins "bayes: ".
package bayes

import "fmt"

// VarID numbers the variables of one network from 0 in the order in which they were added.
type VarID int32

// Variable is a discrete variable: its name and the names of its states. A state is known by its position.
type Variable struct {
	Name   string
	States []string
}

// Network is a checked Bayesian network. It never changes and may be shared by goroutines.
type Network struct {
	variables []Variable
	byName    map[string]VarID
	dists     []distribution
	cards     []int
	given     Case     // the findings that Given built in, or nil
	whole     *Network // from which Given cut this one, or nil
	memo      *memo
}

// NumVariables is the number of variables; their ids run from 0 to one less.
func (n *Network) NumVariables() int { return len(n.variables) }

// Variable describes v. The States slice is shared and must not be changed.
func (n *Network) Variable(v VarID) Variable {
	n.check(v)
	return n.variables[v]
}

// Lookup finds a variable by its name.
func (n *Network) Lookup(name string) (VarID, bool) {
	v, ok := n.byName[name]
	return v, ok
}

// Parents lists the parents of v in the order of its distribution. The slice is shared and must not be changed.
func (n *Network) Parents(v VarID) []VarID {
	n.check(v)
	return n.dists[v].parents
}

// Card is the number of states of v.
func (n *Network) Card(v VarID) int {
	n.check(v)
	return n.cards[v]
}

func (n *Network) check(v VarID) {
	if v < 0 || int(v) >= len(n.variables) {
		panic(fmt.Sprintf("bayes: variable %d of a network of %d", v, len(n.variables)))
	}
}

// checkState checks a variable and one of its states.
func (n *Network) checkState(v VarID, state int) {
	n.check(v)
	if state < 0 || state >= n.cards[v] {
		panic(fmt.Sprintf("bayes: state %d of %q, which has %d", state, n.variables[v].Name, n.cards[v]))
	}
}

// names gives the names of the variables in vs.
func (n *Network) names(vs []VarID) []string {
	names := make([]string, len(vs))
	for i, v := range vs {
		names[i] = n.variables[v].Name
	}
	return names
}
