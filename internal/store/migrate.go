package store

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

// Migrations are numbered from one and never change once released. A migration
// that cannot be written the same for both databases is two files, whose names
// end in the database's.
//
//go:embed migrations/*.sql
var migrations embed.FS

// migrate brings the tables up to date.
func (s *Store) migrate(ctx context.Context) error {
	p, err := s.migrator()
	if err != nil {
		return err
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bringing the tables up to date: %w", err)
	}
	newest := p.ListSources()[len(p.ListSources())-1].Version
	version, err := p.GetDBVersion(ctx)
	if err != nil {
		return fmt.Errorf("reading the version of the tables: %w", err)
	}
	if version > newest {
		return fmt.Errorf("the tables are of version %d and this program knows %d: use a newer program", version, newest)
	}
	return nil
}

// migrator is goose over the files of this database. On PostgreSQL a lock keeps
// replicas that start together from migrating at once.
func (s *Store) migrator() (*goose.Provider, error) {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	dialect, other := goose.DialectSQLite3, ".postgres.sql"
	if s.pg != nil {
		dialect, other = goose.DialectPostgres, ".sqlite.sql"
	}
	all, err := fs.Glob(files, "*.sql")
	if err != nil {
		return nil, err
	}
	var others []string
	for _, name := range all {
		if strings.HasSuffix(name, other) {
			others = append(others, name)
		}
	}
	options := []goose.ProviderOption{goose.WithExcludeNames(others), goose.WithDisableGlobalRegistry(true)}
	if s.pg != nil {
		const everySecond, forAMinute = 1, 60
		locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(everySecond, forAMinute))
		if err != nil {
			return nil, err
		}
		options = append(options, goose.WithSessionLocker(locker))
	}
	p, err := goose.NewProvider(dialect, s.write.DB, files, options...)
	if err != nil {
		return nil, fmt.Errorf("reading the migrations: %w", err)
	}
	if len(p.ListSources()) == 0 {
		return nil, errors.New("reading the migrations: there are none")
	}
	return p, nil
}
