package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"isohaline/internal/store"
)

// markName is in the folder of a service that keeps its data in PostgreSQL: it
// says where, without a secret, so that nobody begins an empty database there by
// forgetting the address.
const markName = "kept-in-postgresql"

// openStore opens the database: PostgreSQL's where an address is given, else a file
// in the folder.
func (s *Server) openStore(ctx context.Context) (err error) {
	file, mark := filepath.Join(s.o.Dir, databaseName), filepath.Join(s.o.Dir, markName)
	before, err := readMark(s.o.Dir)
	if err != nil {
		return err
	}
	if s.o.Database == "" {
		if before != "" {
			return fmt.Errorf("the service in %s keeps its data in %s: give --database as before; to start again without it, remove %s", s.o.Dir, before, mark)
		}
		s.Store, err = store.Open(ctx, file, storeDurability(s.o.Durability))
		return err
	}
	if !store.IsPostgres(s.o.Database) {
		return errors.New("the database's address is none of PostgreSQL: it begins with postgres://, like postgres://isohaline@db.example.org/isohaline; leave it out to keep everything in a file in the folder")
	}
	if _, err := os.Lstat(file); err == nil {
		return fmt.Errorf("%s is a database already, which PostgreSQL would not take over: give another folder with --dir, or move it away", file)
	}
	if s.Store, err = store.Open(ctx, s.o.Database, storeDurability(s.o.Durability)); err != nil {
		return err
	}
	if err := s.Store.Claim(ctx); err != nil {
		return err
	}
	place := s.Store.Place()
	if place == before {
		return nil
	}
	if before != "" { // another database may not have all that the log has
		if err := os.WriteFile(filepath.Join(s.o.Dir, restoredName), nil, privateFile); err != nil {
			return err
		}
	}
	return os.WriteFile(mark, []byte(place+"\n"), privateFile)
}

// readMark says in which PostgreSQL database the service of a folder keeps its
// data; empty: in none.
func readMark(dir string) (string, error) {
	text, err := os.ReadFile(filepath.Join(dir, markName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("finding the database: %w", err)
	}
	return strings.TrimSpace(string(text)), nil
}

// PostgresTools is the error that says what copies the PostgreSQL database of a
// service in a folder.
func PostgresTools(dir string) error {
	return fmt.Errorf("this service keeps its data in PostgreSQL, which has its own tools: to copy it, pg_dump --format=custom --file=FILE DATABASE, also while the service runs; "+
		"to restore, stop the service, pg_restore --clean --if-exists --dbname=DATABASE FILE, and make an empty file %s, so that the next start reads again what the log still has",
		filepath.Join(dir, restoredName))
}

// refusePostgres is PostgresTools where the service of a folder uses PostgreSQL.
func refusePostgres(dir string) error {
	place, err := readMark(dir)
	if err == nil && place != "" {
		err = PostgresTools(dir)
	}
	return err
}
