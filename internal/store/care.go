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

// HandReadings is what was measured by hand at a tank from a time and before
// another, oldest first.
func (s *Store) HandReadings(ctx context.Context, tankID string, from, to time.Time) ([]HandReading, error) {
	list, err := all[HandReading](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("tank_id = ? AND at >= ? AND at < ?", tankID, from, to).Order("at", "id")
	})
	return list, wrap(err, "reading the hand readings of tank %q", tankID)
}
