package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"time"

	"lightoff/server/browser"
	"lightoff/webui"
)

// buildAfter is how long a server has served before it builds the program for browsers, for who starts it looks at
// the page.
const buildAfter = 5 * time.Second

// offline holds what pages think with while they have no signal.
type offline struct {
	mu    sync.Mutex
	kit   *webui.Kit // nil until the program is there; without a model until one is asked for
	model string     // the version whose model is in the kit
}

// build runs this program once more, as "offline", with the least claim on the processor where the system knows such
// a thing.
func build(ctx context.Context, folder string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	run := []string{self, "offline", "-out", folder}
	if nice, err := exec.LookPath("nice"); err == nil {
		run = append([]string{nice, "-n", "19"}, run...)
	}
	said, err := exec.CommandContext(ctx, run[0], run[1:]...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%w: %s", err, oneLine(errors.New(string(said))))
	}
	return nil
}

// makeOffline finds the program for browsers or has it built, and says plainly where there will be none.
func (p *Program) makeOffline(ctx context.Context) {
	kit, err := p.findOffline(ctx)
	switch {
	case ctx.Err() != nil:
		return
	case err != nil:
		p.Log.Warn("pages do not work without a signal", "reason", oneLine(err))
		return
	}
	p.offline.mu.Lock()
	defer p.offline.mu.Unlock()
	p.offline.kit = &webui.Kit{Program: kit.Program, Glue: kit.Glue}
	p.Log.Info("pages work without a signal once a browser has fetched what it needs", "bytes", len(kit.Program))
}

func (p *Program) findOffline(ctx context.Context) (*browser.Kit, error) {
	if kit := browser.Embedded(); kit != nil {
		return kit, nil
	}
	source, digest, err := browser.Source()
	if err != nil {
		return nil, err
	}
	all := filepath.Join(p.Data, "offline")
	folder := filepath.Join(all, digest)
	if kit, err := browser.Read(folder); err == nil {
		return kit, nil
	}
	if _, err := exec.LookPath("go"); err != nil {
		return nil, browser.ErrNoSource
	}
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(buildAfter):
	}
	p.Log.Info("building the program with which pages work without a signal, beside all else; it takes a minute or two",
		"source", source)
	if err := p.Build(ctx, folder); err != nil {
		return nil, err
	}
	kit, err := browser.Read(folder)
	if err != nil {
		return nil, err
	}
	return kit, browser.Sweep(all, digest)
}

// offlineKit is what pages are to keep, with the model that is in use; nil where there is none.
func (p *Program) offlineKit(ctx context.Context) *webui.Kit {
	p.offline.mu.Lock()
	defer p.offline.mu.Unlock()
	if p.offline.kit == nil || p.Compact == nil {
		return nil
	}
	m := p.api.InUse()
	if p.offline.model != m.Version {
		model, err := p.compact(ctx)
		if err != nil {
			p.Log.Error("writing the model for browsers", "error", err)
			return nil
		}
		next := *p.offline.kit
		next.Model = model
		p.offline.kit, p.offline.model = &next, m.Version
	}
	return p.offline.kit
}

// compact is the model in use for browsers, compressed.
func (p *Program) compact(ctx context.Context) ([]byte, error) {
	m := p.api.InUse()
	overlay, err := p.overlayOf(ctx, m.Version)
	if err != nil {
		return nil, err
	}
	compact, err := p.Compact(overlay, m)
	if err != nil {
		return nil, err
	}
	return browser.Compress(compact, 9)
}

// overlayOf are the learnt numbers of a version; nil for the built-in model.
func (p *Program) overlayOf(ctx context.Context, version string) ([]byte, error) {
	builtIn, err := p.Model()
	if err != nil || builtIn.Version == version {
		return nil, err
	}
	kept, err := p.store.Model(ctx, version)
	return []byte(kept.Overlay), err
}

// buildOffline is the command that builds the program for browsers into a folder.
func (c command) buildOffline(ctx context.Context, args []string) int {
	flags := flag.NewFlagSet("offline", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	out := flags.String("out", "", "")
	quality := flags.Int("quality", browser.Best, "")
	plain := flags.Bool("plain", false, "")
	err := flags.Parse(args)
	if err != nil || *out == "" || flags.NArg() > 0 || *quality < 0 || *quality > browser.Best {
		return c.fail(exitUse, "offline takes -out FOLDER, -plain and -quality 0 to %d", browser.Best)
	}
	source, _, err := browser.Source()
	if err == nil {
		err = browser.Build(ctx, source, *out, *quality)
	}
	if err == nil && *plain {
		err = c.plainOffline(*out)
	}
	if err != nil {
		return c.fail(exitUse, "%s", oneLine(err))
	}
	return exitDone
}

// plainOffline puts the program as it is and the built-in model beside what was built, for pages without this server.
func (c command) plainOffline(folder string) error {
	kit, err := browser.Read(folder)
	if err != nil {
		return err
	}
	program, err := browser.Expand(kit.Program)
	if err != nil {
		return err
	}
	m, err := c.model()
	if err != nil {
		return err
	}
	model, err := c.compact(nil, m)
	if err != nil {
		return err
	}
	return errors.Join(os.WriteFile(filepath.Join(folder, "lightoff.wasm"), program, 0o644),
		os.WriteFile(filepath.Join(folder, "model"), model, 0o644))
}
