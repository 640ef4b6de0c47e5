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

// Open opens the store in the data folder, which it makes where there is none, and brings its tables up to date.
// The folder and the file are readable by their owner only: they hold what people said.
func Open(ctx context.Context, folder string) (*Store, error) {
	path, err := prepare(folder)
	if err != nil {
		return nil, fmt.Errorf("data folder %s: %w", folder, err)
	}
	s := &Store{now: time.Now}
	if s.reads, err = open(path, 4); err != nil {
		return nil, err
	}
	// One connection: writers wait their turn here, in order, rather than by polling the database's lock.
	if s.writes, err = open(path, 1); err != nil {
		return nil, errors.Join(err, s.reads.Close())
	}
	if err := migrate(ctx, s.reads); err != nil {
		return nil, errors.Join(fmt.Errorf("data folder %s: bring the tables up to date: %w", folder, err), s.Close())
	}
	return s, nil
}

// Close waits for calls under way and closes the database.
func (s *Store) Close() error {
	return errors.Join(s.writes.Close(), s.reads.Close())
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

func open(path string, connections int) (*sql.DB, error) {
	// FULL, because in WAL mode anything less can lose an acknowledged event when power fails; immediate, because a
	// transaction that reads first and then wants to write would otherwise fail where another has written meanwhile.
	const settings = "_txlock=immediate&_pragma=busy_timeout(10000)&_pragma=journal_mode(WAL)" +
		"&_pragma=synchronous(FULL)&_pragma=foreign_keys(ON)"
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: filepath.ToSlash(path)}).EscapedPath()+"?"+settings)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
}

func migrate(ctx context.Context, db *sql.DB) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files)
	if err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return err
}
