package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
)

// ErrNotHere: the database has its own tool for this.
var ErrNotHere = errors.New("not for PostgreSQL: use pg_dump and pg_restore")

// Backup writes a consistent copy of the database, as of now, to a new file,
// while everything goes on. The file appears under its name only when it is
// complete, checked and on the disk; it is a database that Open takes.
func (s *Store) Backup(ctx context.Context, path string) error {
	what := fmt.Sprintf("backing up to %q", path)
	if s.postgres {
		return wrap(ErrNotHere, "%s", what)
	}
	if err := mustNotExist(path); err != nil {
		return wrap(err, "%s", what)
	}
	part := path + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return wrap(err, "%s: removing what an earlier attempt left", what)
	}
	// A reader's connection would do, but refuses to write, also elsewhere.
	db, err := sql.Open("sqlite", fileURL(s.path, ""))
	if err != nil {
		return wrap(err, "%s", what)
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		return wrap(errors.Join(err, ignoreMissing(os.Remove(part))), "%s", what)
	}
	if err := CheckCopy(ctx, part); err != nil {
		return wrap(err, "%s", what)
	}
	return wrap(settle(part, path), "%s", what)
}

// CheckCopy reads a copy through and says whether it is a sound database.
func CheckCopy(ctx context.Context, path string) error {
	what := fmt.Sprintf("checking the copy %q", path)
	db, err := sql.Open("sqlite", fileURL(path, "mode=ro"))
	if err != nil {
		return wrap(err, "%s", what)
	}
	defer db.Close()
	var answer string
	if err := db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&answer); err != nil {
		return wrap(err, "%s", what)
	}
	if answer != "ok" {
		return wrap(fmt.Errorf("it is damaged: %s", answer), "%s", what)
	}
	for _, table := range []string{"users", "readings", "audit"} {
		var n int
		err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = ?", table).Scan(&n)
		if err == nil && n == 0 {
			err = fmt.Errorf("it is no copy of our database: the table %q is missing", table)
		}
		if err != nil {
			return wrap(err, "%s", what)
		}
	}
	return nil
}

// Restore makes a database of a copy, at a path where there is none, so that
// nothing is lost by a wrong path. Nothing may have it open.
func Restore(ctx context.Context, from, to string) error {
	what := fmt.Sprintf("restoring %q to %q", from, to)
	for _, path := range []string{to, to + "-wal", to + "-shm"} {
		if err := mustNotExist(path); err != nil {
			return wrap(err, "%s", what)
		}
	}
	if err := CheckCopy(ctx, from); err != nil {
		return wrap(err, "%s", what)
	}
	data, err := os.Open(from)
	if err != nil {
		return wrap(err, "%s", what)
	}
	defer data.Close()
	part := to + ".part"
	file, err := os.OpenFile(part, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, filePrivate)
	if err != nil {
		return wrap(err, "%s", what)
	}
	_, err = file.ReadFrom(data)
	if err = errors.Join(err, file.Close()); err != nil {
		return wrap(errors.Join(err, os.Remove(part)), "%s", what)
	}
	return wrap(settle(part, to), "%s", what)
}

// filePrivate is the mode of a copy: it holds hashes of passwords.
const filePrivate = 0o600

// settle puts a finished file under its name, and both on the disk.
func settle(part, path string) error {
	if err := os.Chmod(part, filePrivate); err != nil {
		return err
	}
	if err := syncFile(part); err != nil {
		return err
	}
	if err := os.Rename(part, path); err != nil {
		return err
	}
	return syncFile(filepath.Dir(path))
}

func syncFile(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close())
}

func mustNotExist(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%q is there already, name a new file", path)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func ignoreMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// fileURL is the address of an SQLite file.
func fileURL(path, query string) string {
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + query
}
