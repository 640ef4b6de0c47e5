package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// ErrToken means that a token is unknown, malformed, expired or revoked. Which of them is not told.
var ErrToken = errors.New("the token is not valid; ask whoever gave it to you for a new one")

// Scope says what the holder of a token may do.
type Scope string

// The scopes.
const (
	// Desk may do what people who help others do: list conversations, take notes, see reports.
	Desk Scope = "desk"
	// Program may call the service more often than a single visitor.
	Program Scope = "program"
	// Moderator may hide and close conversations whose look-on key is known, and sees no more of them than who looks on.
	Moderator Scope = "moderator"
)

var scopes = []Scope{Desk, Program, Moderator}

// Token is what is kept of an access token. Its secret is not.
type Token struct {
	ID, Name        string
	Scope           Scope
	Made, ExpiresAt time.Time // UTC
}

// MakeToken makes a token that is valid for the time given, and returns its text, which cannot be had again.
func (s *Store) MakeToken(ctx context.Context, name string, scope Scope, valid time.Duration) (string, Token, error) {
	if !slices.Contains(scopes, scope) {
		return "", Token{}, fmt.Errorf("there is no scope %q, only %q", scope, scopes)
	}
	now := s.now().UTC().Truncate(time.Microsecond)
	t := Token{ID: rand.Text()[:12], Name: name, Scope: scope, Made: now, ExpiresAt: now.Add(valid)}
	secret := rand.Text() // 130 random bits, so a plain digest cannot be searched through
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx,
			`insert into token (id, name, scope, hash, made_at, expires_at) values ($1, $2, $3, $4, $5, $6)`,
			t.ID, t.Name, string(t.Scope), digest(secret), t.Made.UnixMicro(), t.ExpiresAt.UnixMicro())
		return err
	})
	if err != nil {
		return "", Token{}, fmt.Errorf("make a token: %w", sorted(err))
	}
	return t.ID + "." + secret, t, nil
}

// Token returns what a token's text stands for, or ErrToken.
func (s *Store) Token(ctx context.Context, text string) (Token, error) {
	id, secret, ok := strings.Cut(text, ".")
	if !ok || !wellFormed(id) || len(text) > 100 {
		return Token{}, ErrToken
	}
	var hash string
	t := Token{ID: id}
	var made, expires int64
	err := s.reads.QueryRowContext(ctx, `select name, scope, hash, made_at, expires_at from token where id = $1`, id).
		Scan(&t.Name, &t.Scope, &hash, &made, &expires)
	if errors.Is(err, sql.ErrNoRows) {
		return Token{}, ErrToken
	}
	if err != nil {
		return Token{}, fmt.Errorf("look a token up: %w", sorted(err))
	}
	t.Made, t.ExpiresAt = time.UnixMicro(made).UTC(), time.UnixMicro(expires).UTC()
	if subtle.ConstantTimeCompare([]byte(hash), []byte(digest(secret))) != 1 || !s.now().Before(t.ExpiresAt) {
		return Token{}, ErrToken
	}
	return t, nil
}

// Tokens lists all tokens, expired ones too, oldest first.
func (s *Store) Tokens(ctx context.Context) ([]Token, error) {
	rows, err := s.reads.QueryContext(ctx, `select id, name, scope, made_at, expires_at from token order by made_at, id`)
	if err != nil {
		return nil, fmt.Errorf("list tokens: %w", sorted(err))
	}
	defer rows.Close()
	var tokens []Token
	for rows.Next() {
		var t Token
		var made, expires int64
		if err := rows.Scan(&t.ID, &t.Name, &t.Scope, &made, &expires); err != nil {
			return nil, fmt.Errorf("list tokens: %w", err)
		}
		t.Made, t.ExpiresAt = time.UnixMicro(made).UTC(), time.UnixMicro(expires).UTC()
		tokens = append(tokens, t)
	}
	return tokens, rows.Err()
}

// RevokeToken makes a token invalid at once, on every server. An id that there is none of gives ErrToken.
func (s *Store) RevokeToken(ctx context.Context, id string) error {
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, `delete from token where id = $1`, id)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, ErrToken)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("revoke a token: %w", sorted(err))
	}
	return nil
}

func digest(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}
