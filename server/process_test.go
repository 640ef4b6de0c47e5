package main

import (
	"bufio"
	"context"

	"net"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/server/store/pgtest"
	"lightoff/webui/pagetest"
)

const serveInstead = "LIGHTOFF_TEST_SERVE"

// TestMain ends what tests share, and turns the test program into the server itself when a test starts it again.
func TestMain(m *testing.M) {
	if os.Getenv(serveInstead) == "" {
		code := pgtest.Main(m)
		pagetest.Stop()
		os.Exit(code)
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	c := command{in: os.Stdin, out: os.Stdout, err: os.Stderr, model: kettle, with: kettleWith}
	os.Exit(c.run(ctx, os.Args[1:]))
}

// process is a server in a process of its own, which can be killed.
type process struct {
	cmd       *exec.Cmd
	grpc, web string // addresses
	ended     chan error
}

// free returns an address that was free a moment ago, for a server that is to come back at the same place.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// startProcess starts a server and waits until it answers.
func startProcess(t *testing.T, grpc, web string, args ...string) *process {
	t.Helper()
	p := &process{grpc: grpc, web: web, ended: make(chan error, 1)}
	p.cmd = exec.Command(os.Args[0], append([]string{"serve", "-grpc", grpc, "-web", web, "-requests", "0", "-opens", "0",
		"-sockets", "0",
		"-waiting", "0", "-connections", "0", "-all-sockets", "0"}, args...)...)
	p.cmd.Env = append(os.Environ(), serveInstead+"=1")
	p.cmd.Stderr = os.Stderr
	if !testing.Verbose() {
		p.cmd.Stderr = nil
	}
	out, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	go func() { p.ended <- p.cmd.Wait() }()
	t.Cleanup(p.kill)
	require.NoError(t, err, "the server did not start")
	require.True(t, strings.HasPrefix(line, "Open "), line)
	return p
}

// kill ends the process at once, as a fault of the machine would.
func (p *process) kill() {
	if p.cmd.Process.Kill() == nil {
		<-p.ended
	}
}

func (p *process) dialers() []func() (line, error) {
	return []func() (line, error){
		func() (line, error) { return dialRPC(p.grpc) },
		func() (line, error) { return dialSocket("ws://" + p.web + "/socket") },
	}
}

// placeArgs are the flags that name a store.
func placeArgs(place string) []string {
	if strings.HasPrefix(place, "postgres://") {
		return []string{"-store", place}
	}
	return []string{"-data", place}
}

// onBoth runs a test on SQLite and on PostgreSQL.
func onBoth(t *testing.T, test func(t *testing.T, place string)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { test(t, t.TempDir()) })
	t.Run("postgres", func(t *testing.T) { test(t, pgtest.Database(t)) })
}

// rounds is how often something is broken at random: a few times, or under LIGHTOFF_LONG=1 a hundred.
func rounds(few int) int {
	if os.Getenv("LIGHTOFF_LONG") != "" {
		return 100
	}
	return few
}
