package monitor

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"isohaline/internal/live"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// A tank's value is saved when this many readings or this much time came since it
// was saved last: the first bounds what a restart has to take in again, the second
// does so for quiet tanks. Both are judgements: a value is some tens of kilobytes,
// so they cost some ten bytes a reading.
const (
	saveAfterReadings = 4096
	saveAfter         = 15 * time.Minute
)

// saveBatch is how many sites have their tanks saved in one commit.
const saveBatch = 16

// save saves the values of tanks that are due, or of all that are not saved as they
// are, and with beliefs also what time had them believe.
func (m *Monitor) save(ctx context.Context, now time.Time, all, beliefs bool) error {
	var problems []error
	for places := range slices.Chunk(m.sites(), saveBatch) {
		if err := m.saveSites(ctx, places, now, all, beliefs); err != nil {
			problems = append(problems, err)
		}
	}
	m.lower()
	return errors.Join(problems...)
}

// saveSites is save for some sites. Their locks are held until it is kept: an older
// value must not take the place of one that was saved with what it told.
func (m *Monitor) saveSites(ctx context.Context, places []*place, now time.Time, all, beliefs bool) error {
	defer lockAll(places)()
	var c store.Commit
	var saved []*tank
	for _, p := range places {
		for _, t := range p.all() {
			due := t.unsaved >= saveAfterReadings || t.unsaved > 0 && (all || passed(t.savedAt.Add(saveAfter), saveAfter, now))
			if !due && !(beliefs && len(t.beliefs) > 0) {
				continue
			}
			step := store.TankStep{TankID: t.id, Beliefs: beliefsOf(t.beliefs)}
			if due {
				data, err := t.encode(t.value.Load())
				if err != nil {
					return fmt.Errorf("tank %s: %w", t.id, err)
				}
				step.Saved = &store.SavedTank{Log: m.position.Log, Sequence: t.seen, Data: data}
			}
			c.Tanks = append(c.Tanks, step)
			saved = append(saved, t)
		}
	}
	if len(saved) == 0 {
		return nil
	}
	if err := m.commit(ctx, &c); err != nil {
		return err
	}
	for i, t := range saved {
		t.beliefs = nil
		if c.Tanks[i].Saved != nil {
			t.isSaved(t.seen, now)
		}
	}
	return nil
}

// encode is a value of the tank as it is saved: without an account that has not heard
// everything.
func (t *tank) encode(v *live.Value) ([]byte, error) {
	if t.owed.Load() || t.spec.Load().problem != nil {
		v = v.Bare()
	}
	return v.Encode()
}

// lower works out the last frame that no tank needs again.
func (m *Monitor) lower() {
	m.taking.Lock()
	defer m.taking.Unlock()
	floor := min(m.position.Sequence, m.reached)
	for _, p := range m.sites() {
		p.mu.Lock()
		for _, t := range p.all() {
			if t.unsaved > 0 {
				floor = min(floor, t.saved)
			}
		}
		p.mu.Unlock()
	}
	m.position.Floor = floor
}

// After is the frame after which the log is to be read: what came up to there is in
// the store with everything that followed.
func (m *Monitor) After() uint64 {
	m.taking.Lock()
	defer m.taking.Unlock()
	return m.position.Floor
}

// Taken is the last frame of the log that is in the store with all that followed. It
// waits for nothing.
func (m *Monitor) Taken() uint64 { return m.stored.Load() }

// isStored notes how far the log is in the store. m.taking is held; of position only
// what it guards is written, since others read which log it is.
func (m *Monitor) isStored(sequence, floor uint64) {
	m.position.Sequence, m.keptFloor = sequence, floor
	m.stored.Store(sequence)
}

// Stop ends waiting for a store that does not answer.
func (m *Monitor) Stop() { m.stop.Do(func() { close(m.stopped) }) }

// Close saves every tank, so that nothing has to be taken in again. Nothing may be
// taken in any more.
func (m *Monitor) Close(ctx context.Context) error {
	m.Stop()
	const all, beliefs = true, true
	if err := m.commitWaiting(ctx, m.now(), all); err != nil {
		return fmt.Errorf("keeping the readings that wait: %w", err)
	}
	if err := m.save(ctx, m.now(), all, beliefs); err != nil {
		return fmt.Errorf("saving the tanks: %w", err)
	}
	m.taking.Lock()
	defer m.taking.Unlock()
	if m.position.Floor == m.keptFloor {
		return nil
	}
	position := m.position
	return m.commit(ctx, &store.Commit{Log: &position})
}

type channelKey struct{ device, name string }

// channelOf is the store's number of a device's channel.
func (m *Monitor) channelOf(ctx context.Context, device, name string) (int64, error) {
	key := channelKey{device, name}
	if id, known := m.channels.Load(key); known {
		return id.(int64), nil
	}
	c, err := m.keeper.EnsureChannel(ctx, device, name)
	if err != nil {
		return 0, err
	}
	m.channels.Store(key, c.ID)
	return c.ID, nil
}

// rows are readings as the store keeps them. One of a device that the store does
// not know, as after a restored backup, cannot be kept: it must not hold up the
// others.
func (m *Monitor) rows(ctx context.Context, readings []*wire.Reading) ([]store.Reading, error) {
	rows := make([]store.Reading, 0, len(readings))
	for _, r := range readings {
		channel, err := m.channelOf(ctx, r.Device, r.Channel)
		if errors.Is(err, store.ErrNotFound) {
			m.log.Error("a reading of an unknown device is not kept", "device", r.Device, "channel", r.Channel)
			continue
		}
		if err != nil {
			return nil, err
		}
		rows = append(rows, store.Reading{Channel: channel, At: r.At, Value: r.Value})
	}
	return rows, nil
}
