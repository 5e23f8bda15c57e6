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

// goBy makes a plan the site's own.
func (p *place) goBy(own Plan) error {
	zone, err := time.LoadLocation(own.Zone)
	if err != nil {
		return fmt.Errorf("zone %q is not known, use a name like Europe/Berlin, or none for UTC", own.Zone)
	}
	p.plan.Store(&plan{own, zone})
	return nil
}

// Plan is a site's plan.
func (m *Monitor) Plan(siteID string) Plan {
	if p := m.place(siteID); p != nil {
		return p.plan.Load().Plan
	}
	return Plan{}
}

// SetPlan saves a plan, which has passed its Check, and goes on by it.
func (m *Monitor) SetPlan(ctx context.Context, e *store.Editor, siteID string, own Plan) error {
	p := m.place(siteID)
	if p == nil {
		return fmt.Errorf("site %q: %w", siteID, store.ErrNotFound)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := e.Set(ctx, store.PlanSetting(siteID), own); err != nil {
		return err
	}
	if err := p.goBy(own); err != nil {
		return err
	}
	for _, t := range p.all() {
		old := t.spec.Load()
		if old == nil || old.sheet == nil {
			continue
		}
		s, err := t.spell(old.sheet)
		if err != nil {
			return err
		}
		t.spec.Store(s)
	}
	now := *p.calls.Load()
	now.again = m.now() // until it is known who is told by the new plan, ask again
	p.calls.Store(&now)
	d := m.draft(m.now())
	d.site(p)
	return d.keep(ctx)
}

// TellsBy are the sites whose plans name a contact's channel and address.
func (m *Monitor) TellsBy(channel alarm.Channel, address string) []string {
	var ids []string
	for _, p := range m.sites() {
		own := p.plan.Load().Plan
		for priority := alarm.Low; priority <= alarm.Critical; priority++ {
			for _, rung := range own.Own(priority).Rungs {
				for _, c := range rung.Contacts {
					if c.Channel == channel && c.Address == address && !slices.Contains(ids, p.id) {
						ids = append(ids, p.id)
					}
				}
			}
		}
	}
	return ids
}

// Outgoing is a notice that is to be delivered now.
type Outgoing struct {
	SiteID string
	deliver.Outgoing
}

// Outbox are the notices that are due: decided, kept, and not known to be sent or
// given up. One is among them until it is reported.
func (m *Monitor) Outbox() []Outgoing {
	if m.astray.Load() {
		return nil // what is kept may be otherwise; it is sent after the next start
	}
	now := m.now()
	var out []Outgoing
	for _, p := range m.sites() {
		c := p.calls.Load()
		for _, n := range c.record.Notices {
			a := c.alarms.Find(n.Alarm)
			if n.Outcome != alarm.Pending || n.Due.After(now) || a == nil {
				continue
			}
			out = append(out, Outgoing{p.id, deliver.Outgoing{Notice: n,
				Message: alarm.Compose(p.settings(), *p.name.Load(), p.plan.Load().zone, *a, n, now)}})
		}
	}
	return out
}

// Reported keeps what came of an attempt to deliver a notice of a site, and says
// what has become of the notice by it; nothing if it is no longer wanted.
func (m *Monitor) Reported(ctx context.Context, siteID string, r deliver.Result) (alarm.Outcome, error) {
	p := m.place(siteID)
	if p == nil {
		return "", nil // the site is gone, and who was told with it
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	d := m.draft(m.now())
	sd := d.site(p)
	record, notice, ok := sd.record.Report(r.ID, r.At, r.Problem, r.Permanent)
	if !ok {
		return "", nil
	}
	sd.record, sd.notices = record, []alarm.Notice{notice}
	return notice.Outcome, d.keep(ctx)
}

// Told are the notices about an alarm's present call.
func (m *Monitor) Told(siteID string, key alarm.Key) []alarm.Notice {
	p := m.place(siteID)
	if p == nil {
		return nil
	}
	c := p.calls.Load()
	a := c.alarms.Find(key)
	var out []alarm.Notice
	for _, n := range c.record.Notices {
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
