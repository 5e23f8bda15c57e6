package monitor

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"isohaline/internal/store"
	"isohaline/internal/tankfile"
)

// ErrArchived: what somebody wants to do something with is archived.
var ErrArchived = errors.New("archived")

// RenameTank gives a tank another name. It stands in the tank file, of which this
// is a new version.
func (m *Monitor) RenameTank(ctx context.Context, e *store.Editor, tankID, name string) error {
	const newest = 0
	d, err := m.store.Description(ctx, tankID, newest)
	if err != nil {
		return err
	}
	text, err := tankfile.Apply(d.YAML, []tankfile.Edit{{Do: tankfile.Set, Path: "name", Value: name}})
	if err != nil {
		return err
	}
	_, err = m.Redescribe(ctx, e, tankID, Draft{Text: text, Note: "renamed", Base: d.Version})
	return err
}

// RenameSite gives a site another name.
func (m *Monitor) RenameSite(ctx context.Context, e *store.Editor, siteID, name string) error {
	s, err := m.store.Site(ctx, siteID)
	if err != nil {
		return err
	}
	s.Name = name
	if err := e.UpdateSite(ctx, s); err != nil {
		return err
	}
	if p := m.place(siteID); p != nil {
		p.name.Store(&name)
	}
	return nil
}

// ArchiveTank ends the monitoring of a tank: its alarms go, nobody is told of it, and
// what its devices report is kept and not looked at. Its history stays.
func (m *Monitor) ArchiveTank(ctx context.Context, e *store.Editor, tankID string) error {
	t := m.tank(tankID)
	if t == nil || t.spec.Load() == nil {
		return notMonitored(tankID)
	}
	m.roster.Lock()
	defer m.roster.Unlock()
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	switch {
	case t.gone:
		return notMonitored(tankID)
	case t.rerun != nil:
		return ErrBusy
	}
	row, err := m.store.Tank(ctx, tankID)
	if err != nil {
		return err
	}
	row.Name, row.Archived = t.spec.Load().live.Name, m.now()
	if err := e.UpdateTank(ctx, row); err != nil {
		return err
	}
	m.letGo(t)
	return m.parting(ctx, t.place, []*tank{t})
}

// ArchiveSite ends the monitoring of a site and all its tanks.
func (m *Monitor) ArchiveSite(ctx context.Context, e *store.Editor, siteID string) error {
	m.roster.Lock()
	defer m.roster.Unlock()
	p := m.place(siteID)
	if p == nil {
		return fmt.Errorf("site %q: %w", siteID, store.ErrNotFound)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	tanks := p.all()
	for _, t := range tanks {
		if t.rerun != nil {
			return ErrBusy
		}
	}
	row, err := m.store.Site(ctx, siteID)
	if err != nil {
		return err
	}
	row.Archived = m.now()
	if err := e.UpdateSite(ctx, row); err != nil {
		return err
	}
	for _, t := range tanks {
		m.letGo(t)
	}
	m.mu.Lock()
	delete(m.places, siteID)
	m.mu.Unlock()
	return m.parting(ctx, p, tanks)
}

// letGo ends the monitoring of a tank, in memory.
func (m *Monitor) letGo(t *tank) {
	m.mu.Lock()
	defer m.mu.Unlock()
	t.gone = true
	delete(m.tanks, t.id)
	tanks := slices.DeleteFunc(slices.Clone(t.place.all()), func(other *tank) bool { return other == t })
	t.place.tanks.Store(&tanks)
}

// parting saves what is known of tanks that are monitored no more, and lets go of their
// alarms.
func (m *Monitor) parting(ctx context.Context, p *place, tanks []*tank) error {
	d := m.draft(m.now())
	for _, t := range tanks {
		if t.value.Load() != nil {
			d.of(t).save = true
		}
	}
	d.forget(p)
	return d.keep(ctx)
}

// forgetUnmonitored lets go of a site's alarms of tanks that are not monitored: a
// process may have ended between a tank's archiving and that.
func (m *Monitor) forgetUnmonitored(ctx context.Context, p *place) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	d := m.draft(m.now())
	d.forget(p)
	return d.keep(ctx)
}

// RestoreTank brings an archived tank back. What goes on there now is told, as if it
// had just begun.
func (m *Monitor) RestoreTank(ctx context.Context, e *store.Editor, tankID string) error {
	return m.restore(ctx, func() (siteID string, err error) {
		row, err := m.store.Tank(ctx, tankID)
		if err != nil || m.tank(tankID) != nil {
			return "", err
		}
		if m.place(row.SiteID) == nil {
			return "", fmt.Errorf("site %q of the tank is %w: bring the site back first", row.SiteID, ErrArchived)
		}
		row.Archived = time.Time{}
		return row.SiteID, e.UpdateTank(ctx, row)
	})
}

// RestoreSite brings an archived site back, with the tanks that are not archived
// themselves.
func (m *Monitor) RestoreSite(ctx context.Context, e *store.Editor, siteID string) error {
	return m.restore(ctx, func() (string, error) {
		row, err := m.store.Site(ctx, siteID)
		if err != nil || m.place(siteID) != nil {
			return "", err
		}
		row.Archived = time.Time{}
		return siteID, e.UpdateSite(ctx, row)
	})
}

// restore takes up what the store has of a site and is not monitored, after mark has
// it in use there; no site: it was monitored all the time.
func (m *Monitor) restore(ctx context.Context, mark func() (siteID string, err error)) error {
	ctx = context.WithoutCancel(ctx) // what the store has in use must be monitored
	m.roster.Lock()
	siteID, err := mark()
	var taken []*tank
	if err == nil && siteID != "" {
		taken, err = m.takeUpAgain(ctx, siteID)
	}
	m.roster.Unlock()
	for _, t := range taken {
		m.workThroughOwed(ctx, t)
	}
	return err
}

// takeUpAgain takes up what the store has of a site and is not monitored. m.roster is
// held.
func (m *Monitor) takeUpAgain(ctx context.Context, siteID string) (taken []*tank, err error) {
	saved, err := m.keeper.Load(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range saved.Sites {
		if s.ID == siteID && m.place(siteID) == nil {
			if err := m.takeUpSaved(&s); err != nil {
				return nil, err
			}
		}
	}
	// Frames that came since then were not for it.
	m.taking.Lock()
	defer m.taking.Unlock()
	for i := range saved.Tanks {
		if s := &saved.Tanks[i]; s.SiteID == siteID && m.tank(s.ID) == nil {
			t := m.newTank(&s.Tank)
			m.takeUp(t, s)
			t.seen = m.position.Sequence
			m.know(t)
			taken = append(taken, t)
		}
	}
	p := m.place(siteID)
	p.mu.Lock()
	defer p.mu.Unlock()
	// What goes on since before is nothing new to an account or a contact, but the
	// alarms do not know of it.
	d := m.draft(m.now())
	for _, t := range taken {
		d.conform(t, t.value.Load())
	}
	return taken, d.keep(ctx)
}
