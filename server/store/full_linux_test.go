package store

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

// TestReadyOnFullDisk fills a small disk of memory to its last byte: the store says that it takes nothing, and nothing
// that was acknowledged is lost; once there is room again, it goes on.
func TestReadyOnFullDisk(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=2m"); err != nil {
		t.Skip("a small disk cannot be mounted here: ", err)
	}
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(folder, 0)) })
	s := opened(t, filepath.Join(folder, "data"))
	c := create(t, s)
	require.NoError(t, s.Ready(t.Context()))
	ballast, err := os.Create(filepath.Join(folder, "ballast"))
	require.NoError(t, err)
	for err == nil {
		_, err = ballast.Write(make([]byte, 4096))
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	assert.ErrorIs(t, s.Ready(t.Context()), ErrUnavailable)
	_, _, err = s.Append(t.Context(), c.ID, Request{Key: "full"}, adding(answer("lamp", "on")))
	assert.ErrorIs(t, err, ErrUnavailable)
	_, err = s.Create(t.Context(), "m", diagnosis.Event{Kind: diagnosis.Opened})
	assert.ErrorIs(t, err, ErrUnavailable)
	kept, err := s.Read(t.Context(), c.ID)
	require.NoError(t, err, "what was told can still be read")
	assert.Len(t, kept.Events, 1)
	require.NoError(t, ballast.Truncate(0))
	require.NoError(t, ballast.Close())
	require.NoError(t, s.Ready(t.Context()))
	_, appended, err := s.Append(t.Context(), c.ID, Request{Key: "full"}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	assert.True(t, appended)
	require.NoError(t, s.Check(t.Context()))
}
