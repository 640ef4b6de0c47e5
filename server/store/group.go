package store

import (
	"context"
	"database/sql"
	"errors"
	"sync"
	"sync/atomic"
)

// maxGroup bounds how many changes share one flush to disk, so that the first of them does not wait long for the last.
const maxGroup = 128

// grouped commits changes that are asked for at the same time together: one flush to disk serves them all. Whoever
// finds the turn free takes all that wait; no goroutine of its own is needed. It suits a database with one writer.
type grouped struct {
	db      *sql.DB
	turn    chan struct{} // of capacity 1; held while committing
	mu      sync.Mutex
	waiting []*change
}

// change is one caller's part of a group.
type change struct {
	ctx      context.Context
	do       func(context.Context, *sql.Tx) error
	taken    atomic.Bool // by the group that runs it, or by its caller who gave up
	err      error       // valid once done is closed
	panicked any
	done     chan struct{}
}

func newGrouped(db *sql.DB) *grouped { return &grouped{db: db, turn: make(chan struct{}, 1)} }

// write runs do within a transaction and returns once it is on disk. Do either counts wholly or not at all, whatever
// becomes of others in the group.
func (g *grouped) write(ctx context.Context, do func(context.Context, *sql.Tx) error) error {
	c := &change{ctx: ctx, do: do, done: make(chan struct{})}
	g.mu.Lock()
	g.waiting = append(g.waiting, c)
	g.mu.Unlock()
	gone := ctx.Done()
	for {
		select {
		case <-c.done:
			if c.panicked != nil {
				panic(c.panicked)
			}
			return c.err
		case g.turn <- struct{}{}:
			g.commit(g.takeBatch())
			<-g.turn
		case <-gone:
			if c.taken.CompareAndSwap(false, true) {
				return ctx.Err()
			}
			gone = nil // it is under way; what it comes to must be awaited, for it uses the caller's variables
		}
	}
}

// takeBatch removes those who have waited longest.
func (g *grouped) takeBatch() []*change {
	g.mu.Lock()
	defer g.mu.Unlock()
	n := min(len(g.waiting), maxGroup)
	var group []*change
	for _, c := range g.waiting[:n] {
		if c.taken.CompareAndSwap(false, true) {
			group = append(group, c)
		}
	}
	g.waiting = append([]*change(nil), g.waiting[n:]...)
	return group
}

// commit runs a group. The database takes a whole transaction back when a statement in it is interrupted, so a
// caller who gives up must not interrupt; his change is taken back afterwards.
func (g *grouped) commit(group []*change) {
	if len(group) == 0 {
		return
	}
	ctx := context.WithoutCancel(group[0].ctx)
	tx, err := g.db.BeginTx(ctx, nil)
	if err == nil {
		defer tx.Rollback() // does nothing after a commit
		for _, c := range group {
			if err = c.run(ctx, tx, len(group) > 1); err != nil {
				break
			}
		}
	}
	if err == nil {
		err = tx.Commit()
	}
	for _, c := range group {
		if err != nil && c.err == nil {
			c.err = err
		}
		close(c.done)
	}
}

// run does one change and takes it back by itself if it fails. An error means that the whole transaction is lost.
func (c *change) run(ctx context.Context, tx *sql.Tx, shared bool) error {
	if shared {
		if _, err := tx.ExecContext(ctx, `savepoint one`); err != nil {
			return err
		}
	}
	if c.err = c.try(ctx, tx); c.err == nil {
		c.err = c.ctx.Err()
	}
	switch {
	case !shared:
		return c.err
	case c.err != nil:
		if _, err := tx.ExecContext(ctx, `rollback to one`); err != nil {
			return errors.Join(c.err, err)
		}
	}
	_, err := tx.ExecContext(ctx, `release one`)
	return err
}

func (c *change) try(ctx context.Context, tx *sql.Tx) (err error) {
	defer func() {
		if c.panicked = recover(); c.panicked != nil {
			err = errors.New("panicked") // nobody sees it: the panic goes on in the caller
		}
	}()
	return c.do(ctx, tx)
}
