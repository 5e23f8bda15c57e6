package edge

import (
	"context"
	"sync/atomic"
	"time"

	"isohaline/internal/edge/decide"
)

// Pace is an agent's time: the real one, or a simulation's that runs faster. A
// fast one counts steps, each as long as a real one, so that a guard that is
// looked at in haste decides as it would at leisure.
type Pace struct {
	speed  int
	began  time.Time
	steps  atomic.Int64
	ticker *time.Ticker
}

// NewPace begins now, so many times as fast as the clock on the wall.
func NewPace(speed int) *Pace {
	return &Pace{speed: max(speed, 1), began: time.Now(), ticker: time.NewTicker(every)}
}

// Moment is the time now. The clock is monotonic: setting the computer's does not
// move it.
func (p *Pace) Moment() decide.Moment {
	if p.speed == 1 {
		return decide.Moment{Clock: time.Since(p.began), Wall: time.Now()}
	}
	clock := time.Duration(p.steps.Load()) * every
	return decide.Moment{Clock: clock, Wall: p.began.Add(clock)}
}

// Clock is the time since the beginning.
func (p *Pace) Clock() time.Duration { return p.Moment().Clock }

// Wait returns when the next step is due, or with ctx's error.
func (p *Pace) Wait(ctx context.Context) error {
	if p.steps.Add(1)%int64(p.speed) != 0 {
		return ctx.Err()
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-p.ticker.C:
		return nil
	}
}
