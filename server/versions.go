package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"lightoff/engine/bayes"
	"lightoff/engine/knowledge"
	"lightoff/server/api"
	"lightoff/server/store"
)

// models does what people do with models: look them over, promote one, go back.
func (c command) models(ctx context.Context, what string, args []string) int {
	flags := flag.NewFlagSet("model "+what, flag.ContinueOnError)
	switch {
	case what == "check" && (len(args) == 0 || slices.Equal(args, []string{"-cases"})):
		return c.checkModel(len(args) > 0)
	case what == "export" && len(args) < 2:
		return c.exportModel(args)
	case what == "order":
		return c.orderModel(flags, args)
	case what == "promote":
		by := flags.String("by", "", "")
		return c.withStore(ctx, flags, args, 1, func(s *store.Store,
			files []string) error {
			return c.promote(ctx, s, files[0], *by)
		})
	case what == "rollback":
		by := flags.String("by", "", "")
		return c.withStore(ctx, flags, args, 0, func(s *store.Store, _ []string) error { return c.rollBack(ctx, s, *by) })
	case what == "versions":
		return c.withStore(ctx, flags, args, 0, func(s *store.Store, _ []string) error { return c.listModels(ctx, s) })
	case what == "report":
		return c.withStore(ctx, flags, args, 1, func(s *store.Store, names []string) error {
			m, err := s.Model(ctx, names[0])
			if err == nil {
				_, err = io.WriteString(c.out, m.Report)
			}
			return err
		})
	}
	return c.fail(exitUse, "unknown command %q; \"help\" lists them",
		strings.Join(append([]string{"model", what}, args...), " "))
}

// learnt is a model with the numbers in a file.
type learnt struct {
	model           *knowledge.Model
	overlay, report string
}

// readLearnt reads a file of numbers, and the report beside it if that is about them.
func readLearnt(file string, with func([]byte) (*knowledge.Model, error)) (*learnt, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	m, err := with(text)
	if err != nil {
		return nil, located(err, file)
	}
	l := &learnt{model: m, overlay: string(text)}
	report, err := os.ReadFile(filepath.Join(filepath.Dir(file), reportFile))
	if err == nil && strings.Contains(string(report), m.Version) {
		l.report = string(report)
	}
	return l, nil
}

// located names the file in which a problem with numbers was found.
func located(err error, file string) error {
	var wrong *knowledge.Error
	if !errors.As(err, &wrong) {
		return fmt.Errorf("%s: %w", file, err)
	}
	out := &knowledge.Error{}
	for _, p := range wrong.Problems {
		if p.File == numbersFile || p.Line == 0 {
			p.File = file
		}
		out.Problems = append(out.Problems, p)
	}
	return out
}

// promote puts numbers in use. What does not load with this program's model is refused before anything is kept.
func (c command) promote(ctx context.Context, s *store.Store, file, by string) error {
	builtIn, err := c.model()
	if err != nil {
		return &modelError{err}
	}
	l, err := readLearnt(file, c.with)
	if err != nil {
		return &modelError{err}
	}
	before, err := s.Current(ctx)
	if err != nil {
		return err
	}
	_, err = s.Promote(ctx, l.model.Version, l.overlay, l.report, by)
	if errors.Is(err, store.ErrInUse) {
		fmt.Fprintf(c.out, "Model %s is in use already.\n", l.model.Version)
		return nil
	}
	if err != nil {
		return err
	}
	if from := l.model.LearntFrom; from != "" && from != builtIn.Version {
		fmt.Fprintf(c.err, "It was learnt from model %s; this program's is %s. Everything that it names is there, but "+
			"learn anew when you can.\n",
			from, builtIn.Version)
	}
	if l.report == "" {
		fmt.Fprintf(c.err, "No %s about these numbers stands beside them, so none is kept.\n", reportFile)
	}
	fmt.Fprintf(c.out, "Model %s is in use from now on, instead of %s. %s", l.model.Version,
		named(before.Version, builtIn), takenUp)
	return nil
}

// takenUp is what to expect of servers that run.
var takenUp = fmt.Sprintf("Running servers take it up within %v; conversations under way keep theirs.\n", api.LookEvery)

// named says what a version in the store is.
func named(version string, builtIn *knowledge.Model) string {
	if version == "" {
		return "the built-in model " + builtIn.Version
	}
	return "model " + version
}

func (c command) rollBack(ctx context.Context, s *store.Store, by string) error {
	builtIn, err := c.model()
	if err != nil {
		return &modelError{err}
	}
	before, err := s.Current(ctx)
	if err != nil {
		return err
	}
	now, err := s.Rollback(ctx, by)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "Rolled back from %s: %s is in use from now on. %s", named(before.Version, builtIn),
		named(now.Version, builtIn), takenUp)
	return c.tellUnfit(ctx, s, now.Version, builtIn)
}

// listModels lists what is kept, newest first, the built-in model last.
func (c command) listModels(ctx context.Context, s *store.Store) error {
	builtIn, err := c.model()
	if err != nil {
		return &modelError{err}
	}
	kept, err := s.Models(ctx)
	if err != nil {
		return err
	}
	past, err := s.Promotions(ctx)
	if err != nil {
		return err
	}
	latest := map[string]store.Promotion{}
	current := ""
	for _, p := range past {
		latest[p.Version], current = p, p.Version
	}
	table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "in use\tversion\tkept since\tlast put in use\tby")
	row := func(key, version, since string) {
		mark, at, by := "", "", ""
		if key == current {
			mark = "*"
		}
		if p, ok := latest[key]; ok {
			at, by = p.At.Format(minutes), fmt.Sprintf("%q", p.By)
		}
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\n", mark, version, since, at, by)
	}
	for _, m := range slices.Backward(kept) {
		row(m.Version, m.Version, m.Added.Format(minutes))
	}
	row("", builtIn.Version, "built in")
	if err := table.Flush(); err != nil {
		return err
	}
	return c.tellUnfit(ctx, s, current, builtIn)
}

// minutes is how times are listed, in UTC.
const minutes = "2006-01-02 15:04Z"

// tellUnfit says what servers of this program make of the version in use, where that is something else.
func (c command) tellUnfit(ctx context.Context, s *store.Store, version string, builtIn *knowledge.Model) error {
	if version == "" {
		return nil
	}
	m, err := s.Model(ctx, version)
	if err != nil {
		return err
	}
	switch now, err := c.with([]byte(m.Overlay)); {
	case err != nil:
		fmt.Fprintf(c.err, "Model %s does not load with this program, which therefore uses the built-in model %s: %s\n",
			version, builtIn.Version, oneLine(err))
	case now.Version != version:
		fmt.Fprintf(c.err, "The model files have changed since: with this program model %s is model %s.\n", version,
			now.Version)
	}
	return nil
}

// orderModel looks for a sequence in which the network is better compiled, and writes it as a model file.
func (c command) orderModel(flags *flag.FlagSet, args []string) int {
	steps := flags.Int("steps", 9000, "")
	flags.SetOutput(io.Discard)
	if err := flags.Parse(args); err != nil || flags.NArg() > 0 || *steps < 0 {
		return c.fail(exitUse, "model order takes -steps N and nothing else")
	}
	m, err := c.model()
	if err != nil {
		return c.fail(exitInput, "%s", oneLine(&modelError{err}))
	}
	_, err = fmt.Fprintf(c.out, "# Written by \"model order\". It changes only how fast the model answers; names that "+
		"are gone do no harm.\n"+
		"elimination: [%s]\n", strings.Join(m.Elimination(*steps), ",\n  "))
	if err != nil {
		return c.fail(exitUse, "write the sequence: %v", err)
	}
	return exitDone
}

// exportModel writes the network for other programs.
func (c command) exportModel(files []string) int {
	m, err := c.model()
	if err == nil && len(files) > 0 {
		var l *learnt
		if l, err = readLearnt(files[0], c.with); err == nil {
			m = l.model
		}
	}
	if err != nil {
		return c.fail(exitInput, "%s", oneLine(&modelError{err}))
	}
	if _, err := fmt.Fprintf(c.out, "// Model %s. Setup facts are averaged over; a reading stands as the band that it "+
		"falls into.\n", m.Version); err != nil {
		return c.fail(exitUse, "write the network: %v", err)
	}
	if err := bayes.WriteBIF(c.out, m.Network()); err != nil {
		return c.fail(exitUse, "write the network: %v", err)
	}
	return exitDone
}
