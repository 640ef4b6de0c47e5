package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"lightoff/engine/diagnosis"
)

// Since returns the conversations in which something happened at or after a time, the latest first, at most so many, and
// whether there are more. It is one statement, so it sees one state of the log.
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
			found = append(found, c)
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
