package main

import (
	"fmt"
	"runtime"
	"strings"
	"text/tabwriter"

	"lightoff/engine/cases"
	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/webui"
)

// What the model may cost: entries read to work out all posteriors where something was found everywhere, of which an
// assessment takes a few passes. One takes about 0.7 ns (go test -bench Posteriors ./engine/heater), so this is some 3
// ms.
const (
	maxTouched   = 1 << 22
	nanosTouched = 0.7
)

// checkModel loads the model and prints its figures, or everything that is wrong with it; the cases are played if told
// to.
func (c command) checkModel(play bool) int {
	m, err := c.model()
	if err != nil {
		fmt.Fprintln(c.err, err) // a line for each problem: file:line:column: message
		for _, text := range webui.CheckTexts() {
			fmt.Fprintln(c.err, text)
		}
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
		{"entries in all cliques", fmt.Sprintf("%d; %d with those that are always zero", stats.TotalEntries,
			stats.WholeEntries)},
		{"entries read for all posteriors", fmt.Sprintf("%d, about %.1f ms", stats.Touched, milliseconds(stats.Touched))},
		{"worst miss of a stated base rate", fmt.Sprintf("%.1e", m.FitError())},
	}
	table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		fmt.Fprintf(table, "%s\t%v\n", row.name, row.value)
	}
	if err := table.Flush(); err != nil {
		return c.fail(exitUse, "write the figures: %v", err)
	}
	problems, err := m.Lint()
	if err != nil {
		return c.fail(exitUse, "look the model over: %v", err)
	}
	for _, p := range problems {
		fmt.Fprintln(c.err, p)
	}
	untold := webui.CheckTexts(m.Locales()...)
	for _, text := range untold {
		fmt.Fprintln(c.err, text)
	}
	if c.cases != nil { // also when something was found: whoever corrects a number wants to see both
		if code := c.checkCases(m, play); code != exitDone {
			return code
		}
	}
	if len(problems)+len(untold) > 0 {
		return exitInput
	}
	if stats.Touched > maxTouched {
		return c.fail(exitInput, "all posteriors take the reading of %d entries, about %.1f ms; more than %d, about %.1f "+
			"ms, is too slow: "+
			"make the model's shape simpler, above all around %s", stats.Touched, milliseconds(stats.Touched), maxTouched,
			milliseconds(maxTouched),
			strings.Join(m.Tree().LargestCliqueNames(), ", "))
	}
	return exitDone
}

// milliseconds is about how long reading so many entries takes.
func milliseconds(entries int64) float64 { return float64(entries) * nanosTouched / 1e6 }

// checkCases reads the cases and looks them over. If told to play them, it does so on all cores and prints how many
// lead to the true cause, the kept ones apart. A case that is wrong in itself, or in which a danger is missed or a
// forbidden check advised, fails.
func (c command) checkCases(m *knowledge.Model, play bool) int {
	suite, err := cases.Read(c.cases)
	if err != nil {
		return c.fail(exitInput, "%v", err)
	}
	e := diagnosis.New(m)
	bad := suite.Check(m, e)
	for _, problem := range bad {
		fmt.Fprintln(c.err, problem)
	}
	if len(bad) > 0 {
		return exitInput
	}
	if !play {
		return exitDone
	}
	results, err := c.runCases(suite, m, e)
	if err != nil {
		return c.fail(exitUse, "%v", err)
	}
	for _, share := range cases.Shares {
		fmt.Fprintf(c.out, "%-18s%v\n", share.Name+":", cases.Summarise(results, share.Of))
	}
	unsafe := false
	for _, r := range results {
		for _, fault := range r.Unsafe {
			unsafe = true
			fmt.Fprintf(c.err, "%s: %s: %s\n", r.File, r.ID, fault)
		}
	}
	if unsafe {
		return exitInput
	}
	return exitDone
}

func (c command) runCases(suite *cases.Suite, m *knowledge.Model, e *diagnosis.Engine) ([]*cases.Result, error) {
	results, errs := make([]*cases.Result, len(suite.Cases)), make([]error, len(suite.Cases))
	c.sharing(runtime.GOMAXPROCS(0))(len(suite.Cases), func(i int) {
		results[i], errs[i] = suite.Run(m, e, &suite.Cases[i])
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return results, nil
}
