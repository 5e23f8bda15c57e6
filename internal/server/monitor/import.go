package monitor

import (
	"context"
	"fmt"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/live"
	"isohaline/internal/wire"
)

// History is what was recorded of a tank before it was monitored.
type History struct {
	TankID string
	// Readings are of the tank's devices, in the order of time.
	Readings []wire.Reading
	// Seen is what people saw, in the order of time.
	Seen []account.Observation
}

// importBatch is how many readings go into the store at once.
const importBatch = 20_000

// Import takes in the past of tanks of one site whose accounts are new. The account
// works through it as if it came live, and the alarms of it are made at their own
// times.
func (m *Monitor) Import(ctx context.Context, histories []History) error {
	var walks []*walked
	for i := range histories {
		w, err := m.walk(ctx, &histories[i])
		if err != nil {
			return err
		}
		if w != nil {
			walks = append(walks, w)
		}
	}
	if len(walks) == 0 {
		return nil
	}
	p := walks[0].tank.place
	p.mu.Lock()
	defer p.mu.Unlock()
	now := m.now()
	d := m.draft(now)
	type told struct {
		tank *tank
		account.Finding
	}
	var all []told
	for _, w := range walks {
		if w.tank.place != p {
			return fmt.Errorf("tank %q is not at site %q: import the tanks of one site at a time", w.tank.id, p.id)
		}
		td := d.of(w.tank)
		td.value, td.save, td.since = w.Value(), true, w.began
		td.findings, td.beliefs = w.Findings(), w.Beliefs()
		d.count.NotTaken += int64(w.NotTaken())
		for _, f := range w.Told() {
			all = append(all, told{w.tank, f})
		}
	}
	slices.SortStableFunc(all, func(a, b told) int { return toldAt(&a.Finding).Compare(toldAt(&b.Finding)) })
	for _, f := range all {
		d.at = toldAt(&f.Finding)
		d.tell(p, alarm.FromFinding(f.tank.id, "", f.Finding))
	}
	d.at, d.events = now, nil // it is all past
	return d.keep(ctx)
}

// walked is a tank whose account has worked through its past.
type walked struct {
	tank *tank
	*live.Walk
	began time.Time
}

// walk keeps a tank's past readings and takes a new account through them; nil where
// there are none.
func (m *Monitor) walk(ctx context.Context, h *History) (*walked, error) {
	t := m.tank(h.TankID)
	if t == nil {
		return nil, notMonitored(h.TankID)
	}
	if len(h.Readings) == 0 {
		return nil, nil
	}
	for batch := range slices.Chunk(h.Readings, importBatch) {
		if _, err := m.addReadings(ctx, batch); err != nil {
			return nil, err
		}
	}
	began := h.Readings[0].At
	k, err := live.NewWalk(t.spec.Load().sheet, began)
	if err != nil {
		return nil, err
	}
	k.See(h.Seen...)
	k.Through(h.Readings)
	k.End(m.now())
	return &walked{t, k, began}, nil
}

// toldAt is when a finding was told: as it ended, or as it was found.
func toldAt(f *account.Finding) time.Time {
	if !f.Ended.IsZero() {
		return f.Ended
	}
	return f.Found
}
