package store

import (
	"context"
	"encoding/json"
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

func saveFinding(ctx context.Context, db bun.IDB, tankID string, f account.Finding) error {
	body, err := json.Marshal(f)
	if err != nil {
		return err
	}
	_, err = db.NewInsert().Model(&findingRow{TankID: tankID, Code: f.Code, Found: f.Found, Ended: f.Ended, Body: string(body)}).
		On("CONFLICT (tank_id, code, found) DO UPDATE").Set("ended = EXCLUDED.ended, body = EXCLUDED.body").Exec(ctx)
	return err
}

func saveFindings(ctx context.Context, db bun.IDB, tankID string, findings []account.Finding) error {
	for _, f := range findings {
		if err := saveFinding(ctx, db, tankID, f); err != nil {
			return wrap(err, "finding %s", f.Code)
		}
	}
	return nil
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
