package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"lightoff/engine/diagnosis"
)

// MaxEvents is the most events that one conversation can hold; a talk with a person needs fewer than a hundred.
const MaxEvents = 2000

var (
	// ErrNotFound means that no conversation has the id.
	ErrNotFound = errors.New("no such conversation")
	// ErrFull means that the conversation holds MaxEvents events and takes no more.
	ErrFull = errors.New("the conversation is full; open a new one")
)

// Store is an event log. It is safe for concurrent use.
type Store struct {
	// reads and writes are two pools on one database, so that a read never queues behind another caller's disk flush.
	reads, writes *sql.DB
	now           func() time.Time
	url           string // of PostgreSQL; empty for SQLite
	// write runs a function in a transaction and returns once that is on disk.
	write func(context.Context, func(context.Context, *sql.Tx) error) error
	// announce tells other servers, if there may be any, once the transaction is committed.
	announce func(context.Context, *sql.Tx, Change) error
	// unforgotten is set while SQLite's log may still hold what was deleted.
	unforgotten atomic.Bool

	mu        sync.Mutex
	listeners map[*func(Change)]struct{} // on SQLite, where only deletions are told
}

// Conversation is one conversation's log with what was noted when it was opened.
type Conversation struct {
	ID           string
	OpenedAt     time.Time // UTC
	ModelVersion string    // the model that was in use when it was opened
	Events       []diagnosis.Event
	At           []time.Time // of each event, UTC
}

// Create opens a conversation under a new unguessable id with opened as its first event.
func (s *Store) Create(ctx context.Context, modelVersion string, opened diagnosis.Event) (Conversation, error) {
	if opened.Kind != diagnosis.Opened {
		return Conversation{}, fmt.Errorf("create a conversation: its first event is %q, want %q", opened.Kind, diagnosis.Opened)
	}
	opened.Number = 1
	at := s.now().UTC().Truncate(time.Microsecond)
	// Text is 130 random bits in an alphabet that is safe in a URL.
	c := Conversation{ID: rand.Text(), OpenedAt: at, ModelVersion: modelVersion, Events: []diagnosis.Event{opened}, At: []time.Time{at}}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into conversation (id, opened_at, model_version) values ($1, $2, $3)`,
			c.ID, at.UnixMicro(), modelVersion)
		if err != nil {
			return err
		}
		return insert(ctx, tx, c.ID, at, "", opened)
	})
	if err != nil {
		return Conversation{}, fmt.Errorf("create a conversation: %w", sorted(err))
	}
	return c, nil
}

// Read returns a conversation with all its events, oldest first, or ErrNotFound.
func (s *Store) Read(ctx context.Context, id string) (Conversation, error) {
	if !wellFormed(id) {
		return Conversation{}, fmt.Errorf("read a conversation: %w", ErrNotFound)
	}
	c, err := read(ctx, s.reads, id)
	if err != nil {
		return Conversation{}, fmt.Errorf("read a conversation: %w", sorted(err))
	}
	return c, nil
}

// Look returns a conversation as Read does, and whether it already has an event with the key, in which case that event is
// among those returned.
func (s *Store) Look(ctx context.Context, id, clientKey string) (c Conversation, known bool, err error) {
	for {
		if c, err = s.Read(ctx, id); err != nil || clientKey == "" {
			return c, false, err
		}
		var number int64
		err := s.reads.QueryRowContext(ctx, `select number from event where conversation_id = $1 and client_key = $2`,
			id, clientKey).Scan(&number)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return c, false, nil
		case err != nil:
			return Conversation{}, false, fmt.Errorf("look for a client's key: %w", sorted(err))
		case number <= int64(len(c.Events)):
			return c, true, nil
		}
		// It was added in between, so it is there when the log is read again.
	}
}

// Append adds the event that update makes from the events so far, and returns all events including it once it is on
// disk. The store numbers the event. Update runs inside the transaction, so what it decides on cannot change under it;
// it must have no effects of its own and must not call the store. An error from it is returned (wrapped) and nothing
// is kept.
//
// A clientKey names the request: where the conversation already has an event with that key, update is not called, the
// current events are returned and appended is false. An empty key never repeats.
func (s *Store) Append(ctx context.Context, id, clientKey string,
	update func(events []diagnosis.Event) (diagnosis.Event, error)) (c Conversation, appended bool, err error) {
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		c, appended, err = s.append(ctx, tx, id, clientKey, update)
		return err
	})
	if err != nil {
		return Conversation{}, false, fmt.Errorf("append to a conversation: %w", sorted(err))
	}
	return c, appended, nil
}

func (s *Store) append(ctx context.Context, tx *sql.Tx, id, clientKey string,
	update func([]diagnosis.Event) (diagnosis.Event, error)) (Conversation, bool, error) {
	if err := hold(ctx, tx, id); err != nil {
		return Conversation{}, false, err
	}
	c, err := read(ctx, tx, id)
	if err != nil {
		return Conversation{}, false, err
	}
	if clientKey != "" {
		var number int64
		err := tx.QueryRowContext(ctx, `select number from event where conversation_id = $1 and client_key = $2`,
			id, clientKey).Scan(&number)
		if err == nil {
			return c, false, nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return Conversation{}, false, err
		}
	}
	if len(c.Events) >= MaxEvents {
		return Conversation{}, false, ErrFull
	}
	// Capped, so that an update that appends to its argument cannot reach ours.
	event, err := update(c.Events[:len(c.Events):len(c.Events)])
	if err != nil {
		return Conversation{}, false, err
	}
	event.Number = int64(len(c.Events)) + 1
	at := s.now().UTC().Truncate(time.Microsecond)
	if err := insert(ctx, tx, id, at, clientKey, event); err != nil {
		return Conversation{}, false, err
	}
	c.Events, c.At = append(c.Events, event), append(c.At, at)
	return c, true, s.announce(ctx, tx, Change{ID: id, Event: event.Number})
}

// hold keeps others from changing a conversation until the transaction ends. It changes nothing, but locks the row on
// a database that locks rows rather than the whole file.
func hold(ctx context.Context, tx *sql.Tx, id string) error {
	if !wellFormed(id) {
		return ErrNotFound
	}
	_, err := tx.ExecContext(ctx, `update conversation set opened_at = opened_at where id = $1`, id)
	return err
}

// wellFormed tells whether a text may be an id. Others are never asked for: a database may choke on them.
func wellFormed(id string) bool {
	return id != "" && !strings.ContainsFunc(id, func(r rune) bool { return (r < 'A' || r > 'Z') && (r < '0' || r > '9') })
}

// Ready returns nil if the database can be reached and takes changes.
func (s *Store) Ready(ctx context.Context) error {
	if s.unforgotten.Load() {
		if err := s.forget(ctx); err != nil {
			return fmt.Errorf("empty the log: %w", err)
		}
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `update conversation set opened_at = opened_at where id = ''`)
		return err
	})
	if err != nil {
		return fmt.Errorf("ask the store: %w", sorted(err))
	}
	return nil
}

func insert(ctx context.Context, tx *sql.Tx, id string, at time.Time, clientKey string, e diagnosis.Event) error {
	body, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("write event %d as JSON: %w", e.Number, err)
	}
	_, err = tx.ExecContext(ctx,
		`insert into event (conversation_id, number, at, client_key, body) values ($1, $2, $3, $4, $5)`,
		id, e.Number, at.UnixMicro(), sql.NullString{String: clientKey, Valid: clientKey != ""}, string(body))
	return err
}

type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// read is one statement, so that it sees one state of the log even outside a transaction.
func read(ctx context.Context, q querier, id string) (Conversation, error) {
	rows, err := q.QueryContext(ctx, `
		select c.id, c.opened_at, c.model_version, e.number, e.at, e.body
		from conversation c join event e on e.conversation_id = c.id
		where c.id = $1 order by e.number`, id)
	if err != nil {
		return Conversation{}, err
	}
	var found Conversation
	err = each(rows, func(c Conversation) error {
		found = c
		return nil
	})
	if err == nil && found.ID == "" {
		err = ErrNotFound
	}
	return found, err
}
