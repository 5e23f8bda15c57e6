package monitor

import (
	"context"
	"math"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/store"
)

// note notes what a tank's account believes when it has passed a full hour. An
// account that has heard nothing believes nothing worth noting.
func (t *tank) note() {
	hour := t.state.At.Truncate(store.BeliefEvery)
	if len(t.lasts) == 0 || !hour.After(t.noted) {
		return
	}
	t.noted = hour
	e := t.account.Estimate(&t.state)
	t.beliefs = append(t.beliefs, beliefOf(hour, &e))
}

func beliefOf(at time.Time, e *account.Estimate) store.Belief {
	b := store.Belief{At: at, SalinityPSU: storable(e.SalinityPSU), SalinitySD: storable(e.SalinitySD), FlowLMin: storable(e.FlowLMin), FlowSD: storable(e.FlowSD),
		ExpectedLDay: storable(e.ExpectedLDay), ExpectedLowL: storable(e.ExpectedLowL), ExpectedHighL: storable(e.ExpectedHiL)}
	if e.ReservoirKnown {
		b.DaysLeft = &store.DaysLeft{Low: storable(e.DaysLeftLow), Middle: storable(e.DaysLeft), High: storable(e.DaysLeftHigh)}
	}
	return b
}

// storable is a number that can be stored, 0 for one that cannot.
func storable(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// keepBeliefs brings what was noted into the store.
func (m *Monitor) keepBeliefs(ctx context.Context) error {
	for _, t := range m.tanks {
		err := error(nil)
		switch {
		case !t.anew.IsZero():
			err = m.store.ReplaceBeliefs(ctx, t.id, t.anew, t.beliefs)
		case len(t.beliefs) > 0:
			err = m.store.SaveBeliefs(ctx, t.id, t.beliefs)
		}
		if err != nil {
			return err
		}
		t.beliefs, t.anew = nil, time.Time{}
	}
	return nil
}
