package store

import (
	"context"
	"errors"
	"fmt"

	"lightoff/engine/diagnosis"
)

// Check verifies every conversation and returns all that is wrong, or nil: events are numbered from 1 without gaps,
// only the first opens the conversation, and the log folds to a state that ends at the last event and tells each
// observation once. It verifies the promotions of models, too, and of SQLite the whole file, with its indices.
func (s *Store) Check(ctx context.Context) error {
	var wrong []error
	if s.url == "" {
		found, err := s.list(ctx, `pragma integrity_check`)
		if err != nil {
			wrong = append(wrong, fmt.Errorf("the database file: %w", err))
		}
		for _, line := range found {
			if line != "ok" {
				wrong = append(wrong, fmt.Errorf("the database file: %s", line))
			}
		}
	}
	ids, err := s.ids(ctx)
	if err != nil {
		return errors.Join(append(wrong, fmt.Errorf("check the store: %w", err))...)
	}
	for _, id := range ids {
		c, err := s.Read(ctx, id)
		if err == nil {
			err = checkLog(c.Events)
		}
		if err != nil {
			wrong = append(wrong, fmt.Errorf("conversation %s: %w", id, err))
		}
	}
	var strays int
	err = s.reads.QueryRowContext(ctx, `
		select count(*) from event e left join conversation c on c.id = e.conversation_id where c.id is null`).Scan(&strays)
	if err != nil {
		wrong = append(wrong, fmt.Errorf("look for events that belong to no conversation: %w", err))
	}
	if strays > 0 {
		wrong = append(wrong, fmt.Errorf("%d events belong to no conversation", strays))
	}
	if err := s.checkModels(ctx); err != nil {
		wrong = append(wrong, fmt.Errorf("models: %w", err))
	}
	return errors.Join(wrong...)
}

func checkLog(events []diagnosis.Event) error {
	for i, e := range events {
		if e.Number != int64(i)+1 {
			return fmt.Errorf("event %d stands at place %d", e.Number, i+1)
		}
		if (e.Kind == diagnosis.Opened) != (i == 0) {
			return fmt.Errorf("event %d is %q", e.Number, e.Kind)
		}
	}
	state := diagnosis.Fold(events)
	if state.LastEvent != int64(len(events)) {
		return fmt.Errorf("the log of %d events folds to event %d", len(events), state.LastEvent)
	}
	seen := map[string]bool{}
	for _, t := range state.Told {
		if seen[t.Observation.ID] {
			return fmt.Errorf("observation %s stands twice", t.Observation.ID)
		}
		seen[t.Observation.ID] = true
	}
	return nil
}

func (s *Store) ids(ctx context.Context) ([]string, error) {
	return s.list(ctx, `select id from conversation order by opened_at, id`)
}

// list runs a query for one column of text.
func (s *Store) list(ctx context.Context, query string, args ...any) ([]string, error) {
	rows, err := s.reads.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var ids []string
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, rows.Err()
}
