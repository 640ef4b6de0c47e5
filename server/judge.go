package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"sync"

	"lightoff/engine/judge"
)

// judge tries the model on simulated heaters and prints how it fared.
func (c command) judge(args []string) int {
	flags := flag.NewFlagSet("judge", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	cases := flags.Int("cases", 1000, "")
	seed := flags.Uint64("seed", judge.HeldBack, "")
	picture := flags.String("picture", "", "")
	wrong := flags.Bool("misses", false, "")
	if err := flags.Parse(args); err != nil || flags.NArg() > 0 || *cases < 1 || *cases >= 1<<20 {
		return c.fail(exitUse, "judge takes -cases (1 to 1,048,575), -seed, -picture and -misses; \"help\" shows them")
	}
	m, err := c.model()
	if err != nil {
		fmt.Fprintln(c.err, err)
		return exitInput
	}
	j := judge.New(m, *seed, judge.Usual)
	results := make([]judge.Result, *cases)
	var wait sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range next {
				results[i] = j.Try(i)
			}
		})
	}
	for i := range results {
		next <- i
	}
	close(next)
	wait.Wait()
	report := j.Sum(results)
	fmt.Fprint(c.out, report.Text())
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

// misses prints each case in which no true cause led in the end.
func (c command) misses(results []judge.Result) {
	for i := range results {
		r := &results[i]
		if last := len(r.Places) - 1; last < 0 || r.Places[last] == 1 {
			continue
		}
		fmt.Fprintf(c.out, "\ncase %d, %s tools: true %v, places %v, led %v\n  asked %v\n", r.Number, r.Owner, r.Truth, r.Places, r.Leaders, r.Asked)
		for _, o := range r.Told {
			fmt.Fprintf(c.out, "  %s %s", o.ID, o.State)
			if o.State == "" {
				fmt.Fprintf(c.out, "%.3g", o.Number)
			}
		}
		fmt.Fprintln(c.out)
	}
}
