package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/uptrace/bun"
)

// Reading is one value of one channel at one time.
type Reading struct {
	Channel int64
	At      time.Time // to the microsecond
	Value   float64   // finite
}

// Added is what became of a batch of readings.
type Added struct {
	New       int
	Duplicate int // there was one at that time already, and it stays
	TooOld    int // from before the time since which readings are kept
}

// row is a reading or a roll-up's time as it is stored.
type row struct {
	channel, at int64 // microseconds since 1970
	value       float64
}

func (r row) compare(other row) int {
	return cmp.Or(cmp.Compare(r.channel, other.channel), cmp.Compare(r.at, other.at))
}

// BatchMax is the most readings of one batch, so that nobody waits long for it.
// The limit is ours.
const BatchMax = 100_000

// The values and times that are taken: a sum of any number of such values is
// still a number, and the times are those of four-digit years.
const valueMax = 1e100

var timeMin, timeMax = time.Unix(0, 0), time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)

// check says why a reading is not taken, nil if it is.
func (r *Reading) check() error {
	switch {
	case math.IsNaN(r.Value) || math.Abs(r.Value) > valueMax:
		return fmt.Errorf("channel %d at %v: value %v, use a number within ±%g", r.Channel, r.At, r.Value, valueMax)
	case r.At.Before(timeMin) || r.At.After(timeMax):
		return fmt.Errorf("channel %d: time %v, use one from %d to %d", r.Channel, r.At, timeMin.UTC().Year(), timeMax.Year())
	}
	return nil
}

// AddReadings adds a batch of readings, in any order, in one transaction: all
// of it or nothing. A reading at a time that its channel has one for already is
// left out, so a batch may be sent again. The roll-ups are brought up to date
// in the same transaction.
func (s *Store) AddReadings(ctx context.Context, readings []Reading) (added Added, err error) {
	rows, err := rowsOf(readings)
	if err != nil {
		return Added{}, err
	}
	err = s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		added, err = s.addReadings(ctx, tx, rows)
		return err
	})
	if err != nil {
		return Added{}, wrap(err, "adding %d readings", len(readings))
	}
	return added, nil
}

// rowsOf are readings as they are stored, the error says what cannot be.
func rowsOf(readings []Reading) ([]row, error) {
	if len(readings) > BatchMax {
		return nil, fmt.Errorf("adding %d readings: use at most %d at a time", len(readings), BatchMax)
	}
	rows := make([]row, len(readings))
	for i, r := range readings {
		if err := r.check(); err != nil {
			return nil, fmt.Errorf("adding readings: %w", err)
		}
		rows[i] = row{channel: r.Channel, at: r.At.UnixMicro(), value: r.Value}
	}
	return rows, nil
}

func (s *Store) addReadings(ctx context.Context, tx bun.Tx, rows []row) (Added, error) {
	limits, err := s.horizons(ctx, tx, "SHARE")
	if err != nil {
		return Added{}, err
	}
	kept := slices.DeleteFunc(slices.Clone(rows), func(r row) bool { return !limits.keeps(singles, r.at) })
	fresh, err := s.insertReadings(ctx, tx, inOrder(kept))
	if err != nil {
		return Added{}, err
	}
	for _, level := range levels {
		if err := s.addRollups(ctx, tx, level, fold(level, fresh)); err != nil {
			return Added{}, wrap(err, "rolling up by the %s", level.name)
		}
	}
	return Added{New: len(fresh), Duplicate: len(kept) - len(fresh), TooOld: len(rows) - len(kept)}, nil
}

// inOrder sorts rows as the tables are, and drops all but the first of several
// at one time, which counts as it would in batches of their own. Tables are
// then written from front to back, and by every process in the same order, so
// that no two wait for each other.
func inOrder(rows []row) []row {
	sorted := slices.Clone(rows)
	slices.SortStableFunc(sorted, row.compare)
	return slices.CompactFunc(sorted, func(a, b row) bool { return a.compare(b) == 0 })
}

// Readings calls each with every reading of a channel from a time and before
// another, oldest first, until it returns an error. It reads in one snapshot
// and holds no more than a row in memory.
func (s *Store) Readings(ctx context.Context, channel int64, from, to time.Time, each func(Reading) error) error {
	rows, err := s.read.QueryContext(ctx, "SELECT at, value FROM readings WHERE channel = ? AND at >= ? AND at < ? ORDER BY at",
		channel, from.UnixMicro(), to.UnixMicro())
	if err != nil {
		return wrap(err, "reading channel %d", channel)
	}
	defer rows.Close()
	for rows.Next() {
		var at int64
		var value float64
		if err := rows.Scan(&at, &value); err != nil {
			return wrap(err, "reading channel %d", channel)
		}
		if err := each(Reading{Channel: channel, At: time.UnixMicro(at).UTC(), Value: value}); err != nil {
			return err
		}
	}
	return wrap(rows.Err(), "reading channel %d", channel)
}

// First is the time of the first reading that is kept of any of some channels,
// the zero Time if there is none.
func (s *Store) First(ctx context.Context, channels []int64) (first time.Time, err error) {
	for _, channel := range channels {
		var at int64
		err := s.read.QueryRowContext(ctx, "SELECT at FROM readings WHERE channel = ? ORDER BY at LIMIT 1", channel).Scan(&at)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		}
		if err != nil {
			return first, wrap(err, "reading the first value of channel %d", channel)
		}
		if t := time.UnixMicro(at).UTC(); first.IsZero() || t.Before(first) {
			first = t
		}
	}
	return first, nil
}

// Latest is the last reading of each channel that has one, by channel.
func (s *Store) Latest(ctx context.Context, channels []int64) (map[int64]Reading, error) {
	latest := map[int64]Reading{}
	for _, channel := range channels {
		var at int64
		var value float64
		// The newest day is one step from the key's end, and is still there when
		// the readings themselves are not kept any more.
		err := s.read.QueryRowContext(ctx, "SELECT last_at, last FROM rollup_day WHERE channel = ? ORDER BY start DESC LIMIT 1", channel).Scan(&at, &value)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		}
		if err != nil {
			return nil, wrap(err, "reading the last value of channel %d", channel)
		}
		latest[channel] = Reading{Channel: channel, At: time.UnixMicro(at).UTC(), Value: value}
	}
	return latest, nil
}
