package browser

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is built is a WebAssembly program (its magic number and version: WebAssembly Core Specification 2.0, 5.5.16),
// comes with the script that starts it, and is found again; what is of earlier sources goes.
func TestBuild(t *testing.T) {
	source, digest, err := Source()
	require.NoError(t, err)
	all := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(all, "earlier"), 0o755))
	folder := filepath.Join(all, digest)
	require.NoError(t, Build(t.Context(), source, folder, 1))
	kit, err := Read(folder)
	require.NoError(t, err)
	program, err := Expand(kit.Program)
	require.NoError(t, err)
	assert.True(t, bytes.HasPrefix(program, []byte("\x00asm\x01\x00\x00\x00")))
	assert.Contains(t, string(kit.Glue), "class")
	assert.False(t, bytes.Contains(program, []byte("go-yaml/parser.ParseBytes")), "the model is not parsed there")
	assert.False(t, bytes.Contains(program, []byte("google.golang.org/grpc.")), "and no call goes out")
	left, err := filepath.Glob(filepath.Join(folder, ".build-*"))
	require.NoError(t, err)
	assert.Empty(t, left)
	require.NoError(t, Sweep(all, digest))
	assert.NoDirExists(t, filepath.Join(all, "earlier"))
	assert.DirExists(t, folder)
}

func TestBuildSaysWhatIsMissing(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	assert.ErrorIs(t, Build(t.Context(), t.TempDir(), t.TempDir(), 1), ErrNoSource)
	_, err := Read(t.TempDir())
	assert.ErrorIs(t, err, os.ErrNotExist)
}

// What is committed is only a note: the program is made where it is needed.
func TestNothingBuiltIsCommitted(t *testing.T) {
	ignored, err := os.ReadFile("../../.gitignore")
	require.NoError(t, err)
	assert.Contains(t, string(ignored), "/server/browser/kit/*\n")
}
