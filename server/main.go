package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

const usage = `Finds out why a small diesel air heater will not light.

  server [serve]       answer gRPC (-grpc 127.0.0.1:7430) and show pages (-web 127.0.0.1:7480)
    -data FOLDER         keep conversations in the folder (lightoff-data), or
    -store postgres://…  in a PostgreSQL that several servers may share
    -keep 90d            delete conversations this long after their latest event (never)
    -learned FILE        with numbers that "learn" wrote (those of the model)
    -metrics ADDRESS     figures, /live and /ready for operators (off)
    -tls-cert FILE -tls-key FILE
                         TLS for gRPC and pages; new files are taken up by themselves
    -requests 20 -opens 360 -sockets 50
                         per address: requests a second, conversations opened an hour,
                         sockets open at once; 0 is no limit; tokens have 20 times as much
    -proxies NETWORKS    believe these about whom they call for (X-Forwarded-For)
    -log text|json       how to write the log, which goes to standard error
  server token make -scope desk|program -name NAME [-valid 365d]
  server token list | revoke ID
                       access for desks and programs; with -data or -store
  server backup FILE   write all conversations and tokens, also while serving; "-" is the output
  server restore FILE  put them into an empty store, of whichever kind; both with -data or -store
  server learn FILE    learn new numbers from settled cases; "learn -h" tells their form
  server load          play callers against a server on this machine; "load -h" lists how
  server assess        read requests as JSON, one after the other, and write an assessment
                       for each, one a line; stops at the first that cannot be accepted
  server model check   load the model, look it over, run its cases and print the figures
  server help          print this

Exit codes: 0 done, 1 a bad request or a broken model, 2 anything else.
`

// The exit codes.
const (
	exitDone  = 0
	exitInput = 1 // a request or the model is at fault
	exitUse   = 2 // the command line or the machine is
)

// shutdownLimit is how long answers under way may take once the program was told to end.
const shutdownLimit = 10 * time.Second

func main() {
	c := command{in: os.Stdin, out: os.Stdout, err: os.Stderr, model: heater.Model, cases: heater.Cases()}
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
	cases    fs.FS // stories that model check runs; may be nil
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
	case name == "token":
		return c.token(ctx, args)
	case name == "backup":
		return c.backup(ctx, args)
	case name == "restore":
		return c.restore(ctx, args)
	case name == "learn":
		return c.learn(ctx, args)
	case name == "load":
		return c.load(ctx, args)
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
	p := &Program{Model: c.model}
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	format := p.flags(flags)
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(c.out, usage)
		return exitDone
	case err != nil:
		return c.fail(exitUse, "%v; \"help\" shows what there is", err)
	case flags.NArg() > 0:
		return c.fail(exitUse, "serve takes no %q; \"help\" shows what there is", flags.Arg(0))
	case !(p.Limits.Requests >= 0 && p.Limits.Opens >= 0 && p.Limits.Sockets >= 0): // so written, not-a-number is refused too
		return c.fail(exitUse, "a limit is a number from 0, which means none")
	case *format != "text" && *format != "json":
		return c.fail(exitUse, "-log is text or json, not %q", *format)
	}
	p.Log = slog.New(slog.NewTextHandler(c.err, nil))
	if *format == "json" {
		p.Log = slog.New(slog.NewJSONHandler(c.err, nil))
	}
	if err := p.Open(ctx); err != nil {
		return c.fail(codeOf(err), "%s", oneLine(err))
	}
	fmt.Fprintf(c.out, "Open %s in a browser. gRPC answers on %s. Ctrl-C ends.\n", p.URL(), p.GRPCAddress())
	for _, address := range []string{p.GRPC, p.Web} {
		if !p.https && onLoopback(address) != nil && len(p.Proxies) == 0 {
			p.Log.Warn("other machines may call without TLS: what people say can be read on the way", "address", address)
		}
	}
	failure := p.Wait(ctx)
	p.Log.Info("going away; answers under way are finished first")
	limited, cancel := context.WithTimeout(context.Background(), shutdownLimit)
	defer cancel()
	if err := errors.Join(failure, p.Close(limited)); err != nil {
		return c.fail(exitUse, "%s", oneLine(err))
	}
	return exitDone
}

// flags lets a command line set the program's fields, and returns how the log is to be written.
func (p *Program) flags(flags *flag.FlagSet) (format *string) {
	flags.SetOutput(io.Discard)
	flags.StringVar(&p.GRPC, "grpc", "127.0.0.1:7430", "")
	flags.StringVar(&p.Web, "web", "127.0.0.1:7480", "")
	flags.StringVar(&p.Data, "data", "lightoff-data", "")
	flags.StringVar(&p.Store, "store", "", "")
	flags.StringVar(&p.Metrics, "metrics", "", "")
	flags.StringVar(&p.Certificate, "tls-cert", "", "")
	flags.StringVar(&p.Key, "tls-key", "", "")
	flags.Func("learned", "", func(file string) error { p.Model = learnedModel(file); return nil })
	flags.Var((*age)(&p.Keep), "keep", "")
	flags.Float64Var(&p.Limits.Requests, "requests", 20, "")
	flags.Float64Var(&p.Limits.Opens, "opens", 360, "")
	flags.IntVar(&p.Limits.Sockets, "sockets", 50, "")
	flags.Var((*networks)(&p.Proxies), "proxies", "")
	return flags.String("log", "text", "")
}

func codeOf(err error) int {
	var broken *modelError
	if errors.As(err, &broken) {
		return exitInput
	}
	return exitUse
}

func oneLine(err error) string { return strings.ReplaceAll(err.Error(), "\n", "; ") }
