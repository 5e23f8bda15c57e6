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
	if s.pg != nil {
		return wrap(ErrNotHere, "backing up to %q", path)
	}
	return BackupFile(ctx, s.path, path)
}

// BackupFile is Backup of the database in a file, which this process or another
// may have open.
func BackupFile(ctx context.Context, from, to string) error {
	err := writeNew(to, func(part string) error {
		// Not a reader's connection: those refuse to write, also elsewhere.
		db, err := sql.Open("sqlite", fileURL(from, "mode=rw&"+busy))
		if err != nil {
			return err
		}
		defer db.Close()
		if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
			return err
		}
		return CheckCopy(ctx, part)
	})
	return wrap(err, "backing up %q to %q", from, to)
}

// busy lets a connection wait for others.
var busy = "_pragma=" + url.QueryEscape(fmt.Sprintf("busy_timeout(%d)", sqliteBusy.Milliseconds()))

// SetAside gives the database in a file another name, at which there is none. The
// error says so if somebody has it open.
func SetAside(ctx context.Context, path, to string) error {
	err := func() error {
		if err := mustNotExist(to); err != nil {
			return err
		}
		db, err := sql.Open("sqlite", fileURL(path, "mode=rw"))
		if err != nil {
			return err
		}
		defer db.Close()
		// Whoever is alone with a database may take its journal into it, and then
		// it is one file.
		var mode string
		if err := db.QueryRowContext(ctx, "PRAGMA journal_mode = DELETE").Scan(&mode); err != nil {
			return fmt.Errorf("somebody has it open, or it is damaged: end that program, or move it away by hand: %w", err)
		}
		if mode != "delete" {
			return fmt.Errorf("its journal cannot be taken into it (%s)", mode)
		}
		if err := db.Close(); err != nil {
			return err
		}
		if err := os.Rename(path, to); err != nil {
			return err
		}
		return syncFile(filepath.Dir(path))
	}()
	return wrap(err, "setting %q aside", path)
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
	for _, journal := range []string{to + "-wal", to + "-shm"} { // they would be taken for this database's
		if err := mustNotExist(journal); err != nil {
			return wrap(err, "%s", what)
		}
	}
	if err := CheckCopy(ctx, from); err != nil {
		return wrap(err, "%s", what)
	}
	err := writeNew(to, func(part string) error {
		source, err := os.Open(from)
		if err != nil {
			return err
		}
		defer source.Close()
		file, err := os.OpenFile(part, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		_, err = file.ReadFrom(source)
		return errors.Join(err, file.Close())
	})
	return wrap(err, "%s", what)
}

// filePrivate is the mode of a database: it holds hashes of passwords.
const filePrivate = 0o600

// writeNew writes a file that was not there: write fills an empty file, which
// gets the name only when it is finished and on the disk, and is removed if
// something goes wrong.
func writeNew(path string, write func(part string) error) (err error) {
	if err := mustNotExist(path); err != nil {
		return err
	}
	part := path + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("removing what an earlier attempt left: %w", err)
	}
	if err := createPrivate(part); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(part) // the first error is the one to tell
		}
	}()
	if err := write(part); err != nil {
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

// createPrivate makes an empty file that only its owner may read.
func createPrivate(path string) error {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, filePrivate)
	if err != nil {
		return err
	}
	return file.Close()
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

// fileURL is the address of an SQLite file.
func fileURL(path, query string) string {
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + query
}
