package store

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/server/store/pgtest"
)

const crashFolder = "LIGHTOFF_TEST_CRASH_FOLDER"

// TestMain turns the test program into a writer that never stops when TestKilledWriter starts it again.
func TestMain(m *testing.M) {
	if folder := os.Getenv(crashFolder); folder != "" {
		if err := writeForever(folder); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(pgtest.Main(m))
}

// writeForever prints "id number" once each event is acknowledged.
func writeForever(folder string) error {
	ctx := context.Background()
	s, err := Open(ctx, folder)
	if err != nil {
		return err
	}
	c, err := s.Create(ctx, "model-1", diagnosis.Event{Kind: diagnosis.Opened})
	if err != nil {
		return err
	}
	for {
		got, _, err := s.Append(ctx, c.ID, Request{}, adding(answer("lamp", "on")))
		if err != nil {
			return err
		}
		fmt.Println(c.ID, len(got.Events))
	}
}

// TestKilledWriter kills a writer in the middle of its work: what it had acknowledged is there, and the log is whole.
// It cannot cut the power, so it does not prove what the disk does.
func TestKilledWriter(t *testing.T) { onBoth(t, checkKilledWriter) }

func checkKilledWriter(t *testing.T, folder string) {
	writer := exec.Command(os.Args[0])
	writer.Env = append(os.Environ(), crashFolder+"="+folder)
	writer.Stderr = os.Stderr
	out, err := writer.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, writer.Start())
	var id string
	var acknowledged int
	for lines := bufio.NewScanner(out); lines.Scan(); {
		_, err := fmt.Sscan(lines.Text(), &id, &acknowledged)
		require.NoError(t, err, lines.Text())
		if acknowledged == 50 {
			require.NoError(t, writer.Process.Kill())
			// What it wrote before it died is still in the pipe and was acknowledged too.
		}
	}
	assert.ErrorContains(t, writer.Wait(), "killed")
	require.GreaterOrEqual(t, acknowledged, 50)

	s := opened(t, folder)
	c, err := s.Read(t.Context(), id)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(c.Events), acknowledged)
	_, _, err = s.Append(t.Context(), id, Request{}, adding(answer("lamp", "off")))
	assert.NoError(t, err, "the log goes on where it stopped")
}
