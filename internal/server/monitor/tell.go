package monitor

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/store"
)

// Plan is who is told of a site's alarms and when, and the time zone that
// messages and findings say times in, by its IANA name; empty: UTC.
type Plan struct {
	alarm.Plan
	Zone string
}

// planSetting is the name that a site's plan is kept under.
func planSetting(siteID string) string { return "plan/" + siteID }

// recallPlan reads a site's plan from the store. A site that has none tells
// nobody.
func (m *Monitor) recallPlan(ctx context.Context, p *place) error {
	var plan Plan
	if err := m.store.Setting(ctx, planSetting(p.id), &plan); err != nil && !isNotFound(err) {
		return err
	}
	return p.plan(plan)
}

// plan makes a plan the site's own.
func (p *place) plan(plan Plan) error {
	zone, err := time.LoadLocation(plan.Zone)
	if err != nil {
		return fmt.Errorf("zone %q is not known, use a name like Europe/Berlin, or none for UTC", plan.Zone)
	}
	p.toTell, p.zone = plan, zone
	return nil
}

// Plan is a site's plan.
func (m *Monitor) Plan(siteID string) Plan {
	m.mu.Lock()
	defer m.mu.Unlock()
	if p := m.places[siteID]; p != nil {
		return p.toTell
	}
	return Plan{}
}

// SetPlan saves a plan, which has passed its Check, and goes on by it.
func (m *Monitor) SetPlan(ctx context.Context, e *store.Editor, siteID string, plan Plan) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.places[siteID]
	if p == nil {
		return fmt.Errorf("site %q: %w", siteID, store.ErrNotFound)
	}
	if err := e.Set(ctx, planSetting(siteID), plan); err != nil {
		return err
	}
	p.decideAt = m.now()
	if err := p.plan(plan); err != nil {
		return err
	}
	return m.rezone(p)
}

// rezone has sentences about a place's tanks say times as its plan says.
func (m *Monitor) rezone(p *place) error {
	for _, id := range p.tanks {
		t := m.tanks[id]
		sheet := t.sheet.in(p.zone)
		a, err := sheet.account(quietAtMost)
		if err != nil {
			return err
		}
		t.sheet, t.account = sheet, a
		for i := range plains {
			if f, there := t.plain[plains[i].code]; there {
				t.plain[f.Code] = plains[i].finding(sheet, f.Since)
			}
		}
	}
	return nil
}

// TellsBy are the sites whose plans name a contact's channel and address.
func (m *Monitor) TellsBy(channel alarm.Channel, address string) []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	var ids []string
	for id, p := range m.places {
		for priority := alarm.Low; priority <= alarm.Critical; priority++ {
			for _, rung := range p.toTell.Own(priority).Rungs {
				for _, c := range rung.Contacts {
					if c.Channel == channel && c.Address == address && !slices.Contains(ids, id) {
						ids = append(ids, id)
					}
				}
			}
		}
	}
	slices.Sort(ids)
	return ids
}

// Outgoing is a notice that is to be delivered now.
type Outgoing struct {
	SiteID string
	deliver.Outgoing
}

// ToSend decides who is to be told now, at every site where that may have
// changed, and keeps the decision before it returns it. A notice that was not
// reported stays to be sent, so it may be returned again.
func (m *Monitor) ToSend(ctx context.Context) ([]Outgoing, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	c := change{alarms: map[*place]alarm.Site{}}
	now := m.now()
	var out []Outgoing
	again := map[*place]time.Time{}
	for _, p := range m.places {
		if p.decideAt.IsZero() || p.decideAt.After(now) {
			continue
		}
		record, decision := alarm.Decide(&p.toTell.Plan, p.alarms, p.record, now)
		c.record(p, record, decision.Changed)
		again[p] = decision.Again
		for _, n := range decision.Send {
			a := p.alarms.Find(n.Alarm)
			if a == nil {
				continue // it is about to be dropped
			}
			out = append(out, Outgoing{p.id, deliver.Outgoing{Notice: n, Message: alarm.Compose(p.settings(), p.name, p.zone, *a, n, now)}})
		}
	}
	if err := m.conclude(ctx, &c); err != nil {
		return nil, err
	}
	for p, at := range again {
		p.decideAt = at
	}
	return out, nil
}

// Reported keeps what came of an attempt to deliver a notice of a site, and says
// what has become of the notice by it; nothing if it is no longer wanted.
func (m *Monitor) Reported(ctx context.Context, siteID string, r deliver.Result) (alarm.Outcome, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.places[siteID]
	if p == nil {
		return "", nil // the site is gone, and who was told with it
	}
	record, notice, ok := p.record.Report(r.ID, r.At, r.Problem, r.Hopeless)
	if !ok {
		return "", nil
	}
	c := change{alarms: map[*place]alarm.Site{}}
	c.record(p, record, []alarm.Notice{notice})
	return notice.Outcome, m.conclude(ctx, &c)
}

// record notes that who is to be told at a site changed.
func (c *change) record(p *place, record alarm.Record, changed []alarm.Notice) {
	if _, ok := c.alarms[p]; !ok {
		c.alarms[p] = p.alarms
	}
	if c.records == nil {
		c.records = map[*place]recorded{}
	}
	c.records[p] = recorded{record, changed}
}

// recorded is who is to be told at a site, and which notices of it changed.
type recorded struct {
	alarm.Record
	changed []alarm.Notice
}

// Told are the notices about an alarm's present call.
func (m *Monitor) Told(siteID string, key alarm.Key) []alarm.Notice {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.places[siteID]
	if p == nil {
		return nil
	}
	a := p.alarms.Find(key)
	var out []alarm.Notice
	for _, n := range p.record.Notices {
		if a != nil && n.Alarm == key && n.Called.Equal(a.Called) {
			out = append(out, n)
		}
	}
	return out
}

// An alarm's id is its site, tank, device and code with colons between, which
// none of them contains.
const idParts = 4

// AlarmID names an alarm among those of all sites.
func AlarmID(siteID string, k alarm.Key) string {
	return strings.Join([]string{siteID, k.Tank, k.Device, string(k.Code)}, ":")
}

// ParseAlarmID is the alarm that an id names, ok false for no id.
func ParseAlarmID(id string) (siteID string, k alarm.Key, ok bool) {
	parts := strings.Split(id, ":")
	if len(parts) != idParts {
		return "", k, false
	}
	return parts[0], alarm.Key{Tank: parts[1], Device: parts[2], Code: account.Code(parts[3])}, true
}
