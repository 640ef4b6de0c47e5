package bayes

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// WriteBIF writes the network in the format that ReadBIF reads, with the shortest numbers that read back as the same
// ones: reading the text gives the same names, parents and tables, and writing that gives the same text. A noisy family
// is written as its full table, for the format has nothing better, and comes back as one. Variables keep their order.
//
// It fails, before it writes anything, if a noisy family has more than 2^20 entries or a name contains a double quote,
// which the format can't express; else with the error of the writer.
func WriteBIF(w io.Writer, n *Network) error {
	for _, v := range n.variables {
		for _, name := range append([]string{v.Name}, v.States...) {
			if strings.Contains(name, `"`) {
				return fmt.Errorf("the name %q contains a quote, which the format cannot express", name)
			}
		}
	}
	tables := make([][]float64, len(n.variables))
	for v := range n.variables {
		var err error
		if tables[v], err = n.wholeTable(VarID(v)); err != nil {
			return err
		}
	}
	b := bufio.NewWriter(w)
	b.WriteString("network bayes {}\n")
	for _, v := range n.variables {
		fmt.Fprintf(b, "variable %s { type discrete [ %d ] { %s }; }\n", bifName(v.Name), len(v.States), bifNames(v.States))
	}
	for v, table := range tables {
		n.writeDistribution(b, VarID(v), table)
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("writing network: %w", err)
	}
	return nil
}

// writeDistribution writes one row a line. The writer keeps its first error.
func (n *Network) writeDistribution(b *bufio.Writer, v VarID, table []float64) {
	parents := n.dists[v].parents
	if len(parents) == 0 {
		fmt.Fprintf(b, "probability ( %s ) { table %s; }\n", bifName(n.variables[v].Name), bifNumbers(table))
		return
	}
	fmt.Fprintf(b, "probability ( %s | %s ) {\n", bifName(n.variables[v].Name), bifNames(n.names(parents)))
	states := make([]string, len(parents))
	card := n.cards[v]
	for i := range len(table) / card {
		rest := i
		for k := len(parents) - 1; k >= 0; k-- {
			p := n.variables[parents[k]]
			states[k] = p.States[rest%len(p.States)]
			rest /= len(p.States)
		}
		fmt.Fprintf(b, "  (%s) %s;\n", bifNames(states), bifNumbers(table[i*card:(i+1)*card]))
	}
	b.WriteString("}\n")
}

// bifName quotes a name that would not come back as one word.
func bifName(name string) string {
	comment, _ := bifComment(name)
	if name == "" || comment > 0 || strings.ContainsAny(name, bifPunctuation+" \t\r\n") {
		return `"` + name + `"`
	}
	return name
}

// bifNames is a list with commas, which some readers need although the format does not.
func bifNames(names []string) string {
	quoted := make([]string, len(names))
	for i, name := range names {
		quoted[i] = bifName(name)
	}
	return strings.Join(quoted, ", ")
}

// bifNumbers writes the shortest digits that read back as the very number.
func bifNumbers(p []float64) string {
	var text []byte
	for i, x := range p {
		if i > 0 {
			text = append(text, ", "...)
		}
		text = strconv.AppendFloat(text, x, 'g', -1, 64)
	}
	return string(text)
}
