package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"lightoff/engine/knowledge"
	"lightoff/engine/learning"
)

const learnUsage = `Learns from settled cases and writes new numbers with a report; nothing changes until
"model promote FILE" puts them in use. "serve -learned FILE" tries them.

  server learn [-out FOLDER] [-prior 50] [-rate-prior 1000] [-limit 0.2] [-rounds 3]
               [-held-back 0.2] [-workers N] FILE.csv …    "-" is the standard input

out receives learned.yaml, the numbers, and report.md, what moved and how good they are on the latest
cases. prior and rate-prior are the cases that an expert's number is worth, limit the most that one source
can move a probability. With more than 20,000 cases one round is made unless you ask for more.

The first line of a file names its columns, which may stand in any order:
  date     when the case was settled, 2026-01-31
  source   whose history it is
  told     what was found, id=value; id=value; …
  causes   ids of what it turned out to be, separated by semicolons
  by       workshop, desk, owner, or guess, which teaches nothing
  sure     held (proved, and it has run for weeks), proved (mended, and a start watched), likely (seen or measured), guessed (teaches nothing),
           or a number from 0 to 1; empty is proved

  date,source,told,causes,by,sure
  2026-02-11,Fennmoor Boats,fault_code=E-08; bubbles=many; rest_voltage=12.6,soft_line_air,workshop,proved
`

// manyCases is from where on several rounds must be asked for.
const manyCases = 20000

// learn reads histories and writes what they teach.
func (c command) learn(ctx context.Context, args []string) int {
	var o learning.Options
	flags := flag.NewFlagSet("learn", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	out := flags.String("out", "learned", "")
	workers := flags.Int("workers", runtime.GOMAXPROCS(0), "")
	flags.Float64Var(&o.EquivalentSampleSize, "prior", 50, "")
	flags.Float64Var(&o.RateSampleSize, "rate-prior", 1000, "")
	flags.Float64Var(&o.Limit, "limit", 0.2, "")
	flags.IntVar(&o.Rounds, "rounds", 0, "")
	flags.Float64Var(&o.HeldBack, "held-back", 0.2, "")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(c.out, learnUsage)
		return exitDone
	case err != nil:
		return c.fail(exitUse, "%v; \"learn -h\" shows what there is", err)
	case flags.NArg() == 0:
		return c.fail(exitUse, "learn wants the histories to learn from; \"learn -h\" shows their form")
	case *workers < 1:
		return c.fail(exitUse, "-workers is at least 1")
	}
	m, err := c.model()
	if err != nil {
		return c.fail(exitInput, "%s", oneLine(&modelError{err}))
	}
	cases, err := c.histories(m, flags.Args())
	if err != nil {
		fmt.Fprintln(c.err, err)
		return exitInput
	}
	if o.Rounds == 0 && len(cases) > manyCases {
		o.Rounds = 1
	}
	o.Each, o.Progress = c.sharing(*workers), c.progress(time.Now)
	r, err := learning.Learn(m, cases, o)
	switch {
	case ctx.Err() != nil:
		return c.fail(exitUse, "stopped")
	case err != nil:
		return c.fail(exitInput, "%s", oneLine(err))
	}
	with, err := c.with(r.Overlay) // also the proof that they can be loaded
	if err != nil {
		return c.fail(exitUse, "load what was learnt: %s", oneLine(err))
	}
	if err := keep(*out, r.Overlay, r.Report(m.Version, with.Version)); err != nil {
		return c.fail(exitUse, "write what was learnt: %v", err)
	}
	fmt.Fprintf(c.out, "%d cases from %d sources taught, %d were kept to judge by. Log score %.4f, then %.4f; Brier "+
		"score %.4f, then %.4f.\n",
		r.Cases, r.Sources, r.HeldBack, r.Before.LogScore, r.After.LogScore, r.Before.Brier, r.After.Brier)
	fmt.Fprintf(c.out, "Read %s; \"model promote %[2]s\" puts the numbers in use, \"serve -learned %[2]s\" tries them.\n",
		filepath.Join(*out, reportFile), filepath.Join(*out, numbersFile))
	return exitDone
}

// The files that learning writes.
const (
	numbersFile = "learned.yaml"
	reportFile  = "report.md"
)

func (c command) histories(m *knowledge.Model, files []string) (cases []learning.Case, err error) {
	for _, name := range files {
		in := c.in
		if name != "-" {
			f, err := os.Open(name)
			if err != nil {
				return nil, err
			}
			defer f.Close()
			in = f
		}
		more, err := learning.ReadCSV(m, bufio.NewReader(in))
		if err != nil {
			return nil, fmt.Errorf("%s: %s", name, strings.ReplaceAll(err.Error(), "\n", "\n"+name+": "))
		}
		cases = append(cases, more...)
	}
	return cases, nil
}

// sharing lets several workers do what there is to do. What they come to is put together elsewhere, in a fixed order.
func (c command) sharing(workers int) func(n int, do func(i int)) {
	return func(n int, do func(i int)) {
		var next atomic.Int64
		var all sync.WaitGroup
		for range min(workers, n) {
			all.Go(func() {
				for i := next.Add(1) - 1; i < int64(n); i = next.Add(1) - 1 {
					do(int(i))
				}
			})
		}
		all.Wait()
	}
}

// progress writes a line when a step ends, and else every few seconds.
func (c command) progress(now func() time.Time) func(step string, done, of int) {
	last := now()
	return func(step string, done, of int) {
		if done == of || now().Sub(last) > 3*time.Second {
			last = now()
			fmt.Fprintf(c.err, "%s: %d of %d cases\n", step, done, of)
		}
	}
}

func keep(folder string, overlay []byte, report string) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	for name, text := range map[string][]byte{numbersFile: overlay, reportFile: []byte(report)} {
		path := filepath.Join(folder, name)
		// A reader sees the old file or the new one, never half of it.
		if err := os.WriteFile(path+".new", text, 0o644); err != nil {
			return err
		}
		if err := os.Rename(path+".new", path); err != nil {
			return err
		}
	}
	return nil
}
