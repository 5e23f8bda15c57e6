package monitor

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/live"
	"isohaline/internal/server/feed"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Keeper keeps what follows from the steps of live tanks. The store does.
type Keeper interface {
	// Load reads everything that tanks are taken up from.
	Load(context.Context) (store.Saved, error)
	// Commit keeps a step whole or not at all; Committed says whether it is kept,
	// where Commit's error may have come after that.
	Commit(context.Context, store.Commit) error
	Committed(context.Context, store.Commit) (bool, error)
	// EnsureChannel is a device's channel, made if it is new.
	EnsureChannel(ctx context.Context, device, name string) (store.Channel, error)
}

// Monitor keeps an eye on every tank. It may be used from several goroutines.
type Monitor struct {
	// Feed passes on what happens: what is told after the store has it, a reading
	// when it is taken in.
	Feed feed.Feed[Topic, Event]

	keeper  Keeper
	store   *store.Store // for what is asked and edited
	log     *slog.Logger
	now     func() time.Time
	tankOf  func(wire.DeviceID) string
	reports func(wire.DeviceID) string
	heard   func(wire.DeviceID, time.Time)
	source  Source
	pause   func(time.Duration)
	read    func(name, file string) (*live.Sheet, error)
	stop    sync.Once
	stopped chan struct{}

	// mu guards which sites and tanks there are.
	mu     sync.RWMutex
	tanks  map[string]*tank
	places map[string]*place
	// waiting are the tanks that TakeUp has still to take up.
	waiting []waiting
	// progress is how far the start has come.
	progress struct{ done, total atomic.Int64 }
	// roster lets one site or tank come or go at a time. It is taken before the locks
	// below and those of sites.
	roster sync.Mutex

	// taking orders what comes from the log; it guards what is below.
	taking sync.Mutex
	// position is how far the log is in the store; which log it is never changes.
	// reached is the last frame that has come since the start, taken until when those
	// readings had been received. Up to position frames come again, to tanks that
	// were saved before; waitingRows is of what lies beyond it.
	position    store.LogPosition
	reached     uint64
	taken       time.Time
	waitingRows waitingRows
	// stored is the sequence of position, for those who must not wait.
	stored atomic.Uint64
	// astray: see errAstray.
	astray atomic.Bool
	// keptFloor is the floor of position as the store has it.
	keptFloor uint64
	// channels are the store's numbers of devices' channels.
	channels sync.Map // of channelKey to int64

	// ticking lets one Tick pass at a time; advised is when the accounts were last
	// told the time.
	ticking sync.Mutex
	advised time.Time

	commits commits

	counting sync.Mutex
	count    Counters
}

// Counters is how much has gone through; see Counters of a Monitor.
type Counters struct {
	Readings, Observations, NotTaken, Findings, Transitions int64
	// Imported are readings that came as records and were new, Repeated those
	// that the tank had, Unreadable what could not be read.
	Imported, Repeated, Unreadable int64
	// Unknown are readings of devices that the store does not know, which are not
	// kept.
	Unknown int64
}

// tank is one tank that is monitored.
type tank struct {
	id, siteID string
	place      *place
	// spec is what it is, value what is known of it; both are replaced, never
	// changed. spec is nil until the tank has been taken up.
	spec  atomic.Pointer[spec]
	value atomic.Pointer[live.Value]

	// owed: the account has still to work through the tank's records; see encode.
	owed atomic.Bool

	// What is below is guarded by the place's lock.

	// again is when that is tried again.
	again backoff

	// seen is the last frame of the log that value has taken in, saved the last
	// that the saved value has; savedAt is when it was saved, unsaved how many
	// readings came since then. Only Take changes seen.
	seen, saved uint64
	savedAt     time.Time
	unsaved     int
	// gone: it is monitored no more.
	gone bool
	// beliefs are those that time brought and that are not in the store yet.
	beliefs []live.Belief
	// rerun is what has come since the tank's records are being worked through again;
	// nil: they are not.
	rerun *rerunInput
}

// spec is what a tank is.
type spec struct {
	live *live.Tank
	// sheet is nil where the description cannot be read, as problem says.
	sheet   *live.Sheet
	problem error
	since   time.Time // of the problem
}

// place is a site with its alarms.
type place struct {
	id    string
	name  atomic.Pointer[string]
	plan  atomic.Pointer[plan]
	calls atomic.Pointer[calls]
	// tanks are those that are monitored; the list is replaced, never changed.
	tanks atomic.Pointer[[]*tank]

	// mu orders the steps of the site and its tanks; it guards what is below.
	mu sync.Mutex
	// ticked is when the site was last told the time, by a clock that can be set back.
	ticked time.Time
	// refused is when it is told again where the store did not take what followed.
	refused backoff
}

// all are the tanks of the site that are monitored.
func (p *place) all() []*tank {
	if list := p.tanks.Load(); list != nil {
		return *list
	}
	return nil
}

// plan is who is to be told, and in which time zone.
type plan struct {
	Plan
	zone *time.Location
}

// calls are a site's alarms and who was told of them.
type calls struct {
	// step counts the steps that are kept.
	step   int64
	alarms alarm.Site
	record alarm.Record
	// again is when who is to be told has to be asked next; zero: not until
	// something happens.
	again time.Time
}

// settings are what a site's alarms are judged by.
func (p *place) settings() *alarm.Settings {
	return &alarm.Settings{Kinds: kinds, Devices: len(p.all())}
}

// kinds is the catalogue of alarms, made once.
var kinds = alarm.Kinds()

// Hear takes in what a person saw at a tank and entered: it is kept with all that
// follows from it, or not at all.
func (m *Monitor) Hear(ctx context.Context, entry store.HandEntry) error {
	t := m.tank(entry.TankID)
	if t == nil || t.spec.Load() == nil {
		return notMonitored(entry.TankID)
	}
	now := m.now()
	known := m.known(ctx, now)
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	if t.gone {
		return notMonitored(entry.TankID)
	}
	d := m.draft(now)
	d.commit.Hand = &entry
	o, told := FromHand(&entry.HandReading)
	if told {
		if err := d.hear(t, o, known); err != nil {
			return err
		}
	}
	if err := d.keep(ctx); err != nil {
		return err
	}
	if told && t.rerun != nil {
		t.rerun.entered = append(t.rerun.entered, entry.HandReading)
	}
	return nil
}

// adviseEvery is how often an account is told the time, so that it notices what
// did not come.
const adviseEvery = time.Minute

// adviseAgain is how soon a site is told the time again whose step the store did not
// take; each further time it is twice as long, up to adviseEvery.
const adviseAgain = time.Second

// backoff is when something that failed is tried again. The zero backoff has not
// failed.
type backoff struct {
	at   time.Time
	wait time.Duration
}

// after notes what came of a try. Each failure waits twice as long as the one before.
func (b *backoff) after(err error, now time.Time) {
	if err == nil {
		*b = backoff{}
		return
	}
	b.wait = min(max(2*b.wait, adviseAgain), adviseEvery)
	b.at = now.Add(b.wait)
}

// due says whether the wait is over; where the clock was set back it is no longer
// than itself.
func (b *backoff) due(now time.Time) bool { return b.wait > 0 && passed(b.at, b.wait, now) }

// passed says whether a time has come that lay at most a wait ahead. One that lies
// further ahead was fixed before the clock was set back.
func passed(at time.Time, wait time.Duration, now time.Time) bool {
	return !at.After(now) || at.Sub(now) > wait
}

// Tick tells accounts and alarms what time it is, and saves tanks that are due. It
// is cheap where nothing is due, so it may come often. Where the
// store refuses a part the rest goes on.
func (m *Monitor) Tick(ctx context.Context) error {
	m.ticking.Lock()
	defer m.ticking.Unlock()
	now := m.now()
	var problems []error
	note := func(err error) {
		if err != nil {
			problems = append(problems, err)
		}
	}
	since := now.Sub(m.advised)
	advise := since >= adviseEvery || since < 0
	if advise {
		m.advised = now
	}
	const all = false
	note(m.commitWaiting(ctx, now, all))
	known := m.known(ctx, now)
	for _, p := range m.sites() {
		note(m.tickSite(ctx, p, advise, known, now))
	}
	note(m.save(ctx, now, all, advise))
	return errors.Join(problems...)
}

// known is up to when everything that tanks said has been taken in: now, unless the
// log holds more, or gives again what tanks do not know yet.
func (m *Monitor) known(ctx context.Context, now time.Time) time.Time {
	if m.source == nil {
		return now
	}
	head, err := m.source.Head(ctx)
	m.taking.Lock()
	defer m.taking.Unlock()
	if err == nil && head <= m.reached || m.taken.After(now) { // the clock was set back
		return now
	}
	return m.taken // zero where nothing was: then nobody is told the time
}

// tickSite tells a site's tanks and alarms the time.
func (m *Monitor) tickSite(ctx context.Context, p *place, advise bool, known, now time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	d := m.draft(now)
	if advise = advise || p.refused.due(now); advise {
		d.forget(p)
		for _, t := range p.all() {
			d.advise(t, known)
		}
	}
	// Where the clock was set back, perhaps before the start, the alarms and who is told
	// of them count from now, and no time that was worked out before holds.
	back := p.ticked.IsZero() || now.Before(p.ticked)
	if due := alarm.Deadline(p.settings(), p.calls.Load().alarms); back || !due.IsZero() && !due.After(now) {
		d.tell(p, alarm.Event{})
	}
	if again := p.calls.Load().again; !again.IsZero() && !again.After(now) {
		d.site(p) // who is to be told is decided for every site of a draft
	}
	err := d.keep(ctx)
	if err == nil {
		p.ticked = now
	}
	if advise {
		p.refused.after(err, now)
	}
	return err
}

// Ask lets a person ask something of an alarm. The reason says what came of it,
// a refusal included.
func (m *Monitor) Ask(ctx context.Context, siteID string, e alarm.Event) (alarm.Reason, error) {
	p := m.place(siteID)
	if p == nil {
		return alarm.RefusedNoAlarm, nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	d := m.draft(m.now())
	var reason alarm.Reason
	for _, t := range d.tell(p, e) {
		if t.Key == e.Key && t.By == e.By {
			reason = t.Reason
		}
	}
	return reason, d.keep(ctx)
}

// tank is a monitored tank, nil for none.
func (m *Monitor) tank(id string) *tank {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return m.tanks[id]
}

// place is a monitored site, nil for none.
func (m *Monitor) place(id string) *place {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return m.places[id]
}

// sites are all monitored sites, by id.
func (m *Monitor) sites() []*place {
	m.mu.RLock()
	defer m.mu.RUnlock()
	all := make([]*place, 0, len(m.places))
	for _, p := range m.places {
		all = append(all, p)
	}
	slices.SortFunc(all, func(a, b *place) int { return cmp.Compare(a.id, b.id) })
	return all
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
	n.Unknown += m.Unknown
}

// Counters is how much has gone through since the start.
func (m *Monitor) Counters() Counters {
	m.counting.Lock()
	defer m.counting.Unlock()
	return m.count
}

func (m *Monitor) counted(n *Counters) {
	m.counting.Lock()
	defer m.counting.Unlock()
	m.count.add(n)
}

func notMonitored(tankID string) error { return fmt.Errorf("tank %q: %w", tankID, store.ErrNotFound) }
