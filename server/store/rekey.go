package store

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"database/sql"
	"encoding/base32"
	"fmt"
)

// NewKey is the key that a conversation gets in place of its old one. It follows from that and from a secret of the
// client's, so that a client who has lost the answer finds it again, and nobody who knows the old key alone can.
func NewKey(old, secret string) string {
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write([]byte("new key\n" + old))
	// As many signs as those of rand.Text, which hold 130 bits.
	return base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(mac.Sum(nil))[:26]
}

// ChangeKey moves a conversation from one id to another and ends all passes to it, or returns ErrNotFound. Where the
// new id is there already, it was done before, and nothing is changed.
func (s *Store) ChangeKey(ctx context.Context, old, new string) error {
	done := false
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
		done, err = s.rekey(ctx, tx, old, new)
		return err
	})
	if err != nil {
		return fmt.Errorf("change a key: %w", sorted(err))
	}
	if !done {
		return nil
	}
	s.tell(Change{ID: old})
	return s.forget(ctx)
}

func (s *Store) rekey(ctx context.Context, tx *sql.Tx, old, new string) (done bool, err error) {
	if !wellFormed(new) {
		return false, ErrNotFound
	}
	if err := hold(ctx, tx, old); err != nil {
		return false, err
	}
	there := func(id string) (bool, error) {
		var n int
		err := tx.QueryRowContext(ctx, `select count(*) from conversation where id = $1`, id).Scan(&n)
		return n > 0, err
	}
	if before, err := there(new); err != nil || before {
		return false, err
	}
	if is, err := there(old); err != nil {
		return false, err
	} else if !is {
		return false, ErrNotFound
	}
	// The key of its opening is a way to it as well, and ends.
	for _, change := range []struct {
		statement string
		args      []any
	}{
		{`insert into conversation (id, opened_at, model_version)
			select $2, opened_at, model_version from conversation where id = $1`, []any{old, new}},
		{`update event set conversation_id = $2 where conversation_id = $1`, []any{old, new}},
		{`delete from pass where conversation_id = $1`, []any{old}},
		{`delete from conversation where id = $1`, []any{old}},
	} {
		if _, err := tx.ExecContext(ctx, change.statement, change.args...); err != nil {
			return false, err
		}
	}
	if err := s.announce(ctx, tx, Change{ID: old}); err != nil {
		return false, err
	}
	return true, nil
}
