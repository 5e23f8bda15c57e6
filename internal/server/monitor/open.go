package monitor

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/live"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Options are what a monitor stands on.
type Options struct {
	Store *store.Store
	// Keeper keeps what follows from readings; nil: the store does.
	Keeper Keeper
	Log    *slog.Logger
	Now    func() time.Time
	// TankOf is the tank that a device reports of, empty for none.
	TankOf func(wire.DeviceID) string
	// Reports is the tank that a device goes on to report of, empty for none: what
	// its contacts said is forgotten then. nil: TankOf.
	Reports func(wire.DeviceID) string
	// Heard is told when a device last said something that is in the store; nil:
	// nobody is.
	Heard func(wire.DeviceID, time.Time)
	// Source is the log that readings come from; nil: they come in no frames that
	// could wait.
	Source Source
	// Inherited is how far an earlier version took the log in, for the first start.
	Inherited uint64
	// Pause waits before the store is asked again; nil: time.Sleep.
	Pause func(time.Duration)
	// Read works the tanks' descriptions out at the start; nil: live.Read.
	Read func(name, file string) (*live.Sheet, error)
}

// Source is the log that readings come from.
type Source interface {
	// ID tells one log from another, Head is its newest frame.
	ID() string
	Head(context.Context) (uint64, error)
}

// Open knows every site and tank that the store has. TakeUp makes them live.
func Open(ctx context.Context, o Options) (*Monitor, error) {
	if o.Keeper == nil {
		o.Keeper = o.Store
	}
	if o.Reports == nil {
		o.Reports = o.TankOf
	}
	if o.Pause == nil {
		o.Pause = time.Sleep
	}
	if o.Read == nil {
		o.Read = live.Read
	}
	m := &Monitor{keeper: o.Keeper, store: o.Store, log: o.Log, now: o.Now, tankOf: o.TankOf, reports: o.Reports, heard: o.Heard, source: o.Source, pause: o.Pause, read: o.Read,
		stopped: make(chan struct{}), tanks: map[string]*tank{}, places: map[string]*place{}}
	saved, err := o.Keeper.Load(ctx)
	if err != nil {
		return nil, err
	}
	if err := m.findPosition(ctx, &saved, o.Inherited); err != nil {
		return nil, err
	}
	for i := range saved.Sites {
		if err := m.takeUpSaved(&saved.Sites[i]); err != nil {
			return nil, err
		}
	}
	for i := range saved.Tanks {
		t := m.newTank(&saved.Tanks[i].Tank)
		m.know(t)
		m.waiting = append(m.waiting, waiting{t, saved.Tanks[i]})
	}
	m.Expect(len(m.waiting))
	for _, p := range m.sites() {
		if err := m.forgetUnmonitored(ctx, p); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// findPosition finds how far the log was taken in. A log that has fewer frames than
// that has lost its last ones in a power cut, and gives their numbers to new ones:
// so it counts as another log, under a name of its own, from then on. That is kept
// at once, since the log grows past the old position.
func (m *Monitor) findPosition(ctx context.Context, saved *store.Saved, inherited uint64) error {
	if m.source == nil {
		return nil
	}
	head, err := m.source.Head(ctx)
	if err != nil {
		return err
	}
	nameOf := func(era int) string { return fmt.Sprintf("%s.%d", m.source.ID(), era) }
	begin := func(p store.LogPosition) error {
		m.position = p
		m.isStored(p.Sequence, p.Floor)
		return m.commit(ctx, &store.Commit{Log: &p})
	}
	era := 0
	for ; ; era++ {
		i := slices.IndexFunc(saved.Logs, func(p store.LogPosition) bool { return p.Log == nameOf(era) })
		if i < 0 {
			break
		}
		m.position = saved.Logs[i]
		m.isStored(m.position.Sequence, m.position.Floor)
	}
	taken := m.position.Sequence
	for _, t := range saved.Tanks { // a tank may have been saved before its readings were
		if t.Saved != nil && t.Saved.Log == m.position.Log {
			taken = max(taken, t.Saved.Sequence)
		}
	}
	switch {
	case era == 0:
		err = begin(store.LogPosition{Log: nameOf(0), Sequence: min(inherited, head), Floor: min(inherited, head)})
	case taken > head:
		m.log.Error("the log of readings has lost its last frames; what it still has is taken in again", "taken", taken, "newest", head)
		if m.position.Sequence >= head {
			m.reached = head // what is left was taken in: nobody waits for it to be told the time
		}
		return begin(store.LogPosition{Log: nameOf(era)})
	}
	m.reached = m.position.Floor
	return err
}

// waiting is a tank that has not been taken up yet.
type waiting struct {
	tank  *tank
	saved store.TankSaved
}

// takeUpSaved begins to monitor a site as the store has it.
func (m *Monitor) takeUpSaved(s *store.SiteSaved) error {
	var plan Plan
	if s.Plan != nil {
		if err := json.Unmarshal(s.Plan, &plan); err != nil {
			return fmt.Errorf("the plan of site %s: %w", s.ID, err)
		}
	}
	_, err := m.takeUpSite(s.Site, s.Alarms, plan)
	return err
}

// takeUpSite begins to monitor a site.
func (m *Monitor) takeUpSite(s store.Site, step store.AlarmStep, own Plan) (*place, error) {
	p := &place{id: s.ID}
	p.name.Store(&s.Name)
	p.calls.Store(&calls{step: step.Position, alarms: step.Site, record: step.Record, again: m.now()})
	if err := p.goBy(own); err != nil {
		return nil, fmt.Errorf("site %s: %w", s.ID, err)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.places[s.ID] = p
	return p, nil
}

// know has a tank among those of its site, which is monitored.
func (m *Monitor) know(t *tank) {
	m.mu.Lock()
	defer m.mu.Unlock()
	tanks := append(slices.Clip(t.place.all()), t)
	t.place.tanks.Store(&tanks)
	m.tanks[t.id] = t
}

// newTank is a tank of a site that is monitored.
func (m *Monitor) newTank(saved *store.Tank) *tank {
	return &tank{id: saved.ID, siteID: saved.SiteID, place: m.place(saved.SiteID)}
}

// TakeUp makes the tanks live that the store has, on all cores. A tank whose
// description cannot be read is no reason to stop: its contacts are heard. A tank
// that another version of the program saved works through its records again.
func (m *Monitor) TakeUp(ctx context.Context) error {
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	for _, w := range m.waiting {
		group.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			m.takeUp(w.tank, &w.saved)
			m.Arrived()
			e := Event{TankID: w.tank.id, SiteID: w.tank.siteID}
			m.Feed.Publish(e.Topic(), e)
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	waiting := m.waiting
	m.waiting = nil
	for _, w := range waiting {
		for range workThroughTries {
			if m.workThroughOwed(ctx, w.tank) || ctx.Err() != nil {
				break
			}
			m.pause(commitAgain)
		}
	}
	return ctx.Err()
}

// workThroughTries is how often a tank's records are tried to be worked through before
// the log is read; where the store fails for longer WorkThrough goes on.
const workThroughTries = 30

// takeUp makes a tank live.
func (m *Monitor) takeUp(t *tank, saved *store.TankSaved) {
	s := m.specOf(t, saved.Name, saved.Description)
	if s.problem != nil {
		m.log.Error("a tank is without an account", "tank", t.id, "error", s.problem)
	}
	value := s.live.Begin(m.now())
	owed := true
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	t.savedAt = m.now()
	if saved.Saved != nil {
		known, err := live.Decode(saved.Saved.Data)
		switch {
		case err != nil:
			m.log.Warn("a tank works through its records again", "tank", t.id, "error", err)
		case known.Account.At.IsZero() && s.problem == nil: // it had none when it was saved
			value = s.live.Adopt(known, m.now())
		default:
			value, owed = known, false
		}
		if err == nil && saved.Saved.Log == m.position.Log {
			t.seen, t.saved = saved.Saved.Sequence, saved.Saved.Sequence
		}
	}
	t.owed.Store(owed && s.problem == nil)
	t.value.Store(value)
	t.spec.Store(s)
}

// specOf works a tank's description out.
func (m *Monitor) specOf(t *tank, name, text string) *spec {
	bare := &live.Tank{ID: t.id, SiteID: t.siteID, Name: name, Zone: t.place.plan.Load().zone}
	sheet, err := m.read(t.id, text)
	if err != nil {
		return &spec{live: bare, problem: fmt.Errorf("its description: %w", err), since: m.now()}
	}
	s, err := t.spell(sheet)
	if err != nil {
		return &spec{live: bare, problem: err, since: m.now()}
	}
	return s
}

// spell is what a tank is by a sheet.
func (t *tank) spell(sheet *live.Sheet) (*spec, error) {
	sheet = sheet.In(t.place.plan.Load().zone)
	l, err := sheet.Live(t.id, t.siteID)
	if err != nil {
		return nil, err
	}
	return &spec{live: l, sheet: sheet}, nil
}

// NewTank is a tank to be monitored.
type NewTank struct {
	SiteID, SiteName string
	TankID           string
	File             string
	By               string
}

// AddTank begins to monitor a tank, and its site if that is new.
func (m *Monitor) AddTank(ctx context.Context, n NewTank) error {
	sheet, err := live.Read(n.TankID, n.File)
	if err != nil {
		return err
	}
	m.roster.Lock()
	defer m.roster.Unlock()
	e := m.store.Edit(n.By, m.now())
	p, err := m.addSite(ctx, e, store.Site{ID: n.SiteID, Name: n.SiteName})
	if err != nil {
		return err
	}
	saved := store.Tank{ID: n.TankID, SiteID: n.SiteID, Name: sheet.Tank.Name}
	if err := e.CreateTank(ctx, saved); err != nil {
		return err
	}
	const noVersion = 0
	if _, err := e.SaveDescription(ctx, n.TankID, n.File, "as first saved", noVersion); err != nil {
		return err
	}
	t := &tank{id: n.TankID, siteID: n.SiteID, place: p}
	s, err := t.spell(sheet)
	if err != nil {
		return err
	}
	t.value.Store(s.live.Begin(m.now()))
	t.spec.Store(s)
	m.know(t)
	return nil
}

// AddSite begins to monitor a site that may have no tank yet; one that is there
// already stays as it is.
func (m *Monitor) AddSite(ctx context.Context, e *store.Editor, s store.Site) error {
	m.roster.Lock()
	defer m.roster.Unlock()
	_, err := m.addSite(ctx, e, s)
	return err
}

func (m *Monitor) addSite(ctx context.Context, e *store.Editor, s store.Site) (*place, error) {
	if p := m.place(s.ID); p != nil {
		return p, nil
	}
	s.Name = cmp.Or(s.Name, s.ID)
	if err := e.CreateSite(ctx, s); err != nil {
		return nil, err
	}
	return m.takeUpSite(s, store.AlarmStep{}, Plan{})
}

// Draft is a new description of a tank: its text, why, and the version that it
// began from.
type Draft struct {
	Text, Note string
	Base       int64
}

// Redescribe saves a new version of a tank's description and goes on by it. What
// the account has learned of the tank stays; a tank that was without an account
// works through its records.
func (m *Monitor) Redescribe(ctx context.Context, e *store.Editor, tankID string, d Draft) (store.Description, error) {
	sheet, err := live.Read(tankID, d.Text)
	if err != nil {
		return store.Description{}, err
	}
	t := m.tank(tankID)
	if t == nil || t.spec.Load() == nil {
		return store.Description{}, notMonitored(tankID)
	}
	saved, err := m.redescribe(ctx, e, t, sheet, d)
	if err == nil {
		m.workThroughOwed(context.WithoutCancel(ctx), t)
	}
	return saved, err
}

func (m *Monitor) redescribe(ctx context.Context, e *store.Editor, t *tank, sheet *live.Sheet, d Draft) (store.Description, error) {
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	s, err := t.spell(sheet)
	if err != nil {
		return store.Description{}, err
	}
	saved, err := e.SaveDescription(ctx, t.id, d.Text, d.Note, d.Base)
	if err != nil {
		return saved, err
	}
	if t.spec.Load().problem != nil {
		t.value.Store(s.live.Adopt(t.value.Load(), m.now()))
		t.owed.Store(true)
	}
	t.spec.Store(s)
	return saved, nil
}
