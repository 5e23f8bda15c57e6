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
)

// What is in the folder of a service.
const (
	databaseName = "isohaline.db"
	logName      = "log"
	// restoredName is there from a Restore until the service has begun with it.
	restoredName = "just-restored"
)

// Backup writes a consistent copy of a service's database to a new file, also
// while the service runs. The log is no part of it: what the log has and the copy
// has not is read again after a Restore, as long as the log is there.
func Backup(ctx context.Context, dir, file string) error {
	if err := refusePostgres(dir); err != nil {
		return err
	}
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
	if err := refusePostgres(dir); err != nil {
		return "", err
	}
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
	if err := os.WriteFile(filepath.Join(dir, restoredName), nil, privateFile); err != nil {
		return aside, err
	}
	return aside, store.Restore(ctx, file, database)
}

// afterRestore does what a restored backup needs: everybody signs in again, since
// sessions that had ended would be back too.
func (s *Server) afterRestore(ctx context.Context) error {
	mark := filepath.Join(s.o.Dir, restoredName)
	if _, err := os.Stat(mark); err != nil {
		return nil // the usual case
	}
	if err := s.Store.DropExpiredSessions(ctx, s.o.Now().Add(sessionLife)); err != nil { // all of them
		return err
	}
	return os.Remove(mark)
}
