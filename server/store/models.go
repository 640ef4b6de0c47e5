package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

var (
	// ErrNoModel means that no learnt model is kept under the version.
	ErrNoModel = errors.New("no learnt model is kept under that version")
	// ErrInUse means that the version to be promoted is in use already.
	ErrInUse = errors.New("that version is in use already")
	// ErrNoPromotion means that every promotion has been taken back, or that there never was one.
	ErrNoPromotion = errors.New("nothing is left to roll back to: the built-in model is in use and nothing promoted " +
		"came before it")
	// errOther means that the version stands for other numbers than those given.
	errOther = errors.New("other numbers are kept under that version")
)

// What is kept of a model at most.
const (
	// MaxOverlay is the most bytes that a model's numbers, or its report, may have.
	MaxOverlay = 1 << 20
	maxVersion = 100 // bytes
	maxWho     = 60  // characters
)

// Model is a learnt model: numbers for the built-in one.
type Model struct {
	Version string    // of the model with these numbers
	Overlay string    // the numbers, as learning wrote them
	Report  string    // what learning reported; may be empty
	Added   time.Time // UTC
}

// Promotion says which version was in use from a time on. None is ever changed or removed.
type Promotion struct {
	Number  int64  // from 1, without gaps
	Version string // empty for the built-in model
	By      string // who chose it, as they called themselves; may be empty
	At      time.Time
	Undoes  int64 // the number of the promotion that this takes back; 0 where a person chose the version
}

// AddModel keeps a model's numbers and report under its version without using it. A version that is kept already stays
// as it is, save that it gets a report if it had none. Numbers are never changed: others under the same version are an
// error.
func (s *Store) AddModel(ctx context.Context, version, overlay, report string) error {
	err := s.write(ctx, func(ctx context.Context,
		tx *sql.Tx) error {
		return s.addModel(ctx, tx, version, overlay, report)
	})
	if err != nil {
		return fmt.Errorf("keep a model: %w", sorted(err))
	}
	return nil
}

func (s *Store) addModel(ctx context.Context, tx *sql.Tx, version, overlay, report string) error {
	if err := errors.Join(isVersion(version), isText("the numbers", overlay), isText("the report", report)); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `
		insert into model (version, overlay, report, added_at) values ($1, $2, $3, $4)
		on conflict (version) do update set report = excluded.report where model.report = ''`,
		version, overlay, report, s.now().UTC().UnixMicro())
	if err != nil {
		return err
	}
	var kept string
	if err := tx.QueryRowContext(ctx, `select overlay from model where version = $1`, version).Scan(&kept); err != nil {
		return err
	}
	if kept != overlay {
		return errOther
	}
	return nil
}

// Promote keeps a model as AddModel does and puts it in use, on the word of a person, who may be called anything or
// nothing. A version that is in use already is ErrInUse.
func (s *Store) Promote(ctx context.Context, version, overlay, report, by string) (Promotion, error) {
	p, err := s.promote(ctx, func(ctx context.Context, tx *sql.Tx, past []Promotion) (Promotion, error) {
		if len(past) > 0 && past[len(past)-1].Version == version {
			return Promotion{}, ErrInUse
		}
		return Promotion{Version: version, By: by}, s.addModel(ctx, tx, version, overlay, report)
	})
	if err != nil {
		return Promotion{}, fmt.Errorf("promote a model: %w", sorted(err))
	}
	return p, nil
}

// Rollback takes the latest promotion back that stands and puts in use what was in use before it. It may be called
// again to go further back. ErrNoPromotion means that nothing is left to take back.
func (s *Store) Rollback(ctx context.Context, by string) (Promotion, error) {
	p, err := s.promote(ctx, func(_ context.Context, _ *sql.Tx, past []Promotion) (Promotion, error) {
		standing := standing(past)
		if len(standing) == 0 {
			return Promotion{}, ErrNoPromotion
		}
		back := Promotion{By: by, Undoes: standing[len(standing)-1].Number}
		if len(standing) > 1 {
			back.Version = standing[len(standing)-2].Version
		}
		return back, nil
	})
	if err != nil {
		return Promotion{}, fmt.Errorf("roll back: %w", sorted(err))
	}
	return p, nil
}

// errOvertaken means that somebody else promoted something at the same time.
var errOvertaken = errors.New("others promote at the same time; try again")

// promote adds the promotion that choose makes of the past ones. Where somebody else adds one at the same time, it is
// made anew.
func (s *Store) promote(ctx context.Context, choose func(context.Context, *sql.Tx, []Promotion) (Promotion,
	error)) (p Promotion, err error) {
	const attempts = 10
	for range attempts {
		err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
			past, err := promotions(ctx, tx)
			if err != nil {
				return err
			}
			if p, err = choose(ctx, tx, past); err != nil {
				return err
			}
			p.Number, p.At = int64(len(past))+1, s.now().UTC().Truncate(time.Microsecond)
			return insertPromotion(ctx, tx, p)
		})
		if !errors.Is(err, errOvertaken) {
			break
		}
	}
	return p, err
}

func insertPromotion(ctx context.Context, tx *sql.Tx, p Promotion) error {
	if err := isName(p.By); err != nil {
		return err
	}
	done, err := tx.ExecContext(ctx, `
		insert into promotion (number, version, who, at, undoes) values ($1, $2, $3, $4, $5) on conflict (number) do nothing`,
		p.Number, p.Version, p.By, p.At.UnixMicro(), p.Undoes)
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(err, errOvertaken)
	}
	return nil
}

// standing are the promotions that were not taken back, oldest first.
func standing(past []Promotion) []Promotion {
	var out []Promotion
	for _, p := range past {
		if p.Undoes == 0 {
			out = append(out, p)
		} else if len(out) > 0 {
			out = out[:len(out)-1]
		}
	}
	return out
}

// Promotions are all there were, oldest first; the last says what is in use.
func (s *Store) Promotions(ctx context.Context) ([]Promotion, error) {
	all, err := promotions(ctx, s.reads)
	if err != nil {
		return nil, fmt.Errorf("list promotions: %w", sorted(err))
	}
	return all, nil
}

func promotions(ctx context.Context, q querier) ([]Promotion, error) {
	rows, err := q.QueryContext(ctx, `select number, version, who, at, undoes from promotion order by number`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []Promotion
	for rows.Next() {
		var p Promotion
		var at int64
		if err := rows.Scan(&p.Number, &p.Version, &p.By, &at, &p.Undoes); err != nil {
			return nil, err
		}
		p.At = time.UnixMicro(at).UTC()
		all = append(all, p)
	}
	return all, rows.Err()
}

// Current is the promotion that says what is in use; its number is 0 where nothing ever was promoted.
func (s *Store) Current(ctx context.Context) (Promotion, error) {
	var p Promotion
	var at int64
	err := s.reads.QueryRowContext(ctx,
		`select number, version, who, at, undoes from promotion order by number desc limit 1`).
		Scan(&p.Number, &p.Version, &p.By, &at, &p.Undoes)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Promotion{}, nil
	case err != nil:
		return Promotion{}, fmt.Errorf("ask what is in use: %w", sorted(err))
	}
	p.At = time.UnixMicro(at).UTC()
	return p, nil
}

// Model returns what is kept under a version, or ErrNoModel.
func (s *Store) Model(ctx context.Context, version string) (Model, error) {
	if isVersion(version) != nil {
		return Model{}, ErrNoModel
	}
	m := Model{Version: version}
	var added int64
	err := s.reads.QueryRowContext(ctx, `select overlay, report, added_at from model where version = $1`, version).
		Scan(&m.Overlay, &m.Report, &added)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Model{}, ErrNoModel
	case err != nil:
		return Model{}, fmt.Errorf("read a model: %w", sorted(err))
	}
	m.Added = time.UnixMicro(added).UTC()
	return m, nil
}

// Models lists the versions that are kept, oldest first, without their numbers and reports.
func (s *Store) Models(ctx context.Context) ([]Model, error) {
	rows, err := s.reads.QueryContext(ctx, `select version, added_at from model order by added_at, version`)
	if err != nil {
		return nil, fmt.Errorf("list models: %w", sorted(err))
	}
	defer rows.Close()
	var all []Model
	for rows.Next() {
		var m Model
		var added int64
		if err := rows.Scan(&m.Version, &added); err != nil {
			return nil, fmt.Errorf("list models: %w", err)
		}
		m.Added = time.UnixMicro(added).UTC()
		all = append(all, m)
	}
	return all, rows.Err()
}

// checkModels verifies the promotions.
func (s *Store) checkModels(ctx context.Context) error {
	past, err := s.Promotions(ctx)
	if err != nil {
		return err
	}
	models, err := s.Models(ctx)
	if err != nil {
		return err
	}
	kept := map[string]bool{}
	for _, m := range models {
		kept[m.Version] = true
	}
	return checkPast(past, kept)
}

// checkPast verifies that promotions are numbered from 1 without gaps, that each version ever in use is kept, and that
// what was in use is what follows from what was promoted and taken back.
func checkPast(past []Promotion, kept map[string]bool) error {
	for i, p := range past {
		want, before := "", standing(past[:i])
		if now := standing(past[:i+1]); len(now) > 0 {
			want = now[len(now)-1].Version
		}
		switch {
		case p.Number != int64(i)+1:
			return fmt.Errorf("promotion %d stands at place %d", p.Number, i+1)
		case p.Version != "" && !kept[p.Version]:
			return fmt.Errorf("promotion %d is of version %s, which is not kept", p.Number, p.Version)
		case p.Version != want || p.Undoes != 0 && (len(before) == 0 || before[len(before)-1].Number != p.Undoes):
			return fmt.Errorf("promotion %d does not follow from those before it", p.Number)
		}
	}
	return nil
}

// isVersion returns nil if a text may be a version. Others are never asked for: a database may choke on them.
func isVersion(text string) error {
	if text == "" || len(text) > maxVersion || strings.ContainsFunc(text,
		func(r rune) bool { return r <= ' ' || r > '~' }) {
		return fmt.Errorf("%.20q is no version", text)
	}
	return nil
}

func isText(what, text string) error {
	switch {
	case len(text) > MaxOverlay:
		return fmt.Errorf("%s: more than %d bytes", what, MaxOverlay)
	case !utf8.ValidString(text) || strings.ContainsRune(text, 0):
		return fmt.Errorf("%s: not text in UTF-8", what)
	}
	return nil
}

func isName(text string) error {
	if utf8.RuneCountInString(text) > maxWho || !utf8.ValidString(text) ||
		strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return fmt.Errorf("whoever promotes: a name has at most %d characters, all of which can be printed", maxWho)
	}
	return nil
}
