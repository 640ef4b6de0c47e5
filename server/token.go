package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"lightoff/server/store"
)

// storeFlags adds the flags that say where the store is.
func storeFlags(flags *flag.FlagSet, place *place) {
	flags.SetOutput(io.Discard)
	flags.StringVar(&place.data, "data", usualData, "")
	flags.StringVar(&place.store, "store", "", "")
}

// place says where the store is: a PostgreSQL address, or else a folder.
type place struct{ data, store string }

func (p place) String() string {
	if p.store != "" {
		return p.store
	}
	return p.data
}

// errNotPostgres means that -store names something else than a PostgreSQL database.
var errNotPostgres = errors.New("-store wants postgres://…; for a folder use -data")

func (p place) open(ctx context.Context) (*store.Store, error) { return p.openWith(ctx, store.Open) }

func (p place) openWith(ctx context.Context, open func(context.Context, string) (*store.Store, error)) (*store.Store,
	error) {
	if p.store != "" && !store.IsURL(p.store) {
		return nil, errNotPostgres
	}
	return open(ctx, p.String())
}

// withStore parses a subcommand's arguments, of which want remain, and runs do on the store that they name. Flags may
// stand before and behind.
func (c command) withStore(ctx context.Context, flags *flag.FlagSet, args []string, want int,
	do func(*store.Store, []string) error) int {
	return c.opening(ctx, store.Open, flags, args, want, do)
}

// withDamaged does the same, also with a store whose file is damaged.
func (c command) withDamaged(ctx context.Context, flags *flag.FlagSet, args []string, want int,
	do func(*store.Store, []string) error) int {
	return c.opening(ctx, store.OpenAnyway, flags, args, want, do)
}

func (c command) opening(ctx context.Context, open func(context.Context, string) (*store.Store, error),
	flags *flag.FlagSet, args []string,
	want int, do func(*store.Store, []string) error) int {
	var at place
	storeFlags(flags, &at)
	var rest []string
	for {
		if err := flags.Parse(args); err != nil {
			return c.fail(exitUse, "%s: %v; \"help\" shows what there is", flags.Name(), err)
		}
		if flags.NArg() == 0 {
			break
		}
		rest, args = append(rest, flags.Arg(0)), flags.Args()[1:]
	}
	if len(rest) != want {
		return c.fail(exitUse, "%s wants %d arguments, not %d; \"help\" shows what there is", flags.Name(), want, len(rest))
	}
	s, err := at.openWith(ctx, open)
	if err != nil {
		return c.fail(exitUse, "%s", oneLine(err))
	}
	if err := errors.Join(do(s, rest), s.Close()); err != nil {
		return c.fail(codeOf(err), "%s", oneLine(err))
	}
	return exitDone
}

// token makes, lists or revokes access tokens.
func (c command) token(ctx context.Context, args []string) int {
	if len(args) == 0 {
		return c.fail(exitUse, "token make, list or revoke? \"help\" shows how")
	}
	flags := flag.NewFlagSet("token "+args[0], flag.ContinueOnError)
	switch args[0] {
	case "make":
		name := flags.String("name", "", "")
		scope := flags.String("scope", "", "")
		valid := age(365 * 24 * time.Hour)
		flags.Var(&valid, "valid", "")
		return c.withStore(ctx, flags, args[1:], 0, func(s *store.Store, _ []string) error {
			text, t, err := s.MakeToken(ctx, *name, store.Scope(*scope), time.Duration(valid))
			if err == nil {
				fmt.Fprintf(c.err, "Valid until %s. It is shown this once only:\n", t.ExpiresAt.Format(time.DateOnly))
				_, err = fmt.Fprintln(c.out, text)
			}
			return err
		})
	case "list":
		return c.withStore(ctx, flags, args[1:], 0, func(s *store.Store, _ []string) error { return c.listTokens(ctx, s) })
	case "revoke":
		return c.withStore(ctx, flags, args[1:], 1, func(s *store.Store,
			ids []string) error {
			return s.RevokeToken(ctx, ids[0])
		})
	}
	return c.fail(exitUse, "unknown command \"token %s\"; \"help\" lists them", args[0])
}

func (c command) listTokens(ctx context.Context, s *store.Store) error {
	tokens, err := s.Tokens(ctx)
	if err != nil {
		return err
	}
	table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "id\tscope\tmade\texpires\tname")
	for _, t := range tokens {
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%q\n", t.ID, t.Scope, t.Made.Format(time.DateOnly),
			t.ExpiresAt.Format(time.DateOnly), t.Name)
	}
	return table.Flush()
}
