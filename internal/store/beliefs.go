package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"github.com/uptrace/bun"
)

// Belief is what a tank's account believed at a full hour, or on the mean over a
// day.
type Belief struct {
	At time.Time
	// SalinityPSU is what an instrument would have read, FlowLMin the flow of the
	// top-off pump; SD fields are one standard deviation.
	SalinityPSU, SalinitySD float64
	FlowLMin, FlowSD        float64
	// ExpectedLDay is what a day's top-off was expected to be; nine days in ten
	// lie between low and high.
	ExpectedLDay, ExpectedLowL, ExpectedHighL float64
	// DaysLeft is how long the reservoir was to last, nil where nobody knew how
	// much was in it.
	DaysLeft *DaysLeft
}

// DaysLeft is the early end, the middle and the late end of nine cases in ten.
type DaysLeft struct{ Low, Middle, High float64 }

// BeliefEvery is how often beliefs are noted.
const BeliefEvery = time.Hour

// beliefRow is a belief as it is stored.
type beliefRow struct {
	bun.BaseModel `bun:"table:beliefs"`

	TankID                              string `bun:",pk"`
	At                                  int64  `bun:",pk"`
	Salinity, SalinitySD                float64
	Flow, FlowSD                        float64
	Expected, ExpectedLow, ExpectedHigh float64
	DaysLeft, DaysLeftLow, DaysLeftHigh sql.NullFloat64
}

func rowOf(tankID string, b *Belief) beliefRow {
	r := beliefRow{TankID: tankID, At: b.At.UnixMicro(), Salinity: b.SalinityPSU, SalinitySD: b.SalinitySD, Flow: b.FlowLMin, FlowSD: b.FlowSD,
		Expected: b.ExpectedLDay, ExpectedLow: b.ExpectedLowL, ExpectedHigh: b.ExpectedHighL}
	if d := b.DaysLeft; d != nil {
		known := func(v float64) sql.NullFloat64 { return sql.NullFloat64{Float64: v, Valid: true} }
		r.DaysLeft, r.DaysLeftLow, r.DaysLeftHigh = known(d.Middle), known(d.Low), known(d.High)
	}
	return r
}

func (r *beliefRow) belief() Belief {
	b := Belief{At: time.UnixMicro(r.At).UTC(), SalinityPSU: r.Salinity, SalinitySD: r.SalinitySD, FlowLMin: r.Flow, FlowSD: r.FlowSD,
		ExpectedLDay: r.Expected, ExpectedLowL: r.ExpectedLow, ExpectedHighL: r.ExpectedHigh}
	if r.DaysLeft.Valid {
		b.DaysLeft = &DaysLeft{Low: r.DaysLeftLow.Float64, Middle: r.DaysLeft.Float64, High: r.DaysLeftHigh.Float64}
	}
	return b
}

// beliefsAtOnce keeps a statement below the number of values that both
// databases take.
const beliefsAtOnce = 500

func saveBeliefs(ctx context.Context, db bun.IDB, tankID string, beliefs []Belief) error {
	for chunk := range slices.Chunk(beliefs, beliefsAtOnce) {
		rows := make([]beliefRow, len(chunk))
		for i := range chunk {
			rows[i] = rowOf(tankID, &chunk[i])
		}
		q := db.NewInsert().Model(&rows).On("CONFLICT (tank_id, at) DO UPDATE")
		for _, column := range []string{"salinity", "salinity_sd", "flow", "flow_sd", "expected", "expected_low", "expected_high", "days_left", "days_left_low", "days_left_high"} {
			q = q.Set("? = EXCLUDED.?", bun.Ident(column), bun.Ident(column))
		}
		if _, err := q.Exec(ctx); err != nil {
			return err
		}
	}
	return nil
}

// Beliefs is what a tank's account believed from a time and before another: at
// every full hour if those are no more than ChartPoints, else at the start of
// each of the finest steps that are few enough. step is 0 for every hour.
func (s *Store) Beliefs(ctx context.Context, tankID string, from, to time.Time) (step time.Duration, beliefs []Belief, err error) {
	if !from.Before(to) {
		return 0, nil, fmt.Errorf("reading beliefs from %v to %v: the end must be after the beginning", from, to)
	}
	step, _ = stepFor(to.Sub(from), func(level) bool { return true })
	rows, err := all[beliefRow](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if step <= BeliefEvery {
			step = 0
		} else {
			// A belief is a state and no sum: that at the start of a step stands
			// for it.
			q = q.Where("at % ? = 0", step.Microseconds())
		}
		return q.Where("tank_id = ? AND at >= ? AND at < ?", tankID, from.UnixMicro(), to.UnixMicro()).Order("at")
	})
	beliefs = make([]Belief, len(rows))
	for i := range rows {
		beliefs[i] = rows[i].belief()
	}
	return step, beliefs, wrap(err, "reading what the account of tank %q believed", tankID)
}

// BeliefsByDay is what a tank's account believed on each day of UTC that has a
// belief in a range of time, on the mean; without DaysLeft.
func (s *Store) BeliefsByDay(ctx context.Context, tankID string, from, to time.Time) ([]Belief, error) {
	const day = 24 * time.Hour
	rows := []beliefRow{}
	err := s.read.NewSelect().Model((*beliefRow)(nil)).
		ColumnExpr("at - at % ? AS at", day.Microseconds()).
		ColumnExpr("avg(salinity) AS salinity, avg(salinity_sd) AS salinity_sd, avg(flow) AS flow, avg(flow_sd) AS flow_sd").
		ColumnExpr("avg(expected) AS expected, avg(expected_low) AS expected_low, avg(expected_high) AS expected_high").
		Where("tank_id = ? AND at >= ? AND at < ?", tankID, from.UnixMicro(), to.UnixMicro()).
		GroupExpr("1").OrderExpr("1").Scan(ctx, &rows)
	beliefs := make([]Belief, len(rows))
	for i := range rows {
		beliefs[i] = rows[i].belief()
	}
	return beliefs, wrap(err, "reading what the account of tank %q believed by day", tankID)
}
