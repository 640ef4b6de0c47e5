package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"

	"lightoff/engine/diagnosis"
	"lightoff/engine/judge"
	"lightoff/engine/knowledge"
)

// judge tries the model on simulated heaters and prints how it fared. When the context ends, it prints nothing.
func (c command) judge(ctx context.Context, args []string) int {
	flags := flag.NewFlagSet("judge", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	cases := flags.Int("cases", 1000, "")
	seed := flags.Uint64("seed", judge.HeldBack, "")
	picture := flags.String("picture", "", "")
	wrong := flags.Bool("misses", false, "")
	brief := flags.Bool("dangers", false, "")
	compare := flags.Bool("compare", false, "")
	effort := judge.Usual
	flags.IntVar(&effort.Pilots, "pilots", effort.Pilots, "")
	flags.IntVar(&effort.Lessons, "lessons", effort.Lessons, "")
	if err := flags.Parse(args); err != nil || flags.NArg() > 0 || !within(*cases, effort.Pilots, effort.Lessons) {
		return c.fail(exitUse, "judge takes -cases, -pilots and -lessons (each 1 to 100,000), -seed, -picture, -misses, "+
			"-dangers and -compare; \"help\" shows them")
	}
	m, err := c.model()
	if err != nil {
		fmt.Fprintln(c.err, err)
		return exitInput
	}
	if *compare {
		return c.compare(m, *seed, *cases)
	}
	effort.Each = c.sharing(runtime.GOMAXPROCS(0))
	j := judge.New(m, *seed, effort)
	if *brief {
		j.Brief()
	}
	results := make([]judge.Result, *cases)
	effort.Each(len(results), func(i int) {
		if ctx.Err() == nil {
			results[i] = j.Try(i)
		}
	})
	if ctx.Err() != nil {
		return c.fail(exitUse, "stopped before all cases were tried")
	}
	report := j.Sum(results)
	if *brief {
		fmt.Fprint(c.out, report.Dangers())
	} else {
		fmt.Fprint(c.out, report.Text())
	}
	if *wrong {
		c.misses(results)
	}
	if *picture != "" {
		if err := os.WriteFile(*picture, []byte(report.SVG()), 0o644); err != nil {
			return c.fail(exitUse, "write the picture: %v", err)
		}
	}
	return exitDone
}

// compare prints where simulation and model expect different things of a cause.
func (c command) compare(m *knowledge.Model, seed uint64, each int) int {
	list, err := judge.Compare(m, seed, each)
	if err != nil {
		fmt.Fprintln(c.err, err)
		return exitInput
	}
	fmt.Fprintln(c.out, "Bits lost by 1,000 heaters, bits for one; cause, code and observation; each state's share, "+
		"simulated/model.")
	for _, d := range list[:min(len(list), 400)] {
		fmt.Fprintln(c.out, d)
	}
	return exitDone
}

func within(counts ...int) bool {
	for _, n := range counts {
		if n < 1 || n > 100_000 {
			return false
		}
	}
	return true
}

// misses prints each case in which no true cause led in the end.
func (c command) misses(results []judge.Result) {
	for i := range results {
		r := &results[i]
		if last := len(r.Places) - 1; last < 0 || r.Places[last] == 1 {
			continue
		}
		fmt.Fprintf(c.out, "\ncase %d, %s tools: true %v, places %v, led %v\n  asked %v\n", r.Number, r.Owner, r.Truth,
			r.Places, r.Leaders, r.Asked)
		for _, o := range r.Told {
			switch o.Kind {
			case diagnosis.UnknownValue:
				fmt.Fprintf(c.out, "  %s ?", o.ID)
			case diagnosis.NumberValue:
				fmt.Fprintf(c.out, "  %s %.3g", o.ID, o.Number)
			default:
				fmt.Fprintf(c.out, "  %s %s", o.ID, o.State)
			}
		}
		fmt.Fprintln(c.out)
	}
}
