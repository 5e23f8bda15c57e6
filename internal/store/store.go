package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"runtime"
	"slices"
	"time"

	"github.com/uptrace/bun"
	"github.com/uptrace/bun/dialect/sqlitedialect"
	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Durability is what a committed change survives.
type Durability int

const (
	// PowerCut: every commit waits for the disk.
	PowerCut Durability = iota
	// Kill: if this process is killed nothing is lost; after a power cut, or if
	// a PostgreSQL server is killed, the last moments may be missing, and nothing
	// is torn.
	Kill
)

// Store is an open database. It is safe for concurrent use.
type Store struct {
	// On SQLite one connection writes, so that writers wait for each other
	// here and not in the database, and several read beside it. On PostgreSQL
	// both are the same pool.
	write, read *bun.DB
	pg          *postgres // nil: SQLite
	path        string    // of the SQLite file
	// prepared are the statements of every commit, by their text; none on
	// PostgreSQL, whose driver keeps its own.
	prepared map[string]*sql.Stmt
}

// Open opens the database at an address, creates it if needed, and brings its
// tables up to date. The address is postgres://… or the path of an SQLite file.
func Open(ctx context.Context, address string, d Durability) (*Store, error) {
	s, err := connect(address, d)
	if err != nil {
		return nil, fmt.Errorf("opening the database: %w", err)
	}
	if err := s.prepare(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("opening the database: %w", err), s.Close())
	}
	return s, nil
}

// prepare sees whether the database can be used and brings its tables up to date.
func (s *Store) prepare(ctx context.Context) error {
	if s.pg == nil {
		if err := s.migrate(ctx); err != nil {
			return err
		}
		return s.prepareStatements(ctx)
	}
	if err := s.checkVersion(ctx); err != nil {
		return s.pg.explain(err)
	}
	return s.pg.explain(s.migrate(ctx))
}

// prepareStatements prepares the statements of every commit, which are thousands an hour.
func (s *Store) prepareStatements(ctx context.Context) error {
	s.prepared = map[string]*sql.Stmt{}
	all := append(slices.Clone(statements), insertOne)
	for _, l := range levels {
		all = append(all, l.upsertOne())
	}
	for _, query := range all {
		prepared, err := s.write.DB.PrepareContext(ctx, query)
		if err != nil {
			return err
		}
		s.prepared[query] = prepared
	}
	return nil
}

// connect opens the pools.
func connect(address string, d Durability) (*Store, error) {
	if address == "" {
		return nil, errors.New("the address is empty, name a file or postgres://…")
	}
	if IsPostgres(address) {
		return connectPostgres(address, d)
	}
	return connectSQLite(address, d)
}

// Settings of every SQLite connection. The cache is in KiB, the journal's limit
// in bytes: what it grew to beside a long read is given back.
const (
	sqliteBusy    = 10 * time.Second
	sqliteCache   = 64 << 10
	sqliteJournal = 64 << 20
)

func connectSQLite(path string, d Durability) (*Store, error) {
	// SQLite would make a file that others may read. Its journals take the
	// file's mode.
	if err := createPrivate(path); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, err
	}
	synchronous := "FULL"
	if d == Kill {
		synchronous = "NORMAL"
	}
	pragmas := []string{
		fmt.Sprintf("busy_timeout(%d)", sqliteBusy.Milliseconds()),
		"journal_mode(WAL)",
		"synchronous(" + synchronous + ")",
		"foreign_keys(ON)",
		fmt.Sprintf("cache_size(-%d)", sqliteCache),
		fmt.Sprintf("journal_size_limit(%d)", sqliteJournal),
	}
	source := func(more ...string) string {
		q := url.Values{"_pragma": append(pragmas, more...), "_txlock": {"immediate"}, "_timezone": {"UTC"}}
		return fileURL(path, q.Encode())
	}
	writer, err := sql.Open("sqlite", source())
	if err != nil {
		return nil, err
	}
	writer.SetMaxOpenConns(1)
	reader, err := sql.Open("sqlite", source("query_only(ON)"))
	if err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	reader.SetMaxOpenConns(max(4, runtime.NumCPU()))
	reader.SetMaxIdleConns(max(4, runtime.NumCPU()))
	dialect := sqlitedialect.New()
	return &Store{write: bun.NewDB(writer, dialect), read: bun.NewDB(reader, dialect), path: path}, nil
}

// Close closes the database.
func (s *Store) Close() error {
	err := errors.Join(s.releaseClaim(), s.write.Close())
	if s.read != s.write {
		err = errors.Join(err, s.read.Close())
	}
	return err
}

// Check says whether the database answers, for health checks.
func (s *Store) Check(ctx context.Context) error {
	return wrap(s.read.PingContext(ctx), "asking the database whether it is there")
}

// change runs f in one transaction that is committed if it returns nil.
func (s *Store) change(ctx context.Context, f func(ctx context.Context, tx bun.Tx) error) error {
	return s.write.RunInTx(ctx, nil, f)
}

// where narrows a query.
type where = func(*bun.SelectQuery) *bun.SelectQuery

// one reads a single row.
func one[T any](ctx context.Context, db bun.IDB, narrow where) (T, error) {
	var row T
	err := narrow(db.NewSelect().Model(&row)).Limit(1).Scan(ctx)
	return row, err
}

// all reads every row that narrow leaves; none is an empty slice.
func all[T any](ctx context.Context, db bun.IDB, narrow where) ([]T, error) {
	rows := []T{}
	err := narrow(db.NewSelect().Model(&rows)).Scan(ctx)
	return rows, err
}
