package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/server/store"
)

// TestDamagedFolder goes the whole way out of a damaged data folder: the server does not start on it and names the way,
// check lists what is wrong, backup saves the rest and names what is lost, and the server starts on what is restored.
func TestDamagedFolder(t *testing.T) {
	folder, other := t.TempDir(), t.TempDir()
	s, err := store.Open(t.Context(), folder)
	require.NoError(t, err)
	var ids []string
	for range 60 {
		c, err := s.Create(t.Context(), "model", diagnosis.Event{Kind: diagnosis.Opened})
		require.NoError(t, err)
		ids = append(ids, c.ID)
	}
	require.NoError(t, s.Close())
	path := filepath.Join(folder, "lightoff.db")
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	const page = 4096
	at := bytes.LastIndex(file, []byte(`"kind":"opened"`)) / page * page
	copy(file[at:at+page], bytes.Repeat([]byte{0xa5}, page))
	require.NoError(t, os.WriteFile(path, file, 0o600))

	started := run(t, "", "serve", "-data", folder, "-grpc", "127.0.0.1:0", "-web", "127.0.0.1:0", "-offline", "off")
	assert.NotEqual(t, exitDone, started.code)
	for _, part := range []string{folder, "damaged", `"check"`, `"backup"`, `"restore"`} {
		assert.Contains(t, started.err, part)
	}
	checked := run(t, "", "check", "-data", folder)
	assert.NotEqual(t, exitDone, checked.code)
	assert.NotEmpty(t, checked.out)
	backup := filepath.Join(t.TempDir(), "backup")
	saved := run(t, "", "backup", "-data", folder, backup)
	assert.NotEqual(t, exitDone, saved.code, "whoever starts it by a clock must hear that something is lost")
	assert.Contains(t, saved.err, "cannot be read and are not in the backup")
	restored := run(t, "", "restore", "-data", other, backup)
	require.Equal(t, exitDone, restored.code, restored.err)
	assert.Contains(t, run(t, "", "check", "-data", other).out, "whole")
	p := opened(t, newProgram(other))
	kept := 0
	for _, id := range ids {
		if _, err := p.store.Read(t.Context(), id); err == nil {
			kept++
		} else {
			assert.Contains(t, saved.err, id, "what is lost is named")
		}
	}
	assert.Positive(t, kept)
	assert.Less(t, kept, len(ids))
}
