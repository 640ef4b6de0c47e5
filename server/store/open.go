package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the database driver named "sqlite"
)

//go:embed migrations/*.sql
var migrations embed.FS

// fileName is the database's name in the data folder.
const fileName = "lightoff.db"

// Open opens the store at a place, which is a postgres:// address or a data folder, and brings its tables up to date.
// A folder is made where there is none. It and the file in it are readable by their owner only: they hold what people
// said. A file that is damaged is not opened: the error is ErrDamaged.
func Open(ctx context.Context, place string) (*Store, error) {
	s, err := OpenAnyway(ctx, place)
	if err == nil && s.url == "" {
		err = s.quickCheck(ctx, place)
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}

// quickCheck reads the whole file once and looks at its form, as far as that takes no sorting.
func (s *Store) quickCheck(ctx context.Context, folder string) error {
	var found string
	err := sorted(s.reads.QueryRowContext(ctx, `pragma quick_check(1)`).Scan(&found))
	if err == nil && found != "ok" {
		err = fmt.Errorf("%w: %s", ErrDamaged, found)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("data folder %s: %w", folder, err), s.Close())
	}
	return nil
}

// OpenAnyway does the same, but also opens a file that is damaged, for what can still be read of it.
func OpenAnyway(ctx context.Context, place string) (*Store, error) {
	if IsURL(place) {
		return openPostgres(ctx, place)
	}
	folder := place
	path, err := prepare(folder)
	if err != nil {
		return nil, fmt.Errorf("data folder %s: %w", folder, err)
	}
	s := &Store{now: time.Now, listeners: map[*func(Change)]struct{}{},
		announce: func(context.Context, *sql.Tx, Change) error { return nil }}
	if s.reads, err = open(path, 4); err != nil {
		return nil, err
	}
	// One connection: writers wait their turn here, in order, rather than by polling the database's lock.
	if s.writes, err = open(path, 1); err != nil {
		return nil, errors.Join(err, s.reads.Close())
	}
	s.write = newGrouped(s.writes).write
	if err := migrate(ctx, s.reads, goose.DialectSQLite3); err != nil {
		return nil, errors.Join(fmt.Errorf("data folder %s: bring the tables up to date: %w", folder, sorted(err)), s.Close())
	}
	return s, nil
}

// Close waits for calls under way and closes the database.
func (s *Store) Close() error {
	return errors.Join(s.writes.Close(), s.reads.Close()) // one and the same on PostgreSQL, where it does no harm
}

// prepare makes the folder and the file. The database itself reports a folder that cannot be written in words that
// help nobody, so the operating system is asked first.
func prepare(folder string) (string, error) {
	absolute, err := filepath.Abs(folder)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(absolute, 0o700); err != nil {
		return "", cause(err)
	}
	path := filepath.Join(absolute, fileName)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return "", cause(err)
	}
	if err := f.Close(); err != nil {
		return "", cause(err)
	}
	return path, nil
}

// cause drops the path from a file error, because the message names the folder already.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return fmt.Errorf("cannot be written: %w", p.Err)
	}
	return err
}

// busyTimeout is the setting for how long a connection waits for another process's lock.
const busyTimeout = `pragma busy_timeout = 10000`

func open(path string, connections int) (*sql.DB, error) {
	// FULL, because in WAL mode anything less can lose an acknowledged event when power fails; immediate, because a
	// transaction that reads first and then wants to write would otherwise fail where another has written meanwhile.
	const settings = "_txlock=immediate&_pragma=busy_timeout(10000)&_pragma=journal_mode(WAL)" +
		"&_pragma=synchronous(FULL)&_pragma=foreign_keys(ON)&_pragma=secure_delete(ON)"
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: filepath.ToSlash(path)}).EscapedPath()+"?"+settings)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
}

// errNewer means that a later version of the program has changed the tables.
var errNewer = errors.New("they were made by a newer version of this program")

func migrate(ctx context.Context, db *sql.DB, dialect goose.Dialect, options ...goose.ProviderOption) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(dialect, db, files, options...)
	if err != nil {
		return err
	}
	current, known, err := p.GetVersions(ctx)
	if err != nil {
		return err
	}
	if current > known {
		return errNewer
	}
	_, err = p.Up(ctx)
	return err
}

// forget writes over what was deleted where that still lies in SQLite's log; the file itself is written over already.
// Somebody who reads at the time, such as a backup, stands in the way; then Ready tries again, for writers must not
// wait.
func (s *Store) forget(ctx context.Context) error {
	if s.url != "" {
		return nil
	}
	s.unforgotten.Store(true)
	conn, err := s.writes.Conn(ctx)
	if err != nil {
		return sorted(err)
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, `pragma busy_timeout = 50`); err != nil {
		return sorted(err)
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), busyTimeout)
	var busy, pages, moved int
	if err := conn.QueryRowContext(ctx, `pragma wal_checkpoint(truncate)`).Scan(&busy, &pages, &moved); err != nil {
		return sorted(err)
	}
	s.unforgotten.Store(busy != 0)
	return nil
}
