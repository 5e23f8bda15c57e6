package store

import (
	"context"
	"database/sql"
	"fmt"
	"testing"
	"time"

	"github.com/uptrace/bun"
	"github.com/uptrace/bun/dialect/sqlitedialect"
)

// RollupAt is one stored roll-up, for the tests that work it out again.
func RollupAt(ctx context.Context, s *Store, channel int64, span time.Duration, start time.Time) (Point, error) {
	for _, l := range levels {
		if l.span != span {
			continue
		}
		points, err := s.spans(ctx, channel, start, start.Add(time.Microsecond), span, l)
		if err != nil || len(points) != 1 {
			return Point{}, fmt.Errorf("channel %d has %d roll-ups of %v at %v: %w", channel, len(points), span, start, err)
		}
		return points[0], nil
	}
	return Point{}, fmt.Errorf("no level of %v", span)
}

// CountRollups is how many roll-ups a channel has.
func CountRollups(ctx context.Context, s *Store, channel int64, span time.Duration) (int64, error) {
	for _, l := range levels {
		if l.span == span {
			return s.read.NewSelect().TableExpr("?", bun.Ident("rollup_"+l.name)).Where("channel = ?", channel).Count(ctx)
		}
	}
	return 0, fmt.Errorf("no level of %v", span)
}

// Exec does something to the database that no function does.
func Exec(ctx context.Context, s *Store, query string) error {
	_, err := s.write.DB.ExecContext(ctx, query)
	return err
}

// StepFor is the step and level of a chart, when everything is kept.
func StepFor(length time.Duration) (step, base time.Duration) {
	step, l := stepFor(length, func(level) bool { return true })
	return step, l.span
}

// Ask is a query's one answer, on the connection that writes.
func Ask(ctx context.Context, s *Store, query string) (answer string, err error) {
	err = s.write.DB.QueryRowContext(ctx, query).Scan(&answer)
	return answer, err
}

// ReaderWrites tries to write on a connection for reading.
func ReaderWrites(ctx context.Context, s *Store) error {
	_, err := s.read.DB.ExecContext(ctx, "DELETE FROM settings")
	return err
}

// Migrate is what Open does with the tables.
func Migrate(ctx context.Context, s *Store) error { return s.migrate(ctx) }

// Versions are the versions of the tables, but for the newest.
func Versions(t *testing.T, onPostgres bool) []int64 {
	s := &Store{write: bun.NewDB(&sql.DB{}, sqlitedialect.New())}
	if onPostgres {
		s.pg = new(postgres)
	}
	p, err := s.migrator()
	if err != nil {
		t.Fatal(err)
	}
	var versions []int64
	for _, source := range p.ListSources() {
		versions = append(versions, source.Version)
	}
	return versions[:len(versions)-1]
}

// MigrateTo makes a database of an earlier version.
func MigrateTo(ctx context.Context, address string, version int64) error {
	s, err := connect(address, Kill)
	if err != nil {
		return err
	}
	defer s.Close()
	p, err := s.migrator()
	if err != nil {
		return err
	}
	_, err = p.UpTo(ctx, version)
	return err
}

// RenewClaim is what KeepClaim does now and then.
func RenewClaim(ctx context.Context, s *Store) error { return s.renewClaim(ctx) }

// Horizon is the time before which readings are no longer kept, the zero Time if all
// are.
func Horizon(ctx context.Context, s *Store) (time.Time, error) {
	h, err := s.horizons(ctx, s.read, "")
	at, limited := h[singles]
	if err != nil || !limited {
		return time.Time{}, err
	}
	return time.UnixMicro(at).UTC(), nil
}

// Hurry bounds a commit, and asking what became of it, on PostgreSQL.
func Hurry(s *Store, commit, fate time.Duration) { s.pg.commitTimeout, s.pg.fateTimeout = commit, fate }
