package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

const usage = `Finds out why a small diesel air heater will not light.

  server [serve] [-grpc ADDRESS] [-web ADDRESS] [-data FOLDER]
                       answer gRPC (127.0.0.1:7430) and show pages (127.0.0.1:7480)
                       with -demo: six invented callers with simulated heaters, in a folder of
                       their own, to watch and to take over
  server assess        read requests as JSON, one after the other, and write an assessment
                       for each, one a line; stops at the first that cannot be accepted
  server model check   load the model and print its figures
  server judge [-cases N] [-seed S] [-picture FILE] [-misses]
                       try the model on simulated heaters and print how it fared; seeds from
                       9000 are held back, so that nothing is tuned on them. -pilots and -lessons
                       are how many heaters the shares of causes and naive Bayes are made from
  server help          print this

Exit codes: 0 done, 1 a bad request or a broken model, 2 anything else.
`

// The exit codes.
const (
	exitDone  = 0
	exitInput = 1 // a request or the model is at fault
	exitUse   = 2 // the command line or the machine is
)

// usualData is the folder for conversations where none is named.
const usualData = "lightoff-data"

// shutdownLimit is how long answers under way may take once the program was told to end.
const shutdownLimit = 10 * time.Second

func main() {
	c := command{in: os.Stdin, out: os.Stdout, err: os.Stderr, model: heater.Model}
	ctx, restore := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// A second signal ends the program at once, however long answers under way may take.
	context.AfterFunc(ctx, restore)
	os.Exit(c.run(ctx, os.Args[1:]))
}

// command is one run of the program with everything that it touches outside.
type command struct {
	in       io.Reader
	out, err io.Writer
	model    func() (*knowledge.Model, error)
}

// run does what the arguments say and returns the exit code.
func (c command) run(ctx context.Context, args []string) int {
	name := "serve"
	if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		name, args = args[0], args[1:]
	}
	switch {
	case name == "serve":
		return c.serve(ctx, args)
	case name == "assess" && len(args) == 0:
		return c.assess(ctx)
	case name == "model" && len(args) == 1 && args[0] == "check":
		return c.checkModel()
	case name == "judge":
		return c.judge(ctx, args)
	case name == "help" && len(args) == 0:
		fmt.Fprint(c.out, usage)
		return exitDone
	}
	return c.fail(exitUse, "unknown command %q; \"help\" lists them", strings.Join(append([]string{name}, args...), " "))
}

// fail prints one line and returns the code.
func (c command) fail(code int, format string, args ...any) int {
	fmt.Fprintf(c.err, "lightoff: "+format+"\n", args...)
	return code
}

func (c command) serve(ctx context.Context, args []string) int {
	p := &Program{Model: c.model, Log: slog.New(slog.NewTextHandler(c.err, nil))}
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.StringVar(&p.GRPC, "grpc", "127.0.0.1:7430", "")
	flags.StringVar(&p.Web, "web", "127.0.0.1:7480", "")
	flags.StringVar(&p.Data, "data", usualData, "")
	play := flags.Bool("demo", false, "")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(c.out, usage)
		return exitDone
	case err != nil:
		return c.fail(exitUse, "%v; \"help\" shows what there is", err)
	case flags.NArg() > 0:
		return c.fail(exitUse, "serve takes no %q; \"help\" shows what there is", flags.Arg(0))
	}
	if *play && p.Data == usualData {
		p.Data = "lightoff-demo"
	}
	if err := p.Open(ctx); err != nil {
		return c.fail(codeOf(err), "%s", oneLine(err))
	}
	fmt.Fprintf(c.out, "Open %s in a browser. gRPC answers on %s. Ctrl-C ends.\n", p.URL(), p.GRPCAddress())
	var playing sync.WaitGroup
	if *play {
		playing.Go(func() {
			if err := c.demo(ctx, p); err != nil {
				fmt.Fprintf(c.err, "lightoff: the demo ended: %s\n", oneLine(err))
			}
		})
	}
	failure := p.Wait(ctx)
	limited, cancel := context.WithTimeout(context.Background(), shutdownLimit)
	defer cancel()
	failure = errors.Join(failure, p.Close(limited))
	playing.Wait()
	if err := failure; err != nil {
		return c.fail(exitUse, "%s", oneLine(err))
	}
	return exitDone
}

// demo plays the invented callers while the program runs.
func (c command) demo(ctx context.Context, p *Program) error {
	m, err := c.model()
	if err != nil {
		return &modelError{err}
	}
	d := demo{conn: p.conn, model: m, out: c.out, url: p.URL(), callers: len(names), seed: 1, pace: 2 * time.Second}
	return d.run(ctx)
}

func codeOf(err error) int {
	var broken *modelError
	if errors.As(err, &broken) {
		return exitInput
	}
	return exitUse
}

func oneLine(err error) string { return strings.ReplaceAll(err.Error(), "\n", "; ") }
