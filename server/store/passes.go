package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
)

// PassKind says what a pass is for.
type PassKind string

// The kinds of passes.
const (
	// Spoken is a short code that is read out or written down; it expires after some hours.
	Spoken PassKind = "spoken"
	// Visit is a long key that somebody gets for a spoken code; it expires after some days.
	Visit PassKind = "visit"
	// LookOn is a long key for those who may look on. It does not expire, but can be withdrawn.
	LookOn PassKind = "look_on"
)

const (
	// SpokenValid is how long a spoken code leads to its conversation.
	SpokenValid = 4 * time.Hour
	// VisitValid is how long a visitor's key does.
	VisitValid = 7 * 24 * time.Hour
	// maxPasses bounds how many passes of a kind that expires a conversation has; more make the oldest of them invalid.
	maxPasses = 10
	// maxLookOn bounds how many look-on keys it has; more are refused, for those that were given away must not end
	// unasked.
	maxLookOn = 50
)

// spokenSigns are digits and letters that are not taken for one another, neither read (0 and O, 1 and I and L, 2 and Z,
// 5 and S, 8 and B, U and V) nor, without vowels, as a word. Nine of them are 39 random bits: with a thousand codes
// valid at a time one try in 790 million finds one.
const (
	spokenSigns  = "34679CDFGHJKMNPQRTWXY"
	spokenLength = 9
)

// MakePass makes a pass to a conversation, which must be there, and returns it with the time at which it expires; that
// is the zero time for one that does not.
func (s *Store) MakePass(ctx context.Context, id string, kind PassKind) (string, time.Time, error) {
	now := s.now().UTC().Truncate(time.Microsecond)
	secret, expires, until := rand.Text(), time.Time{}, int64(never)
	switch kind {
	case Spoken:
		secret, expires = spokenCode(), now.Add(SpokenValid)
	case Visit:
		expires = now.Add(VisitValid)
	}
	if !expires.IsZero() {
		until = expires.UnixMicro()
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if err := hold(ctx, tx, id); err != nil {
			return err
		}
		var there int
		if err := tx.QueryRowContext(ctx, `select count(*) from conversation where id = $1`, id).Scan(&there); err != nil {
			return err
		}
		if there == 0 {
			return ErrNotFound
		}
		if kind == LookOn {
			var many int
			err := tx.QueryRowContext(ctx, `select count(*) from pass where conversation_id = $1 and kind = $2`, id,
				string(kind)).Scan(&many)
			if err != nil {
				return err
			}
			if many >= maxLookOn {
				return ErrManyKeys
			}
		}
		if _, err := tx.ExecContext(ctx, `delete from pass where expires_at <= $1`, now.UnixMicro()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into pass (hash, kind, conversation_id, expires_at) values ($1, $2, $3, $4)`,
			digest(string(kind)+" "+secret), string(kind), id, until)
		if err != nil || kind == LookOn {
			return err
		}
		_, err = tx.ExecContext(ctx, `delete from pass where conversation_id = $1 and kind = $2 and hash not in (
			select hash from pass where conversation_id = $1 and kind = $2 order by expires_at desc limit $3)`, id, string(kind),
			maxPasses)
		return err
	})
	if err != nil {
		return "", time.Time{}, fmt.Errorf("make a pass: %w", sorted(err))
	}
	if kind == Spoken {
		secret = secret[:3] + "-" + secret[3:6] + "-" + secret[6:]
	}
	return secret, expires, nil
}

// spokenCode draws each sign with the same chance.
func spokenCode() string {
	var code [spokenLength]byte
	for i := 0; i < spokenLength; {
		var b [1]byte
		_, _ = rand.Read(b[:]) // never fails
		if limit := 256 / len(spokenSigns) * len(spokenSigns); int(b[0]) < limit {
			code[i] = spokenSigns[int(b[0])%len(spokenSigns)]
			i++
		}
	}
	return string(code[:])
}

// FindByPass returns the id of the conversation to which a pass leads, or ErrNotFound. Case, spaces and hyphens do not
// matter.
func (s *Store) FindByPass(ctx context.Context, pass string, kinds ...PassKind) (string, error) {
	clean := strings.ToUpper(strings.NewReplacer(" ", "", "-", "", "\u00a0", "").Replace(pass))
	if !wellFormed(clean) || len(clean) > 100 {
		return "", fmt.Errorf("find a pass: %w", ErrNotFound)
	}
	for _, kind := range kinds {
		var id string
		err := s.reads.QueryRowContext(ctx,
			`select conversation_id from pass where hash = $1 and kind = $2 and expires_at > $3`,
			digest(string(kind)+" "+clean), string(kind), s.now().UnixMicro()).Scan(&id)
		if err == nil {
			return id, nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return "", fmt.Errorf("find a pass: %w", sorted(err))
		}
	}
	return "", fmt.Errorf("find a pass: %w", ErrNotFound)
}

// RevokePass makes all passes of a kind to a conversation invalid.
func (s *Store) RevokePass(ctx context.Context, id string, kind PassKind) error {
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `delete from pass where conversation_id = $1 and kind = $2`, id, string(kind))
		return err
	})
	if err != nil {
		return fmt.Errorf("withdraw passes: %w", sorted(err))
	}
	return nil
}
