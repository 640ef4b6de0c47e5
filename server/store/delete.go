package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Delete removes a conversation and all that was said in it, or returns ErrNotFound. Afterwards neither the tables nor
// SQLite's file hold it. PostgreSQL frees the space at its next vacuum; archives of its log, copies and backups made
// before are beyond reach.
func (s *Store) Delete(ctx context.Context, id string) error {
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error { return s.remove(ctx, tx, id, never) })
	if err != nil {
		return fmt.Errorf("delete a conversation: %w", sorted(err))
	}
	s.tell(Change{ID: id})
	return s.forget(ctx)
}

// DeleteOlder deletes the conversations whose latest event is older than the age, and returns how many.
func (s *Store) DeleteOlder(ctx context.Context, age time.Duration) (int, error) {
	before := s.now().Add(-age).UnixMicro()
	ids, err := s.list(ctx, `select id from conversation c where opened_at < $1 and not exists (
		select 1 from event e where e.conversation_id = c.id and e.at >= $1) order by opened_at, id`, before)
	if err != nil {
		return 0, fmt.Errorf("look for old conversations: %w", sorted(err))
	}
	swept := 0
	for _, id := range ids {
		err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error { return s.remove(ctx, tx, id, before) })
		switch {
		case err == nil:
			swept++
			s.tell(Change{ID: id})
		case errors.Is(err, ErrNotFound): // spoken in, or deleted, meanwhile
		default:
			return swept, fmt.Errorf("delete an old conversation: %w", sorted(err))
		}
	}
	if swept == 0 {
		return 0, nil
	}
	return swept, s.forget(ctx)
}

// never is a time in microseconds after all others.
const never = 1<<63 - 1

// remove deletes a conversation unless it has an event at or after the time.
func (s *Store) remove(ctx context.Context, tx *sql.Tx, id string, before int64) error {
	if err := hold(ctx, tx, id); err != nil {
		return err
	}
	var latest sql.NullInt64
	if err := tx.QueryRowContext(ctx, `select max(at) from event where conversation_id = $1`,
		id).Scan(&latest); err != nil {
		return err
	}
	if !latest.Valid || latest.Int64 >= before {
		return ErrNotFound
	}
	for _, statement := range []string{
		`delete from pass where conversation_id = $1`, `delete from event where conversation_id = $1`,
		`delete from conversation where id = $1`,
	} {
		if _, err := tx.ExecContext(ctx, statement, id); err != nil {
			return err
		}
	}
	return s.announce(ctx, tx, Change{ID: id})
}
