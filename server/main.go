package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"sync"
	"syscall"
	"time"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
	"lightoff/server/notices"
	"lightoff/webui"
)

const usage = `Finds out why a small diesel air heater will not light.

  server [serve]       answer gRPC (-grpc 127.0.0.1:7430) and show pages (-web 127.0.0.1:7480)
    -data FOLDER         keep conversations in the folder (lightoff-data), or
    -store postgres://…  in a PostgreSQL that several servers may share
    -keep 90d            delete conversations this long after their latest event (never)
    -learned FILE        with numbers that "learn" wrote, whatever is promoted, until this server ends
    -metrics ADDRESS     figures, /live and /ready for operators (off)
    -tls-cert FILE -tls-key FILE
                         TLS for gRPC and pages; new files are taken up by themselves
    -requests 20 -opens 360 -sockets 50 -waiting 2
                         per address: requests a second, conversations opened an hour,
                         sockets open at once, assessments that wait for an inference slot;
                         0 is no limit; tokens have 20 times as much
    -connections 100 -all-sockets 6000
                         open at once: connections of one address, save proxies, and sockets of all
    -hosts NAMES         names that pages are reached by, joined by commas; others are refused
                         (all; on a loopback address without -proxies those of this machine)
    -proxies NETWORKS    believe these about whom they call for (X-Forwarded-For)
    -embed https://…     let pages of these sites, joined by commas, hold a conversation
    -offline auto|off    build, once and beside all else, what pages need to work without a signal (auto)
    -demo                six invented callers with simulated heaters, in a folder of their own,
                         to watch and to take over
    -log text|json       how to write the log, which goes to standard error
  server token make -scope desk|program|moderator -name NAME [-valid 365d]
  server token list | revoke ID
                       access for desks, programs and moderators; with -data or -store
  server backup FILE   write all conversations, tokens and models, also while serving; "-" is
                       the output
  server check         look the store over, the whole file and every conversation, and list what is
                       wrong; backup saves what can still be read; with -data or -store
  server restore FILE  put them into an empty store, of whichever kind; both with -data or -store
  server history       write the store's settled conversations as CSV, without keys, names or texts,
                       for learn to read and for people to look over; with -data or -store
  server learn FILE    learn new numbers from settled cases; "learn -h" tells their form
  server load          play callers against a server on this machine; "load -h" lists how
  server assess        read requests as JSON, one after the other, and write an assessment
                       for each, one a line; stops at the first that cannot be accepted
  server model promote FILE.yaml [-by NAME]
                       keep numbers that "learn" wrote, and the report.md beside them, in the store and
                       use them from now on; what does not fit this program's model is refused.
                       Conversations under way keep the numbers that they began with. Running servers
                       take a promotion up within 3s, save where -learned gives them others
  server model rollback [-by NAME]
                       use what was in use before the latest promotion, and say what that is
  server model versions | report VERSION
                       list what is kept, newest first, and what is in use; write what learning
                       reported of a version; all of these with -data or -store
  server model export [FILE.yaml]
                       write the network as BIF, with the learnt numbers in FILE if it is given
  server model order [-steps 9000]
                       look for a sequence in which the network's variables are better eliminated, which
                       takes minutes, and write it as model file order.yaml: it makes answers faster
  server model check [-cases]
                       load the model, look it and its cases over and print the figures; with -cases
                       play the cases too and print how many lead to the true cause
  server judge [-cases N] [-seed S] [-picture FILE] [-misses] [-dangers | -compare]
                       try the model on simulated heaters and print how it fared; seeds from
                       9000 are held back, so that nothing is tuned on them. -pilots and -lessons
                       are how many heaters the shares of causes and naive Bayes are made from.
                       -dangers plays up to the first check only, to see which dangers are missed;
                       -compare lists what simulated heaters and the model expect differently of a cause, from N heaters each
  server offline -out FOLDER [-plain]
                       build the program for browsers without a signal; "go generate ./server/browser"
                       runs it, so that the next server that is built carries it; -plain adds the
                       model, for pages that need no server: see testdata/offline
  server licences      print the licences of what others wrote and this program has built in
  server help          print this

Exit codes: 0 done, 1 a bad request or a broken model, 2 anything else.
`

// The exit codes.
const (
	exitDone  = 0
	exitInput = 1 // a request or the model is at fault
	exitUse   = 2 // the command line or the machine is
)

// usualData is the folder for conversations where nobody names one.
const usualData = "lightoff-data"

// shutdownLimit is how long answers under way may take once the program was told to end.
const shutdownLimit = 10 * time.Second

func main() {
	c := command{in: os.Stdin, out: os.Stdout, err: os.Stderr, model: heater.Model, cases: heater.Cases(),
		compact: heater.Compact,
		with: func(overlay []byte) (*knowledge.Model, error) {
			return knowledge.LoadWith(heater.Files(), overlay, heater.Binding())
		}}
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
	with     func(overlay []byte) (*knowledge.Model, error) // the same with learnt numbers
	compact  func(overlay []byte, m *knowledge.Model) ([]byte, error)
	cases    fs.FS // stories that model check plays; may be nil
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
	case name == "model" && len(args) > 0:
		return c.models(ctx, args[0], args[1:])
	case name == "judge":
		return c.judge(ctx, args)
	case name == "token":
		return c.token(ctx, args)
	case name == "backup":
		return c.backup(ctx, args)
	case name == "check":
		return c.check(ctx, args)
	case name == "restore":
		return c.restore(ctx, args)
	case name == "history":
		return c.history(ctx, args)
	case name == "learn":
		return c.learn(ctx, args)
	case name == "offline":
		return c.buildOffline(ctx, args)
	case name == "load":
		return c.load(ctx, args)
	case name == "licences" && len(args) == 0:
		fmt.Fprint(c.out, notices.Text)
		return exitDone
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

// serve runs the service until it is told to stop. Its branches are the ways in which flags can contradict each other
// or the machine: each is refused before a port is opened or a store touched, so that a wrong start leaves nothing
// behind.
func (c command) serve(ctx context.Context, args []string) int {
	p := &Program{Model: c.model, With: c.with, Compact: c.compact}
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	format := p.flags(flags)
	play, offline := flags.Bool("demo", false, ""), flags.String("offline", "auto", "")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(c.out, usage)
		return exitDone
	case err != nil:
		return c.fail(exitUse, "%v; \"help\" shows what there is", err)
	case flags.NArg() > 0:
		return c.fail(exitUse, "serve takes no %q; \"help\" shows what there is", flags.Arg(0))
	case !(p.Limits.Requests >= 0 && p.Limits.Opens >= 0 && p.Limits.Sockets >= 0 && p.Limits.Waiting >= 0 &&
		p.Limits.Connections >= 0 && p.Limits.AllSockets >= 0):
		// so written, not-a-number is refused too
		return c.fail(exitUse, "a limit is a number from 0, which means none")
	case *offline != "auto" && *offline != "off":
		return c.fail(exitUse, "-offline is auto or off, not %q", *offline)
	case *format != "text" && *format != "json":
		return c.fail(exitUse, "-log is text or json, not %q", *format)
	}
	p.Log = slog.New(newQuiet(slog.NewTextHandler(c.err, nil)))
	if *format == "json" {
		p.Log = slog.New(newQuiet(slog.NewJSONHandler(c.err, nil)))
	}
	if *offline == "auto" && c.compact != nil {
		p.Build = build
	}
	if *play && p.Data == usualData {
		p.Data = "lightoff-demo"
	}
	p.boundMemory()
	if err := p.Open(ctx); err != nil {
		return c.fail(codeOf(err), "%s", oneLine(err))
	}
	fmt.Fprintf(c.out, "Open %s in a browser. gRPC answers on %s. Ctrl-C ends.\n", p.URL(), p.GRPCAddress())
	for _, address := range []string{p.GRPC, p.Web} {
		if !p.https && onLoopback(address) != nil && len(p.Proxies) == 0 {
			p.Log.Warn("other machines may call without TLS: what people say can be read on the way", "address", address)
		}
	}
	var playing sync.WaitGroup
	if *play {
		playing.Go(func() {
			if err := c.demo(ctx, p); err != nil {
				fmt.Fprintf(c.err, "lightoff: the demo ended: %s\n", oneLine(err))
			}
		})
	}
	failure := p.Wait(ctx)
	p.Log.Info("going away; answers under way are finished first")
	limited, cancel := context.WithTimeout(context.Background(), shutdownLimit)
	defer cancel()
	failure = errors.Join(failure, p.Close(limited))
	playing.Wait()
	if failure != nil {
		return c.fail(exitUse, "%s", oneLine(failure))
	}
	return exitDone
}

// What the program needs at most, measured with 5,000 idle and 500 busy sockets: by itself, with all that it remembers,
// and for each socket. Garbage comes on top.
const (
	ownMemory    = 160 << 20
	socketMemory = 64 << 10
)

// boundMemory lets garbage be collected earlier once the program holds more than it needs, so that a burst does not
// double its memory for good. Whoever sets GOMEMLIMIT decides that alone, and without a bound on sockets there is none
// here.
func (p *Program) boundMemory() {
	if os.Getenv("GOMEMLIMIT") == "" && p.Limits.AllSockets > 0 {
		debug.SetMemoryLimit(ownMemory + int64(p.Limits.AllSockets)*socketMemory)
	}
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

// flags lets a command line set the program's fields, and returns how the log is to be written.
func (p *Program) flags(flags *flag.FlagSet) (format *string) {
	flags.SetOutput(io.Discard)
	flags.StringVar(&p.GRPC, "grpc", "127.0.0.1:7430", "")
	flags.StringVar(&p.Web, "web", "127.0.0.1:7480", "")
	flags.StringVar(&p.Data, "data", usualData, "")
	flags.StringVar(&p.Store, "store", "", "")
	flags.StringVar(&p.Metrics, "metrics", "", "")
	flags.StringVar(&p.Certificate, "tls-cert", "", "")
	flags.StringVar(&p.Key, "tls-key", "", "")
	flags.StringVar(&p.Learned, "learned", "", "")
	flags.Var((*age)(&p.Keep), "keep", "")
	flags.Float64Var(&p.Limits.Requests, "requests", 20, "")
	flags.Float64Var(&p.Limits.Opens, "opens", 360, "")
	flags.IntVar(&p.Limits.Sockets, "sockets", 50, "")
	flags.IntVar(&p.Limits.Waiting, "waiting", 2, "")
	flags.IntVar(&p.Limits.Connections, "connections", 100, "")
	flags.IntVar(&p.Limits.AllSockets, "all-sockets", 6000, "")
	flags.Var((*networks)(&p.Proxies), "proxies", "")
	flags.Func("hosts", "", func(names string) error {
		for name := range strings.SplitSeq(names, ",") {
			if name == "" || strings.ContainsAny(name, "/: ") && net.ParseIP(name) == nil {
				return fmt.Errorf("%q is no host's name; it has no scheme and no port", name)
			}
			p.Hosts = append(p.Hosts, strings.ToLower(name))
		}
		return nil
	})
	flags.Func("embed", "", func(sites string) error {
		for site := range strings.SplitSeq(sites, ",") {
			if !webui.IsOrigin(site) {
				return fmt.Errorf("%q is no site's origin, such as https://forum.example", site)
			}
			p.Embed = append(p.Embed, site)
		}
		return nil
	})
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
