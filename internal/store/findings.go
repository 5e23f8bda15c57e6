package store

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/uptrace/bun"

	"isohaline/internal/account"
)

// findingRow is a finding as it is stored: what is asked for, and all of it.
type findingRow struct {
	bun.BaseModel `bun:"table:findings"`

	TankID string       `bun:",pk"`
	Code   account.Code `bun:",pk"`
	Found  time.Time    `bun:",pk"`
	Ended  time.Time    `bun:",nullzero"`
	Body   string
}

// Finding is a finding and the tank it is of.
type Finding struct {
	TankID string
	account.Finding
}

// SaveFinding saves a finding of a tank. One with the same code, found at the
// same time, is the same finding, with more known about it.
func (s *Store) SaveFinding(ctx context.Context, tankID string, f account.Finding) error {
	return wrap(saveFinding(ctx, s.write, tankID, f), "saving the finding %s of tank %q", f.Code, tankID)
}

func saveFinding(ctx context.Context, db bun.IDB, tankID string, f account.Finding) error {
	body, err := json.Marshal(f)
	if err != nil {
		return err
	}
	_, err = db.NewInsert().Model(&findingRow{TankID: tankID, Code: f.Code, Found: f.Found, Ended: f.Ended, Body: string(body)}).
		On("CONFLICT (tank_id, code, found) DO UPDATE").Set("ended = EXCLUDED.ended, body = EXCLUDED.body").Exec(ctx)
	return err
}

// SaveAccount saves what a tank's account knows and what it found up to there,
// in one transaction: a process that is killed finds both as they were or both
// as they are. ErrStale as of SaveCheckpoint.
func (s *Store) SaveAccount(ctx context.Context, c Checkpoint, findings []account.Finding) error {
	err := s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		if err := saveCheckpoint(ctx, tx, c); err != nil {
			return err
		}
		return saveFindings(ctx, tx, c.Subject, findings)
	})
	return wrap(err, "saving the account of tank %q", c.Subject)
}

func saveFindings(ctx context.Context, db bun.IDB, tankID string, findings []account.Finding) error {
	for _, f := range findings {
		if err := saveFinding(ctx, db, tankID, f); err != nil {
			return wrap(err, "finding %s", f.Code)
		}
	}
	return nil
}

// ReplaceAccount is SaveAccount of an account that has worked through a tank's
// readings again, since a time: what was found from then on is what it found, and
// what was open before ended then.
func (s *Store) ReplaceAccount(ctx context.Context, c Checkpoint, since time.Time, findings []account.Finding) error {
	err := s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		if err := saveCheckpoint(ctx, tx, c); err != nil {
			return err
		}
		if _, err := tx.NewDelete().Model((*findingRow)(nil)).Where("tank_id = ? AND found >= ?", c.Subject, since).Exec(ctx); err != nil {
			return err
		}
		earlier, err := findingsIn(ctx, tx, func(q *bun.SelectQuery) *bun.SelectQuery {
			return q.Where("tank_id = ? AND ended IS NULL", c.Subject)
		})
		if err != nil {
			return err
		}
		all := slices.Clone(findings)
		for _, f := range earlier {
			f.Ended = since
			all = append(all, f.Finding)
		}
		return saveFindings(ctx, tx, c.Subject, all)
	})
	return wrap(err, "saving the account of tank %q anew", c.Subject)
}

// OpenFindings is every finding that goes on, the newest first; of one tank
// unless tankID is empty.
func (s *Store) OpenFindings(ctx context.Context, tankID string) ([]Finding, error) {
	list, err := findingsIn(ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if tankID != "" {
			q = q.Where("tank_id = ?", tankID)
		}
		return q.Where("ended IS NULL")
	})
	return list, wrap(err, "reading the open findings of tank %q", tankID)
}

// Findings is every finding of a tank that was found before a time and had not
// ended before another, the newest first.
func (s *Store) Findings(ctx context.Context, tankID string, from, to time.Time) ([]Finding, error) {
	list, err := findingsIn(ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("tank_id = ? AND found < ? AND (ended IS NULL OR ended >= ?)", tankID, to, from)
	})
	return list, wrap(err, "reading the findings of tank %q", tankID)
}

func findingsIn(ctx context.Context, db bun.IDB, narrow where) ([]Finding, error) {
	rows, err := all[findingRow](ctx, db, func(q *bun.SelectQuery) *bun.SelectQuery {
		return narrow(q).OrderExpr("found DESC, tank_id, code")
	})
	if err != nil {
		return nil, err
	}
	list := make([]Finding, len(rows))
	for i, row := range rows {
		list[i].TankID = row.TankID
		if err := json.Unmarshal([]byte(row.Body), &list[i].Finding); err != nil {
			return nil, wrap(err, "finding %s", row.Code)
		}
	}
	return list, nil
}
