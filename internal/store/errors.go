package store

import (
	"database/sql"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

var (
	// ErrNotFound: there is no such thing.
	ErrNotFound = errors.New("not found")
	// ErrExists: there is one already.
	ErrExists = errors.New("exists already")
	// ErrStale: somebody saved a newer one in the meantime; read it and try
	// again.
	ErrStale = errors.New("changed in the meantime")
	// ErrLastOperator: nobody would be left who may do everything.
	ErrLastOperator = errors.New("the last operator")
)

// wrap says what was being done, and which of our errors it is.
func wrap(err error, what string, args ...any) error {
	if err == nil {
		return nil
	}
	what = fmt.Sprintf(what, args...)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("%s: %w", what, ErrNotFound)
	case violates(err, sqlite3.SQLITE_CONSTRAINT_UNIQUE, "23505"), violates(err, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY, "23505"):
		return fmt.Errorf("%s: %w", what, ErrExists)
	case violates(err, sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY, "23503"):
		return fmt.Errorf("%s: what it belongs to is %w", what, ErrNotFound)
	}
	return fmt.Errorf("%s: %w", what, err)
}

// violates says whether an error is this extended result code of SQLite or this
// SQLSTATE of PostgreSQL (class 23, integrity constraint violation).
func violates(err error, code int, state string) bool {
	var lite *sqlite.Error
	var pg *pgconn.PgError
	return errors.As(err, &lite) && lite.Code() == code || errors.As(err, &pg) && pg.Code == state
}

// changed turns a change that met no row into sql.ErrNoRows.
func changed(result sql.Result, err error) error {
	if err != nil {
		return err
	}
	n, err := result.RowsAffected()
	if err == nil && n == 0 {
		return sql.ErrNoRows
	}
	return err
}
