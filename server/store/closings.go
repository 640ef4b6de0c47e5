package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"lightoff/engine/diagnosis"
)

// Mark is where an event stands among all events: by its time, and by conversation and number where times are equal.
type Mark struct {
	At    time.Time // UTC
	ID    string
	Event int64
}

// Closings returns where conversations were closed after a mark, the earliest first, at most so many, and whether there
// are more. Two servers may add events in another order than that of their clocks, so whoever must miss none looks back
// a little further than to the last mark.
func (s *Store) Closings(ctx context.Context, after Mark, limit int) (found []Mark, more bool, err error) {
	// The text is looked for so that not every event need be read as JSON.
	rows, err := s.reads.QueryContext(ctx, `
		select conversation_id, number, at, body from event
		where at >= $1 and (at, conversation_id, number) > ($1, $2, $3) and body like '%"kind":"closed"%'
		order by at, conversation_id, number limit $4`, after.At.UnixMicro(), after.ID, after.Event, limit+1)
	if err != nil {
		return nil, false, fmt.Errorf("look for closings: %w", sorted(err))
	}
	defer rows.Close()
	for rows.Next() {
		var m Mark
		var at int64
		var body string
		if err := rows.Scan(&m.ID, &m.Event, &at, &body); err != nil {
			return nil, false, fmt.Errorf("look for closings: %w", sorted(err))
		}
		if len(found) == limit {
			return found, true, nil
		}
		var e diagnosis.Event
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			return nil, false, fmt.Errorf("look for closings: event %d of a conversation: %w", m.Event, err)
		}
		if e.Kind == diagnosis.Closed {
			m.At = time.UnixMicro(at).UTC()
			found = append(found, m)
		}
	}
	if err := rows.Err(); err != nil {
		return nil, false, fmt.Errorf("look for closings: %w", sorted(err))
	}
	return found, false, nil
}
