package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"lightoff/engine/diagnosis"
)

// Timed is a conversation with the time of each of its events, in UTC.
type Timed struct {
	Conversation
	At []time.Time
}

// Since returns the conversations in which something happened at or after a time, the latest first, at most so many, and
// whether there are more. It is one statement, so it sees one state of the log.
func (s *Store) Since(ctx context.Context, from time.Time, limit int) (found []Timed, more bool, err error) {
	rows, err := s.reads.QueryContext(ctx, `
		select c.id, c.opened_at, c.model_version, e.number, e.at, e.body
		from (select conversation_id as id, max(at) as latest from event where at >= $1
			group by conversation_id order by latest desc, conversation_id limit $2) l
		join conversation c on c.id = l.id join event e on e.conversation_id = c.id
		order by l.latest desc, c.id, e.number`, from.UnixMicro(), limit+1)
	if err != nil {
		return nil, false, fmt.Errorf("look for recent conversations: %w", sorted(err))
	}
	defer rows.Close()
	for rows.Next() {
		var c Conversation
		var openedAt, number, at int64
		var body string
		if err := rows.Scan(&c.ID, &openedAt, &c.ModelVersion, &number, &at, &body); err != nil {
			return nil, false, fmt.Errorf("look for recent conversations: %w", err)
		}
		if len(found) == 0 || found[len(found)-1].ID != c.ID {
			c.OpenedAt = time.UnixMicro(openedAt).UTC()
			found = append(found, Timed{Conversation: c})
		}
		var e diagnosis.Event
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			return nil, false, fmt.Errorf("event %d of a conversation: %w", number, err)
		}
		last := &found[len(found)-1]
		last.Events, last.At = append(last.Events, e), append(last.At, time.UnixMicro(at).UTC())
	}
	if err := rows.Err(); err != nil {
		return nil, false, fmt.Errorf("look for recent conversations: %w", sorted(err))
	}
	if len(found) > limit {
		return found[:limit], true, nil
	}
	return found, false, nil
}

// ReadTimed returns a conversation with the times of its events, or ErrNotFound.
func (s *Store) ReadTimed(ctx context.Context, id string) (Timed, error) {
	c, err := s.Read(ctx, id)
	if err != nil {
		return Timed{}, err
	}
	rows, err := s.reads.QueryContext(ctx, `select at from event where conversation_id = $1 and number <= $2 order by number`, id, len(c.Events))
	if err != nil {
		return Timed{}, fmt.Errorf("read a conversation's times: %w", sorted(err))
	}
	defer rows.Close()
	t := Timed{Conversation: c}
	for rows.Next() {
		var at int64
		if err := rows.Scan(&at); err != nil {
			return Timed{}, fmt.Errorf("read a conversation's times: %w", err)
		}
		t.At = append(t.At, time.UnixMicro(at).UTC())
	}
	if err := rows.Err(); err != nil {
		return Timed{}, fmt.Errorf("read a conversation's times: %w", sorted(err))
	}
	if len(t.At) != len(c.Events) { // deleted in between
		return Timed{}, fmt.Errorf("read a conversation's times: %w", ErrNotFound)
	}
	return t, nil
}
