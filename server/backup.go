package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"lightoff/server/store"
)

// backup writes the store to a file, which appears under its name only once it is whole, or, for "-", to the output.
func (c command) backup(ctx context.Context, args []string) int {
	return c.withDamaged(ctx, flag.NewFlagSet("backup", flag.ContinueOnError), args, 1,
		func(s *store.Store, names []string) error {
			if names[0] == "-" {
				return s.Backup(ctx, c.out)
			}
			return backupTo(ctx, s, names[0])
		})
}

func backupTo(ctx context.Context, s *store.Store, name string) (err error) {
	// Readable by its owner only, like the store.
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return fmt.Errorf("back up: %w", err)
	}
	defer func() {
		if _, there := os.Stat(f.Name()); there == nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	lost := s.Backup(ctx, f)
	if _, whole := errors.AsType[*store.LostError](lost); lost != nil && !whole {
		return errors.Join(lost, f.Close())
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("back up: %w", err)
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return err
	}
	return lost
}

// errNotWhole is what check ends with when it has listed what is wrong.
var errNotWhole = errors.New("the store is damaged; \"backup\" saves what can be read, and \"restore\" puts it into " +
	"a new one")

// check looks the whole store over and lists what is wrong.
func (c command) check(ctx context.Context, args []string) int {
	return c.withDamaged(ctx, flag.NewFlagSet("check", flag.ContinueOnError), args, 0,
		func(s *store.Store, _ []string) error {
			err := s.Check(ctx)
			if err == nil {
				_, err = fmt.Fprintln(c.out, "The store is whole.")
				return err
			}
			if _, err := fmt.Fprintln(c.out, err); err != nil {
				return err
			}
			return errNotWhole
		})
}

// restore fills an empty store from a file, or, for "-", from the input.
func (c command) restore(ctx context.Context, args []string) int {
	return c.withStore(ctx, flag.NewFlagSet("restore", flag.ContinueOnError), args, 1,
		func(s *store.Store, names []string) error {
			if names[0] == "-" {
				return s.Restore(ctx, c.in)
			}
			f, err := os.Open(names[0])
			if err != nil {
				return fmt.Errorf("restore: %w", err)
			}
			defer f.Close()
			return s.Restore(ctx, f)
		})
}
