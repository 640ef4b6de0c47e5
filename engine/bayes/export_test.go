package bayes

// FullTable is P(v | parents) as handed to Table, normalised. It is nil for noisy families.
func (n *Network) FullTable(v VarID) []float64 { return n.dists[v].table }
