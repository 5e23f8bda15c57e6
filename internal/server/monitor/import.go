package monitor

import (
	"context"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/wire"
)

// History is what was recorded of a tank before it came under watch.
type History struct {
	TankID string
	// Readings are of the tank's devices, in the order of time.
	Readings []wire.Reading
	// Seen is what people saw, in the order of time.
	Seen []account.Observation
}

// importBatch is how many readings go into the store at once.
const importBatch = 20_000

// Import takes in the past of tanks whose accounts are new. The account works
// through it as if it came live, and the alarms of it are made at their own
// times.
func (m *Monitor) Import(ctx context.Context, histories []History) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	c := change{alarms: map[*place]alarm.Site{}}
	for i := range histories {
		if err := m.importOne(ctx, &c, &histories[i]); err != nil {
			return err
		}
	}
	slices.SortStableFunc(c.findings, func(a, b told) int { return toldAt(&a.Finding).Compare(toldAt(&b.Finding)) })
	for _, f := range c.findings {
		m.step(&c, m.places[f.tank.siteID], alarm.FromFinding(f.tank.id, "", f.Finding), toldAt(&f.Finding))
	}
	c.events = nil // it is all past
	return m.conclude(ctx, &c)
}

// toldAt is when a finding was told: as it ended, or as it was found.
func toldAt(f *account.Finding) time.Time {
	if !f.Ended.IsZero() {
		return f.Ended
	}
	return f.Found
}

func (m *Monitor) importOne(ctx context.Context, c *change, h *History) error {
	t := m.tanks[h.TankID]
	if t == nil {
		return notWatched(h.TankID)
	}
	if len(h.Readings) == 0 {
		return nil
	}
	for batch := range slices.Chunk(h.Readings, importBatch) {
		if _, err := m.keepReadings(ctx, batch); err != nil {
			return err
		}
	}
	t.state = t.account.Begin(h.Readings[0].At)
	c.tanks = append(c.tanks, t)
	k := walk{tank: t, seen: h.Seen}
	k.through(h.Readings)
	k.end(m.now())
	for _, f := range k.told {
		c.findings = append(c.findings, told{t, f})
	}
	c.count.NotTaken += k.notTaken
	return ctx.Err()
}
