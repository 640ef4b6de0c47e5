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

// What one conversation can hold. A talk with a person needs fewer than a hundred events and some kilobytes; a client
// must be able to read the whole at once. Vital events always fit, at most so many of them in so long.
const (
	MaxEvents  = 2000
	MaxBytes   = 512 << 10 // of the events as they are kept
	vitalBurst = 40
	vitalPause = 10 * time.Minute
)

var (
	// ErrNotFound means that no conversation has the id.
	ErrNotFound = errors.New("no such conversation")
	// ErrFull means that the conversation holds MaxEvents events or MaxBytes bytes and takes no more.
	ErrFull = errors.New("the conversation is full; open a new one")
	// ErrManyKeys means that the conversation has as many look-on keys as it may.
	ErrManyKeys = errors.New("the conversation has many look-on keys already; withdraw them first")
	// ErrKeyReused means that the client's key came with another request before.
	ErrKeyReused = errors.New("the client key was used for another request; a new request needs a new key")
)

// FullError means that a conversation is full and takes even vital events only one after the other.
type FullError struct{ Wait time.Duration }

// Error implements error.
func (e *FullError) Error() string { return "the conversation is full; wait, and send it again" }

// Request names what a client asks for, so that the same asked again changes nothing. The zero Request never repeats.
type Request struct {
	// Key is chosen by the client. Empty never repeats.
	Key string
	// Digest is of what is asked for: the same key with another digest is ErrKeyReused. Empty fits every other.
	Digest string
	// Vital reports whether an event is taken though the conversation is full; nil takes none. It is called as update is.
	Vital func(events []diagnosis.Event, e diagnosis.Event) bool
	// Seen is the conversation as ReadOnce has returned it: Append reads only what has come since. Empty reads all.
	Seen Conversation
}

// fits reports whether a digest that is kept may be this request's; an older version of the program has kept none.
func (r Request) fits(kept sql.NullString) bool {
	return !kept.Valid || r.Digest == "" || kept.String == r.Digest
}

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
	Bytes        int         // that the events take as they are kept
	first        int         // of these, the first that was read
}

// Create opens a conversation under a new unguessable id with opened as its first event.
func (s *Store) Create(ctx context.Context, modelVersion string, opened diagnosis.Event) (Conversation, error) {
	return s.CreateOnce(ctx, Request{}, modelVersion, opened)
}

// CreateOnce does the same, unless a conversation was opened with the request's key before; then it returns that one.
// So whoever can guess the key gets the conversation.
func (s *Store) CreateOnce(ctx context.Context, r Request, modelVersion string,
	opened diagnosis.Event) (Conversation, error) {
	if opened.Kind != diagnosis.Opened {
		return Conversation{}, fmt.Errorf("create a conversation: its first event is %q, want %q", opened.Kind,
			diagnosis.Opened)
	}
	opened.Number = 1
	at := s.now().UTC().Truncate(time.Microsecond)
	// Text is 130 random bits in an alphabet that is safe in a URL.
	c := Conversation{ID: rand.Text(), OpenedAt: at, ModelVersion: modelVersion,
		Events: []diagnosis.Event{opened}, At: []time.Time{at}}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		// The database lets one of two that open with the same key at the same time wait for the other.
		added, err := tx.ExecContext(ctx, `insert into conversation (id, opened_at, model_version, open_key, open_request)
			values ($1, $2, $3, $4, $5) on conflict (open_key) do nothing`,
			c.ID, at.UnixMicro(), modelVersion, optional(hashed(r.Key)), optional(r.Digest))
		if err != nil {
			return err
		}
		if n, err := added.RowsAffected(); err != nil {
			return err
		} else if n == 0 {
			c, err = opener(ctx, tx, r)
			return err
		}
		c.Bytes, err = insert(ctx, tx, c.ID, at, Request{}, opened)
		c.first = c.Bytes
		return err
	})
	if err != nil {
		return Conversation{}, fmt.Errorf("create a conversation: %w", sorted(err))
	}
	return c, nil
}

// opener is the conversation that was opened with the request's key.
func opener(ctx context.Context, tx *sql.Tx, r Request) (Conversation, error) {
	var id string
	var digest sql.NullString
	err := tx.QueryRowContext(ctx, `select id, open_request from conversation where open_key = $1`, hashed(r.Key)).
		Scan(&id, &digest)
	switch {
	case err != nil:
		return Conversation{}, err
	case !r.fits(digest):
		return Conversation{}, ErrKeyReused
	}
	return read(ctx, tx, id)
}

// hashed is what is kept of the key of an opening.
func hashed(key string) string {
	if key == "" {
		return ""
	}
	return digest("open " + key)
}

// optional is null for an empty text.
func optional(text string) sql.NullString { return sql.NullString{String: text, Valid: text != ""} }

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

// ReadOnce returns a conversation as Read does, and whether it already has the event of the request, in which case that
// event is among those returned. It returns ErrKeyReused as Append does.
func (s *Store) ReadOnce(ctx context.Context, id string, r Request) (c Conversation, known bool, err error) {
	for {
		if c, err = s.Read(ctx, id); err != nil || r.Key == "" {
			return c, false, err
		}
		number, err := asked(ctx, s.reads, id, r)
		switch {
		case err != nil:
			return Conversation{}, false, fmt.Errorf("look for a client's key: %w", sorted(err))
		case number <= int64(len(c.Events)):
			return c, number > 0, nil
		}
		// It was added in between, so it is there when the log is read again.
	}
}

// asked is the number of the event that a request has made; 0 if there is none.
func asked(ctx context.Context, q querier, id string, r Request) (number int64, err error) {
	if r.Key == "" {
		return 0, nil
	}
	var digest sql.NullString
	err = q.QueryRowContext(ctx, `select number, request from event where conversation_id = $1 and client_key = $2`,
		id, r.Key).Scan(&number, &digest)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return 0, nil
	case err == nil && !r.fits(digest):
		return 0, ErrKeyReused
	}
	return number, err
}

// Append adds the event that update makes from the events so far, and returns all events including it once it is on
// disk. The store numbers the event. Update runs inside the transaction, so what it decides on cannot change under it;
// it must have no effects of its own and must not call the store. An error from it is returned (wrapped) and nothing
// is kept.
//
// Where the conversation already has the event of the request, update is not called, the current events are returned
// and appended is false.
func (s *Store) Append(ctx context.Context, id string, r Request,
	update func(events []diagnosis.Event) (diagnosis.Event, error)) (c Conversation, appended bool, err error) {
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		c, appended, err = s.append(ctx, tx, id, r, update)
		return err
	})
	if err != nil {
		return Conversation{}, false, fmt.Errorf("append to a conversation: %w", sorted(err))
	}
	return c, appended, nil
}

func (s *Store) append(ctx context.Context, tx *sql.Tx, id string, r Request,
	update func([]diagnosis.Event) (diagnosis.Event, error)) (Conversation, bool, error) {
	if err := hold(ctx, tx, id); err != nil {
		return Conversation{}, false, err
	}
	c, err := readOn(ctx, tx, id, r.Seen)
	if err != nil {
		return Conversation{}, false, err
	}
	if number, err := asked(ctx, tx, id, r); err != nil || number > 0 {
		return c, false, err
	}
	full := len(c.Events) >= MaxEvents || c.Bytes >= MaxBytes
	if full && r.Vital == nil {
		return Conversation{}, false, ErrFull
	}
	// Capped, so that an update that appends to its argument cannot reach ours.
	so := c.Events[:len(c.Events):len(c.Events)]
	event, err := update(so)
	if err != nil {
		return Conversation{}, false, err
	}
	event.Number = int64(len(c.Events)) + 1
	at := s.now().UTC().Truncate(time.Microsecond)
	if full {
		if err := c.takes(r.Vital(so, event), at); err != nil {
			return Conversation{}, false, err
		}
	}
	size, err := insert(ctx, tx, id, at, r, event)
	if err != nil {
		return Conversation{}, false, err
	}
	c.Events, c.At, c.Bytes = append(c.Events, event), append(c.At, at), c.Bytes+size
	return c, true, s.announce(ctx, tx, Change{ID: id, Event: event.Number})
}

// takes returns nil if a conversation that is full takes another event now. Nobody who is in danger may be refused, and
// nobody can fill the disk.
func (c Conversation) takes(vital bool, now time.Time) error {
	if !vital {
		return ErrFull
	}
	if n := len(c.At) - vitalBurst; n >= 0 {
		if wait := c.At[n].Add(vitalPause).Sub(now); wait > 0 {
			return &FullError{Wait: wait}
		}
	}
	return nil
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

// wellFormed reports whether a text may be an id. Others are never asked for: a database may choke on them.
func wellFormed(id string) bool {
	return id != "" && !strings.ContainsFunc(id, func(r rune) bool { return (r < 'A' || r > 'Z') && (r < '0' || r > '9') })
}

// Ready returns nil if the database can be reached and takes changes. It makes one, for a full disk is found out by
// writing only.
func (s *Store) Ready(ctx context.Context) error {
	if s.unforgotten.Load() {
		if err := s.forget(ctx); err != nil {
			return fmt.Errorf("empty the log: %w", err)
		}
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `
			insert into probe (id, at) values (1, $1) on conflict (id) do update set at = excluded.at`, s.now().UnixMicro())
		return err
	})
	if err != nil {
		return fmt.Errorf("ask the store: %w", sorted(err))
	}
	return nil
}

// insert adds an event and returns how many bytes it takes.
func insert(ctx context.Context, tx *sql.Tx, id string, at time.Time, r Request, e diagnosis.Event) (int, error) {
	body, err := json.Marshal(e)
	if err != nil {
		return 0, fmt.Errorf("write event %d as JSON: %w", e.Number, err)
	}
	_, err = tx.ExecContext(ctx,
		`insert into event (conversation_id, number, at, client_key, request, body) values ($1, $2, $3, $4, $5, $6)`,
		id, e.Number, at.UnixMicro(), optional(r.Key), optional(r.Digest), string(body))
	return len(body), err
}

type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
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

// readOn is what read returns, for whoever has read the conversation before: as a rule that takes one row. Others wait
// to write meanwhile, and a long log takes some milliseconds to read.
func readOn(ctx context.Context, q querier, id string, seen Conversation) (Conversation, error) {
	n := len(seen.Events)
	if seen.ID != id || n == 0 {
		return read(ctx, q, id)
	}
	rows, err := q.QueryContext(ctx, `
		select c.id, c.opened_at, c.model_version, e.number, e.at, e.body
		from conversation c join event e on e.conversation_id = c.id
		where c.id = $1 and e.number >= $2 order by e.number`, id, n)
	if err != nil {
		return Conversation{}, err
	}
	var since Conversation
	err = each(rows, func(c Conversation) error {
		since = c
		return nil
	})
	// A log only grows, so the last event that was seen is there, unless the conversation is gone.
	if err != nil || len(since.Events) == 0 || since.Events[0].Number != int64(n) {
		return read(ctx, q, id)
	}
	// Capped, for the caller may hold what it has seen.
	out := seen
	out.Events = append(seen.Events[:n:n], since.Events[1:]...)
	out.At = append(seen.At[:n:n], since.At[1:]...)
	out.Bytes += since.Bytes - since.first
	return out, nil
}
