package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/uptrace/bun"
)

// Retention is how long readings and their roll-ups are kept; 0: for ever.
type Retention struct {
	Readings, Minutes, Hours, Days time.Duration
}

// The ages that are taken, but for 0; a longer one is a slip of the pen.
const (
	leastRetention = 24 * time.Hour
	mostRetention  = 100 * 365 * 24 * time.Hour
)

// Check says what is wrong with it, nil if nothing: a finer resolution is not
// kept longer than a coarser one, since charts of old times need the coarser.
func (r *Retention) Check() error {
	names := []string{"readings", "minutes", "hours", "days"}
	kept := []time.Duration{r.Readings, r.Minutes, r.Hours, r.Days}
	for i, d := range kept {
		if d != 0 && (d < leastRetention || d > mostRetention) {
			return fmt.Errorf("retention of %s: %v, use at least a day and at most 100 years, or 0 for ever", names[i], d)
		}
		if i > 0 && d != 0 && (kept[i-1] == 0 || kept[i-1] > d) {
			return fmt.Errorf("retention of %s: %v is shorter than that of %s, use at least as long", names[i], d, names[i-1])
		}
	}
	return nil
}

// retentionSetting holds the Retention that is set.
const retentionSetting = "readings.retention"

// Retention is the retention that is set; for ever until somebody sets one.
func (s *Store) Retention(ctx context.Context) (Retention, error) {
	var r Retention
	err := s.Setting(ctx, retentionSetting, &r)
	if errors.Is(err, ErrNotFound) {
		err = nil
	}
	return r, err
}

// SetRetention saves a retention. The audit log says which.
func (e *Editor) SetRetention(ctx context.Context, r Retention) error {
	if err := r.Check(); err != nil {
		return err
	}
	return e.do(ctx, "set", "setting", retentionSetting, r, func(ctx context.Context, tx bun.Tx) error {
		return putSetting(ctx, tx, retentionSetting, r)
	})
}

// Newest is the time of the newest reading of any channel, the zero Time if
// there is none.
func (s *Store) Newest(ctx context.Context) (time.Time, error) {
	var at sql.NullInt64
	err := s.read.QueryRowContext(ctx, "SELECT max(last_at) FROM rollup_day").Scan(&at)
	if err != nil || !at.Valid {
		return time.Time{}, wrap(err, "reading when the newest reading is of")
	}
	return time.UnixMicro(at.Int64).UTC(), nil
}

// horizonsSetting holds the horizon of each resolution, by its name.
const horizonsSetting = "readings.horizons"

// singles is the name of the finest resolution, the readings themselves.
const singles = "readings"

// horizons are the times, in microseconds, before which resolutions are no
// longer kept. A resolution that is not in it is kept for ever.
type horizons map[string]int64

// keeps says whether everything since a time is there.
func (h horizons) keeps(resolution string, from int64) bool {
	horizon, limited := h[resolution]
	return !limited || from >= horizon
}

// horizons reads the horizons. On PostgreSQL lock keeps others from changing
// them ("SHARE") or reading them to add by ("UPDATE") until the transaction
// ends; on SQLite only one writes anyway.
func (s *Store) horizons(ctx context.Context, db bun.IDB, lock string) (horizons, error) {
	row, err := one[setting](ctx, db, func(q *bun.SelectQuery) *bun.SelectQuery {
		if s.pg != nil && lock != "" {
			q = q.For(lock)
		}
		return q.Where("name = ?", horizonsSetting)
	})
	h := horizons{}
	if err == nil {
		err = json.Unmarshal([]byte(row.Value), &h)
	}
	return h, err
}

// Prune drops what is older than its retention. It moves the horizons first and
// then drops channel by channel, so that nobody waits long for it.
func (s *Store) Prune(ctx context.Context, keep Retention, now time.Time) error {
	if err := keep.Check(); err != nil {
		return fmt.Errorf("pruning: %w", err)
	}
	var limits horizons
	err := s.change(ctx, func(ctx context.Context, tx bun.Tx) (err error) {
		if limits, err = s.horizons(ctx, tx, "UPDATE"); err != nil {
			return err
		}
		limits.move(singles, levels[0], keep.Readings, now)
		for i, kept := range []time.Duration{keep.Minutes, keep.Hours, keep.Days} {
			limits.move(levels[i].name, levels[i], kept, now)
		}
		return putSetting(ctx, tx, horizonsSetting, limits)
	})
	if err != nil {
		return wrap(err, "pruning: moving the horizons")
	}
	var channels []int64
	if err := s.read.NewSelect().Model((*Channel)(nil)).Column("id").Order("id").Scan(ctx, &channels); err != nil {
		return wrap(err, "pruning: reading the channels")
	}
	for _, channel := range channels {
		if err := s.drop(ctx, "readings", "at", channel, limits, singles); err != nil {
			return err
		}
		for _, l := range levels {
			if err := s.drop(ctx, "rollup_"+l.name, "start", channel, limits, l.name); err != nil {
				return err
			}
		}
	}
	return nil
}

// move moves the horizon of a resolution to what is to be kept, in whole spans.
// It only moves forwards, also when the clock or the retention does not.
func (h horizons) move(resolution string, l level, keep time.Duration, now time.Time) {
	if keep == 0 {
		return
	}
	if at := l.floor(now.Add(-keep).UnixMicro()); h.keeps(resolution, at) {
		h[resolution] = at
	}
}

// drop drops what is before the horizon of a channel at one resolution.
func (s *Store) drop(ctx context.Context, table, column string, channel int64, limits horizons, resolution string) error {
	horizon, limited := limits[resolution]
	if !limited {
		return nil
	}
	_, err := s.write.ExecContext(ctx, "DELETE FROM ? WHERE channel = ? AND ? < ?",
		bun.Ident(table), channel, bun.Ident(column), horizon)
	return wrap(err, "pruning %s of channel %d", table, channel)
}
