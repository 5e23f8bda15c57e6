package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// What is in the folder of a service.
const (
	databaseName = "isohaline.db"
	logName      = "log"
	// rereadName is there after a restored backup: the log knows more than the
	// store and is to be read again.
	rereadName = "read-the-log-again"
)

// Backup writes a consistent copy of a service's database to a new file, also
// while the service runs. The log is no part of it: what the log has and the copy
// has not is read again after a Restore, as long as the log is there.
func Backup(ctx context.Context, dir, file string) error {
	database := filepath.Join(dir, databaseName)
	if _, err := os.Stat(database); err != nil {
		return fmt.Errorf("there is nothing to back up in %s: %w", dir, err)
	}
	return store.BackupFile(ctx, database, file)
}

// Restore makes a copy the database of the service in a folder, which must not
// run. One that is there is refused, or with force set aside under the name that
// is returned.
func Restore(ctx context.Context, file, dir string, force bool, now time.Time) (aside string, err error) {
	if err := store.CheckCopy(ctx, file); err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, private); err != nil {
		return "", fmt.Errorf("making the folder: %w", err)
	}
	database := filepath.Join(dir, databaseName)
	_, err = os.Lstat(database)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return "", err
	case !force:
		return "", fmt.Errorf("%s is there already; give another folder, or --force to set it aside", database)
	default:
		aside = database + ".before-" + now.UTC().Format("20060102T150405Z")
		if err := store.SetAside(ctx, database, aside); err != nil {
			return "", err
		}
	}
	// First the mark: should this be interrupted, reading the log again is nothing
	// worse than work.
	if err := os.WriteFile(filepath.Join(dir, rereadName), nil, privateFile); err != nil {
		return aside, err
	}
	return aside, store.Restore(ctx, file, database)
}

// reread takes the log's consumer back after a restored backup.
func reread(ctx context.Context, dir string, log *wire.Log) error {
	mark := filepath.Join(dir, rereadName)
	if _, err := os.Stat(mark); err != nil {
		return nil // the usual case
	}
	if err := log.Rewind(ctx, consumerName); err != nil {
		return err
	}
	return os.Remove(mark)
}
