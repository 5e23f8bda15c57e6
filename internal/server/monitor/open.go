package monitor

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Options are what a watch stands on.
type Options struct {
	Store *store.Store
	Log   *slog.Logger
	Now   func() time.Time
	// TankOf is the tank that a device reports of, empty for none.
	TankOf func(wire.DeviceID) string
	// Heard is told when a device last said something that is in the store; nil:
	// nobody is.
	Heard func(wire.DeviceID, time.Time)
}

// Open takes up every tank where the store has it.
func Open(ctx context.Context, o Options) (*Monitor, error) {
	m := &Monitor{store: o.Store, log: o.Log, now: o.Now, tankOf: o.TankOf, heard: o.Heard, tanks: map[string]*tank{}, places: map[string]*place{}, channels: map[channelKey]int64{}}
	const everySite = ""
	sites, err := o.Store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range sites {
		if s.Archived.IsZero() {
			if err := m.takeUpSite(ctx, s); err != nil {
				return nil, err
			}
		}
	}
	tanks, err := o.Store.Tanks(ctx, everySite)
	if err != nil {
		return nil, err
	}
	for _, t := range tanks {
		if !t.Archived.IsZero() || m.places[t.SiteID] == nil {
			continue
		}
		if err := m.takeUp(ctx, t); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// takeUpSite begins to watch over a site that the store has.
func (m *Monitor) takeUpSite(ctx context.Context, s store.Site) error {
	step, err := m.store.LoadAlarms(ctx, s.ID)
	if err != nil {
		return err
	}
	p := &place{id: s.ID, name: s.Name, alarms: step.Site, record: step.Record, decideAt: m.now()}
	m.places[s.ID] = p
	return m.recallPlan(ctx, p)
}

// takeUp begins to watch a tank that the store has.
func (m *Monitor) takeUp(ctx context.Context, t store.Tank) error {
	const newest = 0
	d, err := m.store.Description(ctx, t.ID, newest)
	if err != nil {
		return err
	}
	sheet, err := Read(ctx, t.ID, d.YAML)
	if err != nil {
		return fmt.Errorf("tank %s: its saved description: %w", t.ID, err)
	}
	saved, err := m.recallAccount(ctx, t.ID)
	if err != nil {
		return err
	}
	lasts, err := m.recallLasts(ctx, t.ID)
	if err != nil {
		return err
	}
	fresh := &tank{id: t.ID, siteID: t.SiteID, lasts: lasts}
	p := m.places[t.SiteID]
	unread, err := fresh.begin(sheet.in(p.zone), saved, m.now())
	if err != nil {
		return err
	}
	if unread != nil {
		m.log.Error("an account begins afresh", "error", unread)
	}
	m.tanks[t.ID] = fresh
	p.tanks = append(p.tanks, t.ID)
	return nil
}

// NewTank is a tank to be taken under watch.
type NewTank struct {
	SiteID, SiteName string
	TankID           string
	File             string
	By               string
}

// AddTank takes a tank under watch, and its site if that is new.
func (m *Monitor) AddTank(ctx context.Context, n NewTank) error {
	sheet, err := Read(ctx, n.TankID, n.File)
	if err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	e := m.store.Edit(n.By, m.now())
	if m.places[n.SiteID] == nil {
		s := store.Site{ID: n.SiteID, Name: n.SiteName}
		if s.Name == "" {
			s.Name = n.SiteID
		}
		if err := e.CreateSite(ctx, s); err != nil {
			return err
		}
		if err := m.takeUpSite(ctx, s); err != nil {
			return err
		}
	}
	t := store.Tank{ID: n.TankID, SiteID: n.SiteID, Name: sheet.Tank.Name}
	if err := e.CreateTank(ctx, t); err != nil {
		return err
	}
	const noVersion = 0
	if _, err := e.SaveDescription(ctx, n.TankID, n.File, "as taken under watch", noVersion); err != nil {
		return err
	}
	return m.takeUp(ctx, t)
}

// Draft is a new description of a tank: its text, why, and the version that it
// began from.
type Draft struct {
	Text, Note string
	Base       int64
}

// Redescribe saves a new version of a tank's description and goes on by it. What
// the account has learned of the tank stays.
func (m *Monitor) Redescribe(ctx context.Context, e *store.Editor, tankID string, d Draft) (store.Description, error) {
	sheet, err := Read(ctx, tankID, d.Text)
	if err != nil {
		return store.Description{}, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	t := m.tanks[tankID]
	if t == nil {
		return store.Description{}, notWatched(tankID)
	}
	sheet = sheet.in(m.places[t.siteID].zone)
	a, err := sheet.account(quietAtMost)
	if err != nil {
		return store.Description{}, err
	}
	saved, err := e.SaveDescription(ctx, tankID, d.Text, d.Note, d.Base)
	if err != nil {
		return saved, err
	}
	t.sheet, t.account = sheet, a
	return saved, nil
}
