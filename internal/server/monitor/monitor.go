package monitor

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/server/feed"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Monitor keeps an eye on every tank. It may be used from several goroutines.
type Monitor struct {
	// Feed passes on what happens, after the store has it.
	Feed feed.Feed[Event]

	store *store.Store
	log   *slog.Logger
	now   func() time.Time
	count Counters

	tankOf func(wire.DeviceID) string
	heard  func(wire.DeviceID, time.Time)

	mu     sync.Mutex
	tanks  map[string]*tank
	places map[string]*place
	// channels are the store's numbers of devices' channels.
	channels map[channelKey]int64
	// advised is when the accounts were last told the time.
	advised time.Time
}

// Counters is how much has gone through; see Counters of a Monitor.
type Counters struct {
	Readings, Observations, NotTaken, Findings, Transitions int64
	// Imported are readings that came as records and were new, Repeated those
	// that the tank had, Unreadable what could not be read.
	Imported, Repeated, Unreadable int64
}

// Event is something that has just happened; one of its fields is set.
type Event struct {
	TankID, SiteID string
	Reading        *wire.Reading
	Finding        *account.Finding
	Alarm          *alarm.Alarm
}

// change is what one step of the watch did, to be kept in one transaction.
type change struct {
	readings []wire.Reading
	tanks    []*tank               // whose account moved
	alarms   map[*place]alarm.Site // what the alarms of a site are now
	records  map[*place]recorded   // who is to be told of them, where that changed
	findings []told
	turned   []turned
	events   []Event
	count    Counters
	// again are tanks whose findings from a time on are those of the change.
	again map[*tank]time.Time
}

// told is a finding of a tank.
type told struct {
	tank *tank
	account.Finding
}

// turned is a change of an alarm.
type turned struct {
	place *place
	alarm.Transition
}

// Take takes in readings from the log, in its order. When it returns nil they
// and all that follows from them are in the store; when not, nothing is, and it
// wants the same readings again. A reading may come more than once.
func (m *Monitor) Take(ctx context.Context, readings []wire.Reading) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	c := change{readings: readings, alarms: map[*place]alarm.Site{}}
	now := m.now()
	for i := range readings {
		r := &readings[i]
		t := m.tanks[m.tankOf(wire.DeviceID{Site: r.Site, Device: r.Device})]
		if t == nil {
			continue // its device is gone; the reading is kept all the same
		}
		if t.meanwhile != nil {
			t.meanwhile.readings = append(t.meanwhile.readings, *r)
		}
		changed, found, err := t.hear(r)
		t.note()
		if f, ok := t.touched(r); ok && changed {
			m.touch(&c, t, f, now)
		}
		c.count.Observations++
		if err != nil {
			c.count.NotTaken++
			m.log.Warn("the account does not take a reading", "tank", t.id, "device", r.Device, "channel", r.Channel, "error", err)
		}
		if changed {
			c.events = append(c.events, Event{TankID: t.id, SiteID: t.siteID, Reading: r})
		}
		m.moved(&c, t, found, now)
	}
	if err := m.conclude(ctx, &c); err != nil {
		return err
	}
	m.tellHeard(readings)
	return nil
}

// tellHeard says of which devices readings came, and when.
func (m *Monitor) tellHeard(readings []wire.Reading) {
	if m.heard == nil {
		return
	}
	last := map[wire.DeviceID]time.Time{}
	for i := range readings {
		r := &readings[i]
		if id := (wire.DeviceID{Site: r.Site, Device: r.Device}); r.Received.After(last[id]) {
			last[id] = r.Received
		}
	}
	for id, at := range last {
		m.heard(id, at)
	}
}

// Hear takes in what a person saw at a tank: a measurement, a refill.
func (m *Monitor) Hear(ctx context.Context, tankID string, o account.Observation) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	t := m.tanks[tankID]
	if t == nil {
		return notWatched(tankID)
	}
	if t.meanwhile != nil {
		t.meanwhile.seen = append(t.meanwhile.seen, o)
	}
	c := change{alarms: map[*place]alarm.Site{}}
	found, err := t.account.Observe(&t.state, o)
	if err != nil {
		return err
	}
	m.moved(&c, t, found, m.now())
	return m.conclude(ctx, &c)
}

// adviseEvery is how often an account is told the time, so that it notices what
// did not come.
const adviseEvery = time.Minute

// Tick tells accounts and alarms what time it is. It is cheap where nothing is
// due, so it may come often.
func (m *Monitor) Tick(ctx context.Context) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	c := change{alarms: map[*place]alarm.Site{}}
	now := m.now()
	if since := now.Sub(m.advised); since >= adviseEvery || since < 0 {
		m.advised = now
		for _, t := range m.tanks {
			// What only time has changed is worked out again after a restart, and
			// needs no keeping.
			if found := t.account.Advance(&t.state, now); len(found) > 0 {
				m.moved(&c, t, found, now)
			}
			t.note()
		}
	}
	for _, p := range m.places {
		if due := alarm.Deadline(p.settings(), p.alarms); !due.IsZero() && !due.After(now) {
			m.step(&c, p, alarm.Event{}, now)
		}
	}
	return m.conclude(ctx, &c)
}

// Ask lets a person ask something of an alarm. The reason says what came of it,
// a refusal included.
func (m *Monitor) Ask(ctx context.Context, siteID string, e alarm.Event) (alarm.Reason, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.places[siteID]
	if s == nil {
		return alarm.RefusedNoAlarm, nil
	}
	c := change{alarms: map[*place]alarm.Site{}}
	var reason alarm.Reason
	for _, t := range m.step(&c, s, e, m.now()) {
		if t.Key == e.Key && t.By == e.By {
			reason = t.Reason
		}
	}
	return reason, m.conclude(ctx, &c)
}

// moved notes that a tank's account moved, and what it told.
func (m *Monitor) moved(c *change, t *tank, found []account.Finding, now time.Time) {
	if !slices.Contains(c.tanks, t) {
		c.tanks = append(c.tanks, t)
	}
	for _, f := range found {
		c.count.Findings++
		c.findings = append(c.findings, told{t, f})
		c.events = append(c.events, Event{TankID: t.id, SiteID: t.siteID, Finding: &f})
		m.step(c, m.places[t.siteID], alarm.FromFinding(t.id, "", f), now)
	}
}

// touch notes a condition that a contact told by itself. Its record in the store
// is the account's, where the account has a word for it.
func (m *Monitor) touch(c *change, t *tank, f account.Finding, now time.Time) {
	if unaccounted(f.Code) {
		c.findings = append(c.findings, told{t, f})
	}
	c.events = append(c.events, Event{TankID: t.id, SiteID: t.siteID, Finding: &f})
	m.step(c, m.places[t.siteID], alarm.FromFinding(t.id, "", f), now)
}

// step takes a site's alarms through an event.
func (m *Monitor) step(c *change, s *place, e alarm.Event, now time.Time) []alarm.Transition {
	present, ok := c.alarms[s]
	if !ok {
		present = s.alarms
	}
	next, transitions := alarm.Step(s.settings(), present, e, now)
	c.alarms[s] = next
	for _, t := range transitions {
		c.turned = append(c.turned, turned{s, t})
		if !t.Reason.Refused() {
			c.count.Transitions++
			c.events = append(c.events, Event{TankID: t.Key.Tank, SiteID: s.id, Alarm: next.Find(t.Key)})
		}
	}
	return transitions
}

// conclude keeps a change. If the store does not take it, the watch goes back to
// what the store has.
func (m *Monitor) conclude(ctx context.Context, c *change) error {
	saved := make([][]byte, len(c.tanks))
	err := error(nil)
	for i, t := range c.tanks {
		if saved[i], err = json.Marshal(&t.state); err != nil {
			break
		}
	}
	if err == nil {
		err = m.keep(ctx, c, saved)
	}
	if err != nil {
		for _, t := range c.tanks {
			if back := t.restore(); back != nil {
				m.log.Error("a tank cannot go back to its saved state", "error", back)
			}
		}
		return err
	}
	for i, t := range c.tanks {
		t.saved = saved[i]
	}
	for p, alarms := range c.alarms {
		p.alarms, p.decideAt = alarms, m.now()
		if r, changed := c.records[p]; changed {
			p.record = r.Record
		}
	}
	m.count.add(&c.count)
	m.count.Readings += int64(len(c.readings))
	for _, e := range c.events {
		m.Feed.Publish(e)
	}
	return nil
}

func (n *Counters) add(m *Counters) {
	n.Readings += m.Readings
	n.Observations += m.Observations
	n.NotTaken += m.NotTaken
	n.Findings += m.Findings
	n.Transitions += m.Transitions
	n.Imported += m.Imported
	n.Repeated += m.Repeated
	n.Unreadable += m.Unreadable
}

// Counters is how much has gone through since the start.
func (m *Monitor) Counters() Counters {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.count
}

func notWatched(tankID string) error { return fmt.Errorf("tank %q: %w", tankID, store.ErrNotFound) }
