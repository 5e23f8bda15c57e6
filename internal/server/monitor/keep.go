package monitor

import (
	"context"
	"errors"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// accountKind is the kind of the checkpoints of tanks' accounts.
const accountKind = "account"

// keep brings a change into the store, in an order that a process may be killed
// in at any point: readings first, each once however often they come; then
// alarms; then accounts with their findings, and what they believe. What comes after the accounts'
// checkpoint is told again by the log, worked out again to the same findings, and
// asked of the alarms again, where it is nothing new.
func (m *Monitor) keep(ctx context.Context, c *change, saved [][]byte) error {
	if _, err := m.keepReadings(ctx, c.readings); err != nil {
		return err
	}
	for p, alarms := range c.alarms {
		step := store.AlarmStep{SiteID: p.id, Site: alarms, Record: p.record}
		if r, changed := c.records[p]; changed {
			step.Record, step.Changed = r.Record, r.changed
		}
		for _, t := range c.turned {
			if t.place == p {
				step.Said = append(step.Said, t.Transition)
			}
		}
		if len(step.Said) == 0 && len(step.Changed) == 0 && !p.differs(&alarms) {
			continue
		}
		if err := m.store.SaveAlarms(ctx, step); err != nil {
			return err
		}
	}
	for i, t := range c.tanks {
		var found []account.Finding
		for _, f := range c.findings {
			if f.tank == t {
				found = append(found, f.Finding)
			}
		}
		checkpoint := store.Checkpoint{Kind: accountKind, Subject: t.id, Data: saved[i]}
		err := error(nil)
		if since, again := c.again[t]; again {
			err = m.store.ReplaceAccount(ctx, checkpoint, since, found)
		} else {
			err = m.store.SaveAccount(ctx, checkpoint, found)
		}
		if err != nil {
			return err
		}
	}
	return m.keepBeliefs(ctx)
}

// differs says whether alarms are more than a later look at the same ones.
func (p *place) differs(alarms *alarm.Site) bool {
	return !slices.Equal(p.alarms.Alarms, alarms.Alarms)
}

// recallAccount is a tank's account as it was kept, nil for a new one.
func (m *Monitor) recallAccount(ctx context.Context, tankID string) ([]byte, error) {
	c, err := m.store.Checkpoint(ctx, accountKind, tankID)
	if isNotFound(err) {
		return nil, nil
	}
	return c.Data, err
}

func isNotFound(err error) bool { return errors.Is(err, store.ErrNotFound) }

// channelOf is the store's number of a device's channel.
func (m *Monitor) channelOf(ctx context.Context, device, name string) (int64, error) {
	key := channelKey{device, name}
	if id, known := m.channels[key]; known {
		return id, nil
	}
	c, err := m.store.EnsureChannel(ctx, device, name)
	if err != nil {
		return 0, err
	}
	m.channels[key] = c.ID
	return c.ID, nil
}

type channelKey struct{ device, name string }

// keepReadings brings readings into the store, each once however often it came.
func (m *Monitor) keepReadings(ctx context.Context, readings []wire.Reading) (store.Added, error) {
	rows := make([]store.Reading, len(readings))
	for i := range readings {
		r := &readings[i]
		channel, err := m.channelOf(ctx, r.Device, r.Channel)
		if err != nil {
			return store.Added{}, err
		}
		rows[i] = store.Reading{Channel: channel, At: r.At, Value: r.Value}
	}
	if len(rows) == 0 {
		return store.Added{}, nil
	}
	return m.store.AddReadings(ctx, rows)
}

// Series is a channel of a tank over a range of time, whatever device it came
// from.
func (m *Monitor) Series(ctx context.Context, tankID, channel string, from, to time.Time) (store.Series, error) {
	ids, err := m.channelIDs(ctx, tankID, channel)
	var out store.Series
	for _, id := range ids {
		if err != nil {
			break
		}
		var one store.Series
		one, err = m.store.Chart(ctx, id, from, to)
		out.Step = max(out.Step, one.Step)
		out.Points = append(out.Points, one.Points...)
	}
	slices.SortStableFunc(out.Points, func(a, b store.Point) int { return a.At.Compare(b.At) })
	return out, err
}

// Readings calls each with every reading of a tank's channel in a range of time,
// device by device, oldest first.
func (m *Monitor) Readings(ctx context.Context, tankID, channel string, from, to time.Time, each func(store.Reading) error) error {
	ids, err := m.channelIDs(ctx, tankID, channel)
	for _, id := range ids {
		if err == nil {
			err = m.store.Readings(ctx, id, from, to, each)
		}
	}
	return err
}

// channelIDs are the store's numbers of a tank's channel, one a device.
func (m *Monitor) channelIDs(ctx context.Context, tankID, channel string) ([]int64, error) {
	list, err := m.channelsOf(ctx, tankID)
	var ids []int64
	for _, c := range list {
		if c.Name == channel {
			ids = append(ids, c.ID)
		}
	}
	return ids, err
}

// channelsOf are all channels of a tank's devices.
func (m *Monitor) channelsOf(ctx context.Context, tankID string) ([]store.Channel, error) {
	const everySite = ""
	devices, err := m.store.Devices(ctx, everySite)
	var all []store.Channel
	for _, d := range devices {
		if d.TankID != tankID {
			continue
		}
		list, err := m.store.Channels(ctx, d.ID)
		if err != nil {
			return nil, err
		}
		all = append(all, list...)
	}
	return all, err
}

// recallLasts reads what a tank's channels said last.
func (m *Monitor) recallLasts(ctx context.Context, tankID string) (Lasts, error) {
	list, err := m.channelsOf(ctx, tankID)
	if err != nil {
		return nil, err
	}
	ids := make([]int64, len(list))
	for i, c := range list {
		ids[i] = c.ID
	}
	latest, err := m.store.Latest(ctx, ids)
	lasts := Lasts{}
	for _, c := range list {
		if r, ok := latest[c.ID]; ok {
			lasts.take(&wire.Reading{Channel: c.Name, At: r.At, Value: r.Value})
		}
	}
	return lasts, err
}
