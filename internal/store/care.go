package store

import (
	"context"
	"fmt"
	"math"
	"time"

	"github.com/uptrace/bun"
)

// HandReading is a value that a person measured.
type HandReading struct {
	bun.BaseModel `bun:"table:hand_readings"`

	ID         string `bun:",pk"`
	TankID     string
	At         time.Time
	Quantity   string
	Value      float64
	Unit       string
	Instrument string // which one it was measured with
	ReadBy     string // set by AddHandReading
	Note       string
	// SalinityPSU is that of a water change's new water; 0: nobody measured it.
	SalinityPSU float64 `bun:"salinity_psu,nullzero"`
}

// Visit is a person at a site, planned, going on or over.
type Visit struct {
	bun.BaseModel `bun:"table:visits"`

	ID      string `bun:",pk"`
	SiteID  string
	Planned time.Time `bun:",nullzero"`
	Began   time.Time `bun:",nullzero"`
	Ended   time.Time `bun:",nullzero"`
	Visitor string
	Note    string
	Body    string // what was done, as JSON; the care package's own
}

// AddHandReading adds a value in the editor's name.
func (e *Editor) AddHandReading(ctx context.Context, r HandReading) error {
	err := e.store.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		return (&HandEntry{r, e.who, e.at}).add(ctx, tx)
	})
	return wrap(err, "adding hand reading %q", r.ID)
}

// add adds what was entered, and its line in the audit log.
func (h *HandEntry) add(ctx context.Context, tx bun.Tx) error {
	r := h.HandReading
	r.ReadBy = h.By
	for _, v := range []float64{r.Value, r.SalinityPSU} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("adding a hand reading of %s: value %v, use a finite number", r.Quantity, v)
		}
	}
	if _, err := tx.NewInsert().Model(&r).Exec(ctx); err != nil {
		return err
	}
	return note(ctx, tx, h.By, h.At, "add hand reading", "tank", r.TankID, r)
}

// RemoveHandReading takes back a value that was a mistake. The audit log keeps
// it.
func (e *Editor) RemoveHandReading(ctx context.Context, id string) error {
	r, err := one[HandReading](ctx, e.store.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("id = ?", id) })
	if err != nil {
		return wrap(err, "removing hand reading %q", id)
	}
	return e.do(ctx, "remove hand reading", "tank", r.TankID, r, func(ctx context.Context, tx bun.Tx) error {
		return changed(tx.NewDelete().Model(&r).WherePK().Exec(ctx))
	})
}

// HandReadings is what was measured by hand at a tank from a time and before
// another, oldest first.
func (s *Store) HandReadings(ctx context.Context, tankID string, from, to time.Time) ([]HandReading, error) {
	list, err := all[HandReading](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("tank_id = ? AND at >= ? AND at < ?", tankID, from, to).Order("at", "id")
	})
	return list, wrap(err, "reading the hand readings of tank %q", tankID)
}

// SaveVisit adds a visit, or saves one that is there.
func (e *Editor) SaveVisit(ctx context.Context, v Visit) error {
	return e.do(ctx, "save visit", "site", v.SiteID, v, func(ctx context.Context, tx bun.Tx) error {
		insert := tx.NewInsert().Model(&v).On("CONFLICT (id) DO UPDATE")
		for _, column := range []string{"planned", "began", "ended", "visitor", "note", "body"} {
			insert = insert.Set("? = EXCLUDED.?", bun.Ident(column), bun.Ident(column))
		}
		_, err := insert.Exec(ctx)
		return err
	})
}

// Visit is the visit with this ID.
func (s *Store) Visit(ctx context.Context, id string) (Visit, error) {
	v, err := one[Visit](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("id = ?", id) })
	return v, wrap(err, "reading visit %q", id)
}

// Visits is every visit of a site, the latest first by when it began or else is
// planned.
func (s *Store) Visits(ctx context.Context, siteID string) ([]Visit, error) {
	list, err := all[Visit](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("site_id = ?", siteID).OrderExpr("COALESCE(began, planned) DESC, id")
	})
	return list, wrap(err, "reading the visits of site %q", siteID)
}
