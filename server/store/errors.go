package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
)

// ErrUnavailable means that the database cannot be reached or takes nothing just now: it is starting, gone, locked, or
// its disk is full. Whether a change under way was kept is not known; asking again with the same client key is safe.
var ErrUnavailable = errors.New("the store cannot be reached or takes nothing just now; ask again")

// SQLite's primary result codes (sqlite.org/rescode.html) that speak of the machine and not of the statement.
// BUSY READONLY IOERR FULL CANTOPEN
var sqliteUnavailable = map[int]bool{5: true, 8: true, 10: true, 13: true, 14: true}

// PostgreSQL's error classes and codes (its manual, appendix A) that do: connection, resources, read-only, shutdown.
// The sessions and transactions that it ends because they idle or last, as it does when it was frozen for a while, too.
var postgresUnavailable = []string{"08", "53", "25006", "25P03", "25P04", "57P01", "57P02", "57P03", "57P05", "58"}

// ErrDamaged means that SQLite's file is damaged.
var ErrDamaged = errors.New("the database file is damaged. \"check\" lists what is wrong, \"backup\" saves every " +
	"conversation that can " +
	"still be read and names the others, and \"restore\" puts them into a new folder")

// SQLite's codes for that: CORRUPT NOTADB.
var sqliteDamaged = map[int]bool{11: true, 26: true}

// damaged reports whether an error comes of what the file holds; database/sql has no type for a value that is none of
// its column.
func damaged(err error) bool {
	if err != nil && strings.Contains(err.Error(), "sql: Scan error") {
		return true
	}
	lite, ok := errors.AsType[*sqlite.Error](err)
	return ok && sqliteDamaged[lite.Code()&0xff]
}

// sorted marks errors that time may mend.
func sorted(err error) error {
	if err == nil || errors.Is(err, ErrUnavailable) || errors.Is(err, ErrDamaged) || errors.Is(err, context.Canceled) ||
		errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	if damaged(err) {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	if unavailable(err) {
		return fmt.Errorf("%w: %w", ErrUnavailable, err)
	}
	return err
}

func unavailable(err error) bool {
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		return sqliteUnavailable[lite.Code()&0xff]
	}
	var postgres *pgconn.PgError
	if errors.As(err, &postgres) {
		for _, code := range postgresUnavailable {
			if strings.HasPrefix(postgres.Code, code) {
				return true
			}
		}
		return false
	}
	var connect *pgconn.ConnectError
	var network net.Error
	return errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, driver.ErrBadConn) ||
		errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || errors.Is(err, net.ErrClosed) ||
		pgconn.SafeToRetry(err) ||
		strings.Contains(err.Error(), "conn closed")
}
