package bayes

// FullTable is P(v | parents) as handed to Table, normalised. It is nil for noisy families.
func (n *Network) FullTable(v VarID) []float64 { return n.dists[v].table }

// CompileKeeping is Compile with another rule for leaving out zeros: where they are at least a share of a clique's
// entries.
func CompileKeeping(n *Network, share float64, together ...[]VarID) (*JoinTree, error) {
	return compile(n, thrift{least: 1, share: 1 - share}, together)
}

// Fresh is the network with nothing kept from earlier compilations.
func (n *Network) Fresh() *Network {
	fresh := *n
	fresh.memo = &memo{}
	return &fresh
}
