package store

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/uptrace/bun"
)

// A batch is written with bound values, not as text: so a number comes back to
// the last bit. SQLite lives in this process and takes a row at a time through
// a prepared statement; PostgreSQL is a round trip away and takes a batch as
// arrays.

const (
	insertReading = "INSERT INTO readings (channel, at, value) "
	insertOne     = insertReading + "VALUES (?, ?, ?) ON CONFLICT DO NOTHING"
)

// insertReadings inserts the rows that are not there yet and returns those.
func (s *Store) insertReadings(ctx context.Context, tx bun.Tx, rows []row) ([]row, error) {
	if s.pg != nil {
		return insertReadingsPostgres(ctx, tx, rows)
	}
	insert, done, err := s.statement(ctx, tx, insertOne)
	if err != nil {
		return nil, err
	}
	defer done()
	fresh := make([]row, 0, len(rows))
	for _, r := range rows {
		result, err := insert.ExecContext(ctx, r.channel, r.at, r.value)
		if err != nil {
			return nil, wrap(err, "channel %d", r.channel)
		}
		if n, err := result.RowsAffected(); err != nil {
			return nil, err
		} else if n == 1 {
			fresh = append(fresh, r)
		}
	}
	return fresh, nil
}

func insertReadingsPostgres(ctx context.Context, tx bun.Tx, rows []row) ([]row, error) {
	channels, ats, values := make([]int64, len(rows)), make([]int64, len(rows)), make([]float64, len(rows))
	for i, r := range rows {
		channels[i], ats[i], values[i] = r.channel, r.at, r.value
	}
	inserted, err := tx.Tx.QueryContext(ctx, insertReading+
		"SELECT * FROM unnest($1::bigint[], $2::bigint[], $3::double precision[]) ON CONFLICT DO NOTHING RETURNING channel, at, value",
		channels, ats, values)
	if err != nil {
		return nil, err
	}
	return scanAll(inserted, func(r *row) []any { return []any{&r.channel, &r.at, &r.value} })
}

const upsertRollup = "INSERT INTO rollup_%s AS r (channel, start, n, low, high, sum, sum_err, last_at, last) "

// mergeRollup adds a roll-up to the one that is there. The sum is added with its
// rounding error (TwoSum: Knuth, The Art of Computer Programming, volume 2,
// section 4.2.2), which SQL's double precision keeps.
const mergeRollup = ` ON CONFLICT (channel, start) DO UPDATE SET
	n       = r.n + excluded.n,
	low     = CASE WHEN excluded.low < r.low THEN excluded.low ELSE r.low END,
	high    = CASE WHEN excluded.high > r.high THEN excluded.high ELSE r.high END,
	sum     = r.sum + excluded.sum,
	sum_err = r.sum_err + excluded.sum_err
	          + ((r.sum - ((r.sum + excluded.sum) - ((r.sum + excluded.sum) - r.sum)))
	          + (excluded.sum - ((r.sum + excluded.sum) - r.sum))),
	last    = CASE WHEN excluded.last_at > r.last_at THEN excluded.last ELSE r.last END,
	last_at = CASE WHEN excluded.last_at > r.last_at THEN excluded.last_at ELSE r.last_at END`

// upsertOne is the statement for one roll-up of a level.
func (l level) upsertOne() string {
	return fmt.Sprintf(upsertRollup, l.name) + "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)" + mergeRollup
}

// addRollups adds roll-ups of one level to those that are there.
func (s *Store) addRollups(ctx context.Context, tx bun.Tx, level level, rollups []rollup) error {
	if s.pg != nil {
		return addRollupsPostgres(ctx, tx, fmt.Sprintf(upsertRollup, level.name), rollups)
	}
	upsert, done, err := s.statement(ctx, tx, level.upsertOne())
	if err != nil {
		return err
	}
	defer done()
	for i := range rollups {
		r := &rollups[i]
		if _, err := upsert.ExecContext(ctx, r.channel, r.start, r.n, r.low, r.high, r.sum, r.sumErr, r.lastAt, r.last); err != nil {
			return wrap(err, "channel %d", r.channel)
		}
	}
	return nil
}

func addRollupsPostgres(ctx context.Context, tx bun.Tx, into string, rollups []rollup) error {
	n := len(rollups)
	channels, starts, ns, lastAts := make([]int64, n), make([]int64, n), make([]int64, n), make([]int64, n)
	lows, highs, sums, sumErrs, lasts := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range rollups {
		r := &rollups[i]
		channels[i], starts[i], ns[i], lastAts[i] = r.channel, r.start, r.n, r.lastAt
		lows[i], highs[i], sums[i], sumErrs[i], lasts[i] = r.low, r.high, r.sum, r.sumErr, r.last
	}
	_, err := tx.Tx.ExecContext(ctx, into+`SELECT * FROM unnest($1::bigint[], $2::bigint[], $3::bigint[],
		$4::double precision[], $5::double precision[], $6::double precision[], $7::double precision[],
		$8::bigint[], $9::double precision[])`+mergeRollup,
		channels, starts, ns, lows, highs, sums, sumErrs, lastAts, lasts)
	return err
}

// scanAll reads every row of a result and closes it.
func scanAll[T any](rows *sql.Rows, into func(*T) []any) ([]T, error) {
	defer rows.Close()
	var list []T
	for rows.Next() {
		var t T
		if err := rows.Scan(into(&t)...); err != nil {
			return nil, err
		}
		list = append(list, t)
	}
	return list, rows.Err()
}
