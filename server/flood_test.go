package main

import (
	"bytes"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tables is where a trial writes while a test reads.
type tables struct {
	mu  sync.Mutex
	out bytes.Buffer
}

// Write implements io.Writer.
func (w *tables) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.out.Write(p)
}

func (w *tables) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.out.String()
}

// TestRestartWithWatchers ends a server under those who watch and starts it again: all are back, are told nothing that
// they know, and a new caller is answered.
func TestRestartWithWatchers(t *testing.T) {
	grpc, web, folder := free(t), free(t), t.TempDir()
	server := startProcess(t, grpc, web, placeArgs(folder)...)
	var out tables
	trial := &trial{grpc: grpc, web: web, time: 500 * time.Millisecond, watchers: 40, out: &out}
	require.NoError(t, trial.prepare(t.Context()))
	ended := make(chan error, 1)
	go func() { ended <- trial.restart(t.Context()) }()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "40 watch; end the server") }, patience,
		10*time.Millisecond)
	server.kill()
	startProcess(t, grpc, web, placeArgs(folder)...)
	select {
	case err := <-ended:
		require.NoError(t, err)
	case <-time.After(patience):
		t.Fatal("they are not back: ", out.String())
	}
	assert.Contains(t, out.String(), "all are back\nthey were sent 0 messages")
}

// TestFloodsArePlayed plays every kind of flood for a moment against a server with its usual limits; the table has a
// row for each.
func TestFloodsArePlayed(t *testing.T) {
	p := opened(t, newProgram(t.TempDir()))
	var out tables
	trial := &trial{grpc: p.GRPCAddress(), web: strings.TrimRight(strings.TrimPrefix(p.URL(), "http://"), "/"),
		time: 50 * time.Millisecond, flood: 200, out: &out}
	require.NoError(t, trial.prepare(t.Context()))
	require.NoError(t, trial.flooding(t.Context()))
	for _, kind := range trial.floods("") {
		assert.Contains(t, out.String(), "\n"+kind.name+" ")
	}
	require.NoError(t, trial.openLoop(t.Context()))
	assert.Contains(t, out.String(), "\nrate/s ")
}
