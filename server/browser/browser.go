// Package browser makes the program with which a page thinks while it has no signal: server/offline as WebAssembly.
// Nobody has to make it beforehand. A server that was started from its source builds it once, into its data folder;
// one that was built for others carries it, if go generate was run before; and one that has neither says so.
package browser

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/andybalholm/brotli"
)

// What is embedded is empty save for a note, unless this was run before building.
//
//go:generate go run lightoff/server offline -out kit
//go:embed kit
var embedded embed.FS

// The files of a kit.
const (
	programFile = "lightoff.wasm.br"
	glueFile    = "wasm_exec.js"
)

// Kit is the program and what Go needs beside it in a browser.
type Kit struct {
	Program []byte // WebAssembly, compressed by brotli (RFC 7932)
	Glue    []byte // the script of the Go that built it, which starts it
}

// ErrNoSource means that the source that this program was built from, or Go, is not at hand.
var ErrNoSource = errors.New("neither was the program for browsers built in, nor are its source and Go at hand to " +
	"build it")

// Embedded is the kit that the server was built with; nil without one.
func Embedded() *Kit {
	kit, err := fs.Sub(embedded, "kit")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	k, err := read(kit)
	if err != nil {
		return nil
	}
	return k
}

// Read reads a kit that Build has put into a folder.
func Read(folder string) (*Kit, error) { return read(os.DirFS(folder)) }

func read(folder fs.FS) (*Kit, error) {
	program, err := fs.ReadFile(folder, programFile)
	if err != nil {
		return nil, err
	}
	glue, err := fs.ReadFile(folder, glueFile)
	if err != nil {
		return nil, err
	}
	return &Kit{program, glue}, nil
}

// Source is the folder of the module that this program was built from, with a digest of what goes into the program
// for browsers. The error is ErrNoSource where there is no such folder, as on a machine to which only the program was
// copied.
func Source() (folder, digest string, err error) {
	_, file, _, ok := runtime.Caller(0)
	folder = filepath.Dir(filepath.Dir(filepath.Dir(file)))
	if !ok || !filepath.IsAbs(folder) {
		return "", "", ErrNoSource
	}
	module, err := os.ReadFile(filepath.Join(folder, "go.mod"))
	if err != nil || !bytes.HasPrefix(module, []byte("module lightoff\n")) {
		return "", "", ErrNoSource
	}
	sum := sha256.New()
	fmt.Fprintln(sum, runtime.Version())
	sum.Write(module)
	for _, part := range []string{"engine", "proto", "server/api", "server/offline", "webui/frame"} {
		root := filepath.Join(folder, filepath.FromSlash(part))
		err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(p, ".go") || strings.HasSuffix(p, "_test.go") {
				return err
			}
			text, err := os.ReadFile(p)
			fmt.Fprintln(sum, len(text))
			sum.Write(text)
			return err
		})
		if err != nil {
			return "", "", ErrNoSource
		}
	}
	return folder, hex.EncodeToString(sum.Sum(nil)[:8]), nil
}

// Best is the quality of compression for what is built once and fetched by many; it takes half a minute.
const Best = brotli.BestCompression

// Build builds the kit from the module's folder into another, which it makes. It asks no network. The error is
// ErrNoSource where there is no Go.
func Build(ctx context.Context, source, folder string, quality int) error {
	tool, err := exec.LookPath("go")
	if err != nil {
		return ErrNoSource
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	work, err := os.MkdirTemp(folder, ".build-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	overlay, err := withoutServices(source, work)
	if err != nil {
		return err
	}
	out := filepath.Join(work, "lightoff.wasm")
	// One processor at a time: whoever is asked something meanwhile comes first.
	build := exec.CommandContext(ctx, tool, "build", "-p", "1", "-overlay", overlay, "-ldflags=-s -w", "-trimpath",
		"-o", out, "./server/offline")
	build.Dir = source
	build.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "GOFLAGS=", "GOPROXY=off", "GOMAXPROCS=1",
		"CGO_ENABLED=0", "GOWORK=off")
	if said, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build the program for browsers: %w: %s", err, bytes.TrimSpace(said))
	}
	root, err := exec.CommandContext(ctx, tool, "env", "GOROOT").Output()
	if err != nil {
		return fmt.Errorf("ask Go where it is: %w", err)
	}
	glue, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", glueFile))
	if err != nil {
		return err
	}
	program, err := os.ReadFile(out)
	if err != nil {
		return err
	}
	if program, err = Compress(program, quality); err != nil {
		return err
	}
	// The program last: where it is, all is.
	if err := place(work, folder, glueFile, glue); err != nil {
		return err
	}
	return place(work, folder, programFile, program)
}

// place puts a file into a folder whole or not at all.
func place(work, folder, name string, content []byte) error {
	if err := os.WriteFile(filepath.Join(work, name), content, 0o644); err != nil {
		return err
	}
	return os.Rename(filepath.Join(work, name), filepath.Join(folder, name))
}

// withoutServices writes the overlay with which Go builds the messages of the API without the calls: those need the
// whole of gRPC, half as large again as all else.
func withoutServices(source, work string) (overlay string, err error) {
	calls, err := filepath.Glob(filepath.Join(source, "proto", "lightoff", "v1", "*_grpc.pb.go"))
	if err != nil {
		return "", err
	}
	replace := map[string]string{}
	for _, file := range calls {
		replace[file] = ""
	}
	text, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	overlay = filepath.Join(work, "overlay.json")
	return overlay, os.WriteFile(overlay, text, 0o644)
}

// Compress compresses by brotli.
func Compress(content []byte, quality int) ([]byte, error) {
	var out bytes.Buffer
	w := brotli.NewWriterOptions(&out, brotli.WriterOptions{Quality: quality, LGWin: 24})
	if _, err := w.Write(content); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// Expand is what was compressed.
func Expand(compressed []byte) ([]byte, error) {
	return io.ReadAll(brotli.NewReader(bytes.NewReader(compressed)))
}

// Sweep removes the kits beside the one of the digest: those of earlier sources.
func Sweep(folder, digest string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return err
	}
	var errs []error
	for _, e := range entries {
		if e.IsDir() && e.Name() != digest {
			errs = append(errs, os.RemoveAll(filepath.Join(folder, e.Name())))
		}
	}
	return errors.Join(errs...)
}
