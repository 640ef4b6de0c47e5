package main

import (
	"fmt"
	"strings"
	"text/tabwriter"
)

// maxClique is the most entries that the largest clique may have; above it an assessment is no longer quick.
const maxClique = 1 << 16

// checkModel loads the model and prints its figures, or everything that is wrong with it.
func (c command) checkModel() int {
	m, err := c.model()
	if err != nil {
		fmt.Fprintln(c.err, err) // a line for each problem: file:line:column: message
		return exitInput
	}
	stats := m.Tree().Stats()
	rows := []struct {
		name  string
		value any
	}{
		{"version", m.Version},
		{"causes", len(m.Causes)},
		{"setup facts", len(m.Setup)},
		{"observations", len(m.Observations)},
		{"repairs", len(m.Repairs)},
		{"dangers", len(m.Dangers)},
		{"code tables", len(m.CodeTables)},
		{"languages", strings.Join(m.Locales(), " ")},
		{"variables in the network", stats.Variables},
		{"cliques", stats.Cliques},
		{"entries in the largest clique", stats.LargestClique},
		{"entries in all cliques", stats.TotalEntries},
		{"worst miss of a stated base rate", fmt.Sprintf("%.1e", m.Deviation())},
	}
	table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		fmt.Fprintf(table, "%s\t%v\n", row.name, row.value)
	}
	if err := table.Flush(); err != nil {
		return c.fail(exitUse, "write the figures: %v", err)
	}
	if stats.LargestClique > maxClique {
		return c.fail(exitInput, "the largest clique has %d entries, more than %d; make the model's shape simpler",
			stats.LargestClique, maxClique)
	}
	return exitDone
}
