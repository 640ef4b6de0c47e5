package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

// channel is where servers on one PostgreSQL tell each other which conversations have grown.
const channel = "lightoff"

// maxConnections is the most that one server opens to PostgreSQL, besides the one that listens.
const maxConnections = 16

// PostgreSQL's settings for how long a transaction may do nothing, and for what a commit waits.
const (
	idleLimit = "idle_in_transaction_session_timeout"
	onDisk    = "synchronous_commit"
)

// IsURL reports whether a place names a PostgreSQL database and not a folder.
func IsURL(place string) bool {
	return strings.HasPrefix(place, "postgres://") || strings.HasPrefix(place, "postgresql://")
}

func openPostgres(ctx context.Context, place string) (*Store, error) {
	name := nameOf(place)
	config, err := pgx.ParseConfig(place)
	if err != nil {
		return nil, fmt.Errorf("database %s: its address cannot be read", name) // the error may quote the password
	}
	// A server whose machine has gone without a word holds a conversation's lock no longer than this.
	if _, given := config.RuntimeParams[idleLimit]; !given {
		config.RuntimeParams[idleLimit] = "15s"
	}
	// Whatever the database's habit is, an event is acknowledged only when it is on disk.
	if _, given := config.RuntimeParams[onDisk]; !given {
		config.RuntimeParams[onDisk] = "on"
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = 5 * time.Second
	}
	db := stdlib.OpenDB(*config)
	db.SetMaxOpenConns(maxConnections)
	db.SetMaxIdleConns(maxConnections)
	db.SetConnMaxIdleTime(5 * time.Minute)
	s := &Store{reads: db, writes: db, now: time.Now, url: place}
	s.write = s.single
	s.announce = func(ctx context.Context, tx *sql.Tx, c Change) error {
		_, err := tx.ExecContext(ctx, `select pg_notify($1, $2)`, channel, fmt.Sprintf("%s %d", c.ID, c.Event))
		return err
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300)) // servers that start together take turns
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	if err := migrate(ctx, db, goose.DialectPostgres, goose.WithSessionLocker(locker)); err != nil {
		return nil, errors.Join(fmt.Errorf("database %s: bring the tables up to date: %w", name, err), db.Close())
	}
	return s, nil
}

// nameOf is a database's address without its user's name and password.
func nameOf(place string) string {
	u, err := url.Parse(place)
	if err != nil {
		return "postgres"
	}
	u.User, u.RawQuery = nil, ""
	return u.String()
}

// single runs do in a transaction of its own; PostgreSQL itself lets those that commit together share a flush.
func (s *Store) single(ctx context.Context, do func(context.Context, *sql.Tx) error) error {
	tx, err := s.writes.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	// After a commit this does nothing; before one, also in a panic, it takes everything back.
	defer tx.Rollback()
	if err := do(ctx, tx); err != nil {
		return err
	}
	return tx.Commit()
}

// Change tells that a conversation has grown to an event, or, at event 0, that it was deleted. The zero Change tells
// that anything may have happened.
type Change struct {
	ID    string
	Event int64
}

// Listen calls heard for every change that any server makes in the database, this one too, until the context ends.
// When it begins, and whenever the connection was lost and is there again, it calls heard with the zero Change, since
// changes may have gone unheard. On SQLite, which one server has to itself, it tells of deletions only.
func (s *Store) Listen(ctx context.Context, heard func(Change)) {
	if s.url == "" {
		s.mu.Lock()
		s.listeners[&heard] = struct{}{}
		s.mu.Unlock()
		<-ctx.Done()
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.listeners, &heard)
		return
	}
	pause := time.Duration(0)
	for ctx.Err() == nil {
		start := time.Now()
		_ = s.listen(ctx, heard) // whatever ended it, all there is to do is to begin anew
		if time.Since(start) > 10*time.Second {
			pause = 0
		}
		pause = min(2*time.Second, max(50*time.Millisecond, 2*pause))
		select {
		case <-time.After(pause):
		case <-ctx.Done():
		}
	}
}

// tell tells listeners in this process; there are none on PostgreSQL, which tells them itself.
func (s *Store) tell(c Change) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for heard := range s.listeners {
		(*heard)(c)
	}
}

func (s *Store) listen(ctx context.Context, heard func(Change)) error {
	dialling, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(dialling, s.url)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(dialling))
	if _, err := conn.Exec(dialling, "listen "+channel); err != nil {
		return err
	}
	heard(Change{})
	for {
		quiet, cancel := context.WithTimeout(ctx, 20*time.Second)
		note, err := conn.WaitForNotification(quiet)
		cancel()
		switch {
		case err == nil:
			id, event, _ := strings.Cut(note.Payload, " ")
			if n, err := strconv.ParseInt(event, 10, 64); err == nil {
				heard(Change{ID: id, Event: n})
			}
		case ctx.Err() != nil:
			return ctx.Err()
		case !errors.Is(err, context.DeadlineExceeded):
			return err
		default: // a peer that has gone without a word is noticed by asking
			asking, cancel := context.WithTimeout(ctx, 5*time.Second)
			err := conn.Ping(asking)
			cancel()
			if err != nil {
				return err
			}
		}
	}
}
