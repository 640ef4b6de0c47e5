package main

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"lightoff/engine/knowledge"
	"lightoff/server/store"
)

// patience is how long a test waits for what ought to come at once.
const patience = 20 * time.Second

var kettle = sync.OnceValues(func() (*knowledge.Model, error) {
	return knowledge.Load(os.DirFS("testdata/kettle"), nil)
})

// kettleWith is the kettle with learnt numbers.
func kettleWith(overlay []byte) (*knowledge.Model, error) {
	return knowledge.LoadWith(os.DirFS("testdata/kettle"), overlay, nil)
}

// newProgram returns a program on free ports that keeps its data in folder; it is not open yet.
func newProgram(folder string) *Program {
	return &Program{GRPC: "127.0.0.1:0", Web: "127.0.0.1:0", Data: folder, Model: kettle, With: kettleWith,
		Log:       slog.New(slog.DiscardHandler),
		lookEvery: 50 * time.Millisecond}
}

// opened opens a program, which is closed and whose data are checked when the test ends.
func opened(t *testing.T, p *Program) *Program {
	t.Helper()
	require.NoError(t, p.Open(t.Context()))
	t.Cleanup(func() {
		closed(t, p)
		s, err := store.Open(context.Background(), p.Data)
		if assert.NoError(t, err) {
			assert.NoError(t, s.Check(context.Background()), "the store after the test")
			assert.NoError(t, s.Close())
		}
	})
	return p
}

func closed(t *testing.T, p *Program) {
	t.Helper()
	limited, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	assert.NoError(t, p.Close(limited))
	assert.NoError(t, limited.Err(), "closed by force")
}

func dial(t *testing.T, p *Program) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(p.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	return conn
}

// ran is what a run of the command left behind.
type ran struct {
	code     int
	out, err string
}

func runWith(ctx context.Context, model func() (*knowledge.Model, error), in string, args ...string) ran {
	var out, errs bytes.Buffer
	c := command{in: strings.NewReader(in), out: &out, err: &errs, model: model, with: kettleWith}
	return ran{code: c.run(ctx, args), out: out.String(), err: errs.String()}
}

func run(t *testing.T, in string, args ...string) ran {
	t.Helper()
	return runWith(t.Context(), kettle, in, args...)
}

// oneLineOf asserts that a command failed with one line and returns it.
func (r ran) oneLineOf(t *testing.T, code int) string {
	t.Helper()
	assert.Equal(t, code, r.code, r.err)
	assert.Empty(t, r.out)
	assert.Equal(t, 1, strings.Count(r.err, "\n"), r.err)
	return strings.TrimSuffix(r.err, "\n")
}

// brokenPipe is an output that nobody reads any more.
type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }
