package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"lightoff/engine/diagnosis"
)

// Since returns the conversations in which something happened at or after a time, the latest first, at most so many,
// and whether there are more. It is one statement, so it sees one state of the log.
func (s *Store) Since(ctx context.Context, from time.Time, limit int) (found []Conversation, more bool, err error) {
	rows, err := s.reads.QueryContext(ctx, `
		select c.id, c.opened_at, c.model_version, e.number, e.at, e.body
		from (select conversation_id as id, max(at) as latest from event where at >= $1
			group by conversation_id order by latest desc, conversation_id limit $2) l
		join conversation c on c.id = l.id join event e on e.conversation_id = c.id
		order by l.latest desc, c.id, e.number`, from.UnixMicro(), limit+1)
	if err != nil {
		return nil, false, fmt.Errorf("look for recent conversations: %w", sorted(err))
	}
	err = each(rows, func(c Conversation) error {
		found = append(found, c)
		return nil
	})
	if err != nil {
		return nil, false, fmt.Errorf("look for recent conversations: %w", sorted(err))
	}
	if len(found) > limit {
		return found[:limit], true, nil
	}
	return found, false, nil
}

// Head is how far a conversation has come.
type Head struct {
	ID    string
	Event int64     // number of its latest event
	At    time.Time // of that
}

// Heads returns how far the conversations have come in which something happened at or after a time, in no order.
func (s *Store) Heads(ctx context.Context, from time.Time) ([]Head, error) {
	rows, err := s.reads.QueryContext(ctx, `
		select conversation_id, max(number), max(at) from event where at >= $1 group by conversation_id`, from.UnixMicro())
	if err != nil {
		return nil, fmt.Errorf("look for recent conversations: %w", sorted(err))
	}
	defer rows.Close()
	var heads []Head
	for rows.Next() {
		var h Head
		var at int64
		if err := rows.Scan(&h.ID, &h.Event, &at); err != nil {
			return nil, fmt.Errorf("look for recent conversations: %w", sorted(err))
		}
		h.At = time.UnixMicro(at).UTC()
		heads = append(heads, h)
	}
	return heads, sorted(rows.Err())
}

// maxAtOnce is how many conversations one statement names; databases bound that.
const maxAtOnce = 500

// Visit visits the conversations with the ids, in no order. One that is not there is left out.
func (s *Store) Visit(ctx context.Context, ids []string, visit func(Conversation) error) error {
	for some := range slices.Chunk(ids, maxAtOnce) {
		names, args := make([]string, len(some)), make([]any, len(some))
		for i, id := range some {
			names[i], args[i] = "$"+strconv.Itoa(i+1), id
		}
		rows, err := s.reads.QueryContext(ctx, `
			select c.id, c.opened_at, c.model_version, e.number, e.at, e.body
			from conversation c join event e on e.conversation_id = c.id
			where c.id in (`+strings.Join(names, ", ")+`) order by c.id, e.number`, args...)
		if err == nil {
			err = each(rows, visit)
		}
		if err != nil {
			return fmt.Errorf("read conversations: %w", sorted(err))
		}
	}
	return nil
}

// Each visits all conversations, in the order in which they were opened. It is one statement, so it sees one state of
// the log, and holds one conversation at a time.
func (s *Store) Each(ctx context.Context, visit func(Conversation) error) error {
	rows, err := s.reads.QueryContext(ctx, `
		select c.id, c.opened_at, c.model_version, e.number, e.at, e.body
		from conversation c join event e on e.conversation_id = c.id
		order by c.opened_at, c.id, e.number`)
	if err == nil {
		err = each(rows, visit)
	}
	if err != nil {
		return fmt.Errorf("go through the conversations: %w", sorted(err))
	}
	return nil
}

// each puts rows of events, those of a conversation together, into conversations, and closes them.
func each(rows *sql.Rows, visit func(Conversation) error) error {
	defer rows.Close()
	var c Conversation
	for rows.Next() {
		var next Conversation
		var openedAt, number, at int64
		var body string
		if err := rows.Scan(&next.ID, &openedAt, &next.ModelVersion, &number, &at, &body); err != nil {
			return err
		}
		if next.ID != c.ID {
			if c.ID != "" {
				if err := visit(c); err != nil {
					return err
				}
			}
			c = next
			c.OpenedAt, c.first = time.UnixMicro(openedAt).UTC(), len(body)
		}
		var e diagnosis.Event
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			return fmt.Errorf("event %d of a conversation: %w", number, err)
		}
		if e.Number != number {
			return fmt.Errorf("event %d of a conversation says that it is event %d", number, e.Number)
		}
		c.Events, c.At, c.Bytes = append(c.Events, e), append(c.At, time.UnixMicro(at).UTC()), c.Bytes+len(body)
	}
	if err := rows.Err(); err != nil || c.ID == "" {
		return err
	}
	return visit(c)
}
