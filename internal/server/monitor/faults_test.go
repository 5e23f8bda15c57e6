package monitor

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// starter is the file of the tests' tank.
var starter = string(tankfile.Starter(tankfile.Answers{Name: "Our reef"}))

var errRefused = errors.New("the store does not take it")

// faultyStore refuses commits while it is told to.
type faultyStore struct {
	*store.Store
	// refuses says whether a commit is refused; nil: none is.
	refuses func(*store.Commit) bool
	// unsaid: what is kept is not said, neither then nor when it is asked for.
	unsaid bool
	// tries counts commits, refused ones too.
	tries int
	// loaded is called before Load's answer is given; nil: nothing is.
	loaded func()
}

func (f *faultyStore) Load(ctx context.Context) (store.Saved, error) {
	saved, err := f.Store.Load(ctx)
	if f.loaded != nil {
		f.loaded()
	}
	return saved, err
}

func (f *faultyStore) Commit(ctx context.Context, c store.Commit) error {
	f.tries++
	if f.refuses != nil && f.refuses(&c) {
		return errRefused
	}
	err := f.Store.Commit(ctx, c)
	if f.unsaid {
		return errRefused
	}
	return err
}

func (f *faultyStore) Committed(ctx context.Context, c store.Commit) (bool, error) {
	if f.unsaid {
		return false, errRefused
	}
	return f.Store.Committed(ctx, c)
}

func everything(*store.Commit) bool { return true }

// bench is a monitor with one tank "reef" at a site "here", whose device is "head",
// on a store that can refuse and under a clock that stands.
type bench struct {
	*Monitor
	t     *testing.T
	store *faultyStore
	now   time.Time
	frame uint64
}

func newBench(t *testing.T) *bench {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "x.db"), store.Kill)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	b := &bench{t: t, store: &faultyStore{Store: s}, now: time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)}
	b.start()
	b.must(b.AddTank(t.Context(), NewTank{SiteID: "here", SiteName: "Here", TankID: "reef", File: starter, By: "test"}))
	b.must(s.Edit("test", b.now).CreateDevice(t.Context(), store.Device{ID: "head", SiteID: "here", TankID: "reef", Name: "Head", CredentialHash: "x"}))
	return b
}

// start starts a monitor, as after a kill.
func (b *bench) start() {
	b.t.Helper()
	m, err := Open(b.t.Context(), Options{Store: b.store.Store, Keeper: b.store, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return b.now },
		TankOf: func(wire.DeviceID) string { return "reef" }, Pause: func(by time.Duration) { b.now = b.now.Add(by) }})
	b.must(err)
	b.must(m.TakeUp(b.t.Context()))
	b.Monitor = m
}

func (b *bench) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) edit() *store.Editor { return b.store.Edit("test", b.now) }

// says is a frame in which the device says something, so long ago.
func (b *bench) says(ago time.Duration, channel string, value float64) []wire.Frame {
	b.frame++
	return []wire.Frame{{Sequence: b.frame, Readings: []wire.Reading{{Site: "here", Device: "head", Channel: channel, At: b.now.Add(-ago), Received: b.now, Value: value}}}}
}

func (b *bench) take(frames []wire.Frame) {
	b.t.Helper()
	b.must(b.Take(b.t.Context(), frames))
}

// tick lets time pass second by second, and says what went wrong first.
func (b *bench) tick(d time.Duration) (first error) {
	for end := b.now.Add(d); b.now.Before(end); {
		b.now = b.now.Add(time.Second)
		if err := b.Tick(b.t.Context()); first == nil {
			first = err
		}
	}
	return first
}

// present says whether an alarm of the tank knows that its condition is there.
func (b *bench) present(code account.Code) bool {
	a, there := b.Alarm("here", alarm.Key{Code: code, Tank: "reef"})
	return there && a.Present
}

// TestRefusedAdvice: what the time alone brings, and the store does not take, is tried
// again within seconds, and less and less often where it goes on.
func TestRefusedAdvice(t *testing.T) {
	b := newBench(t)
	b.take(b.says(0, channel.Heartbeat, 1))
	b.must(b.tick(time.Minute))
	// A device that falls silent is found by the time alone.
	b.store.refuses = func(c *store.Commit) bool { return len(c.Sites) > 0 }
	silent := func() bool { return b.present(account.DeviceSilent) }
	for b.tick(time.Second) == nil {
		if b.now.Hour() > 20 {
			t.Fatal("nobody finds that the device is silent")
		}
	}
	refused := b.store.tries
	if b.tick(10*time.Minute) == nil || silent() {
		t.Fatal("what was refused is there")
	}
	// 1, 2, 4, 8, 16, 32 s and then each minute, beside the tries of each minute.
	if tries := b.store.tries - refused; tries < 10 || tries > 30 {
		t.Errorf("%d tries in ten minutes", tries)
	}
	b.store.refuses = nil
	b.must(b.tick(time.Minute))
	if !silent() {
		t.Error("the device is silent and no alarm knows it")
	}
	// One refusal is made good within seconds, long before the next minute.
	b = newBench(t)
	b.take(b.says(0, channel.Heartbeat, 1))
	b.must(b.tick(time.Minute))
	once := true
	b.store.refuses = func(c *store.Commit) bool {
		refuse := once && len(c.Sites) > 0
		once = once && !refuse
		return refuse
	}
	for b.tick(time.Second) == nil {
	}
	b.must(b.tick(2 * adviseAgain))
	if !silent() {
		t.Error("what was refused once has not come within seconds")
	}
}

// TestClockSetBack: after the clock ran ahead and was set back nothing waits for it to
// get there again: an alarm comes after its own delay, the next rung is told after its
// own wait, a tank is saved after its own time.
func TestClockSetBack(t *testing.T) {
	const ahead = 5 * time.Hour
	for _, restart := range []bool{false, true} {
		b := newBench(t)
		contact := func(name string) []alarm.Contact {
			return []alarm.Contact{{Person: name, Channel: alarm.Mail, Address: name + "@example.org"}}
		}
		const wait = 20 * time.Minute
		b.must(b.SetPlan(t.Context(), b.edit(), "here", Plan{Plan: alarm.Plan{Low: alarm.Route{Rungs: []alarm.Rung{{Contacts: contact("ines")}, {Wait: wait, Contacts: contact("olga")}}}}}))
		b.must(b.tick(time.Minute))
		b.now = b.now.Add(ahead)
		b.take(b.says(0, channel.Floor, 1))   // is an alarm at once
		b.take(b.says(0, channel.Latched, 1)) // is one after a minute
		b.take(b.says(0, channel.Heartbeat, 1))
		b.must(b.tick(3 * time.Second))
		if a, _ := b.Alarm("here", alarm.Key{Code: alarm.GuardLatched, Tank: "reef"}); !a.Present || a.Active {
			t.Fatalf("the guard's alarm is %+v", a)
		}
		b.now = b.now.Add(-ahead)
		if restart {
			b.start()
		}
		b.must(b.tick(time.Minute + 2*time.Second))
		if a, _ := b.Alarm("here", alarm.Key{Code: alarm.GuardLatched, Tank: "reef"}); !a.Active {
			t.Errorf("restart %v: a minute later the guard's alarm is %+v", restart, a)
		}
		b.must(b.tick(wait))
		told := map[string]bool{}
		for _, out := range b.Outbox() {
			if out.Notice.Alarm.Code == alarm.FloorWet {
				told[out.Notice.Contact.Person] = true
			}
		}
		if !told["ines"] || !told["olga"] {
			t.Errorf("restart %v: told of the floor are %v", restart, told)
		}
		if tank := b.tank("reef"); tank.unsaved > 0 && b.now.Sub(tank.savedAt) > saveAfter {
			t.Errorf("restart %v: %d readings are not saved since %v, it is %v", restart, tank.unsaved, tank.savedAt, b.now)
		}
	}
}

// TestSavedAfterSetBack: a quiet tank is saved after its own time, though it was saved
// last by a clock that was ahead.
func TestSavedAfterSetBack(t *testing.T) {
	b := newBench(t)
	b.tank("reef").savedAt = b.now.Add(5 * time.Hour)
	b.take(b.says(0, channel.Heartbeat, 1))
	b.must(b.tick(time.Minute))
	if n := b.tank("reef").unsaved; n > 0 {
		t.Errorf("%d readings are not saved", n)
	}
}

// salinity is what the account believes the tank's to be.
func (b *bench) salinity() float64 {
	v, _ := b.Tank("reef")
	return v.Estimate.SalinityPSU
}

// measured is what a person measures again and again, in PSU. A new account believes
// in the 35 of the file, one that has heard of it in less than believedMost.
const measured, believedMost = 30, 34

// furnishPast gives the tank a past, which its account knows.
func (b *bench) furnishPast() {
	b.t.Helper()
	for n := range 8 {
		b.take(b.says(0, channel.Level, 0.2))
		b.must(b.Hear(b.t.Context(), store.HandEntry{By: "test", At: b.now, HandReading: store.HandReading{ID: string(rune('a' + n)), TankID: "reef", At: b.now,
			Quantity: channel.Salinity, Value: measured, Instrument: "conductivity meter"}}))
		b.must(b.tick(30 * time.Minute))
	}
	if s := b.salinity(); s > believedMost {
		b.t.Fatalf("the account believes in %v PSU", s)
	}
}

func (b *bench) knowsItsPast(what string) {
	b.t.Helper()
	if s := b.salinity(); s > believedMost {
		b.t.Errorf("%s: the account believes in %v PSU, %v were measured", what, s, measured)
	}
	if b.tank("reef").owed.Load() {
		b.t.Errorf("%s: its records are still to be worked through", what)
	}
}

// TestRestoredOfAnotherVersion: a tank that is brought back, and was saved by another
// version of the program, works through its records, also where the store refuses
// that at first.
func TestRestoredOfAnotherVersion(t *testing.T) {
	for _, refused := range []bool{false, true} {
		b := newBench(t)
		b.furnishPast()
		b.must(b.ArchiveTank(t.Context(), b.edit(), "reef"))
		b.must(b.store.Commit(t.Context(), store.Commit{Tanks: []store.TankStep{{TankID: "reef", Saved: &store.SavedTank{Data: []byte("{}")}}}}))
		if refused {
			b.store.refuses = everything
		}
		b.must(b.RestoreTank(t.Context(), b.edit(), "reef"))
		if refused {
			b.store.refuses = nil
			b.now = b.now.Add(adviseEvery)
			b.WorkThrough(t.Context())
		}
		b.knowsItsPast(fmt.Sprint("refused ", refused))
	}
}

// TestMendedWhileTheStoreFails: a tank whose file could not be read, and is mended while
// the store refuses what follows, is worked through once the store takes it, also
// after a restart in between; and no half of it is saved.
func TestMendedWhileTheStoreFails(t *testing.T) {
	for _, restart := range []bool{false, true} {
		b := newBench(t)
		b.furnishPast()
		saved, err := b.edit().SaveDescription(t.Context(), "reef", "name: [", "broken", 1)
		b.must(err)
		b.start()
		if len(b.Failures()) != 1 {
			t.Fatal("the file is read")
		}
		b.take(b.says(0, channel.Heartbeat, 1))
		b.store.refuses = func(c *store.Commit) bool {
			return slices.ContainsFunc(c.Tanks, func(s store.TankStep) bool { return !s.Since.IsZero() })
		}
		if _, err = b.Redescribe(t.Context(), b.edit(), "reef", Draft{Text: starter, Base: saved.Version}); err != nil {
			t.Errorf("the new file is kept: %v", err)
		}
		if b.salinity() < believedMost {
			t.Error("what was refused is believed")
		}
		b.take(b.says(0, channel.Level, 0.2))
		b.must(b.tick(saveAfter + time.Minute)) // it is saved in between
		b.WorkThrough(t.Context())
		b.store.refuses = nil
		if restart {
			b.start()
		} else {
			b.now = b.now.Add(adviseEvery)
			b.WorkThrough(t.Context())
		}
		b.knowsItsPast(fmt.Sprint("restart ", restart))
		tries := b.store.tries
		b.now = b.now.Add(time.Hour)
		b.WorkThrough(t.Context())
		if b.store.tries != tries {
			t.Error("it is worked through again")
		}
		b.start()
		b.knowsItsPast("after another restart")
	}
}

// TestArchivedWhileRestoring: a site that is archived while one of its tanks is brought
// back is archived after that, with the tank.
func TestArchivedWhileRestoring(t *testing.T) {
	b := newBench(t)
	b.must(b.ArchiveTank(t.Context(), b.edit(), "reef"))
	e := b.edit()
	archived := make(chan error, 1)
	b.store.loaded = func() {
		done := make(chan struct{})
		go func() {
			archived <- b.ArchiveSite(t.Context(), e, "here")
			close(done)
		}()
		select { // it has to wait; where it does not it ends long before
		case <-done:
		case <-time.After(100 * time.Millisecond):
		}
	}
	b.must(b.RestoreTank(t.Context(), b.edit(), "reef"))
	b.must(<-archived)
	if _, there := b.Tank("reef"); there || b.place("here") != nil {
		t.Error("the site is archived, and it or its tank is still monitored")
	}
}

// TestAddWhileArchiving: sites and tanks that come and go at the same time neither
// panic nor leave a tank without its site.
func TestAddWhileArchiving(t *testing.T) {
	b := newBench(t)
	ctx := t.Context()
	fixed := b.now
	const rounds = 30
	var group errgroup.Group
	group.Go(func() error {
		for n := range rounds {
			_ = b.AddTank(ctx, NewTank{SiteID: "here", TankID: fmt.Sprint("tank-", n), File: starter, By: "test"}) // the site may be archived
		}
		return nil
	})
	group.Go(func() error {
		for range rounds {
			if err := b.ArchiveSite(ctx, b.store.Edit("test", fixed), "here"); err != nil && !errors.Is(err, store.ErrNotFound) {
				return err
			}
		}
		return nil
	})
	for range 2 {
		group.Go(func() error {
			for range rounds {
				if err := b.RestoreSite(ctx, b.store.Edit("test", fixed), "here"); err != nil {
					return err
				}
				err := b.RestoreTank(ctx, b.store.Edit("test", fixed), "reef")
				if err != nil && !errors.Is(err, ErrArchived) {
					return err
				}
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	for _, v := range b.Tanks() {
		if b.place(v.SiteID) == nil {
			t.Errorf("%s is there and its site is not", v.ID)
		}
	}
}

// TestCountedOnce: frames that come again because the store refused what followed are
// counted once, as they are taken in.
func TestCountedOnce(t *testing.T) {
	b := newBench(t)
	frames := b.says(0, channel.Floor, 1) // an alarm: it commits
	stranger := frames[0].Readings[0]
	stranger.Device = "stranger" // is not in the store
	odd := frames[0].Readings[0]
	odd.Channel, odd.Value = channel.Level, -99 // no account takes it
	quiet := frames[0].Readings[0]
	quiet.Channel = channel.Heartbeat
	frames[0].Readings = append(frames[0].Readings, stranger, odd, quiet)
	b.store.refuses = everything
	for range 3 {
		if err := b.Take(t.Context(), frames); !errors.Is(err, errRefused) {
			t.Fatal(err)
		}
	}
	if c := b.Counters(); c != (Counters{}) {
		t.Errorf("nothing was taken in, counted is %+v", c)
	}
	b.store.refuses = nil
	b.take(frames)
	b.take(frames) // and once more, as after a broken connection
	if c := b.Counters(); c.Readings != 3 || c.Unknown != 1 || c.Observations != 4 || c.NotTaken != 1 || c.Findings != 1 {
		t.Errorf("counted is %+v", c)
	}
}

// TestStoppedInDoubt: a service that was told to stop while it did not know whether a
// step was kept keeps nothing more: its next step would be taken for that one.
func TestStoppedInDoubt(t *testing.T) {
	b := newBench(t)
	b.must(b.SetPlan(t.Context(), b.edit(), "here", Plan{Plan: alarm.Plan{Low: alarm.Route{Rungs: []alarm.Rung{{Contacts: []alarm.Contact{{Person: "ines", Channel: alarm.Mail, Address: "ines@example.org"}}}}}}}))
	b.take(b.says(0, channel.Floor, 1))
	if len(b.Outbox()) == 0 {
		t.Fatal("nobody is to be told of the floor")
	}
	b.store.unsaid = true
	b.Stop()
	if err := b.Take(t.Context(), b.says(0, channel.Floor, 0)); !errors.Is(err, errRefused) {
		t.Fatalf("a step whose fate is not known: %v", err)
	}
	if out := b.Outbox(); out != nil {
		t.Errorf("to be sent by a memory that may be behind: %+v", out)
	}
	b.store.unsaid = false
	tries := b.store.tries
	if err := b.Take(t.Context(), b.says(0, channel.Floor, 0)); !errors.Is(err, errAstray) || b.store.tries != tries {
		t.Errorf("the next step: %v, %d tries", err, b.store.tries-tries)
	}
	b.start()
	if b.present(alarm.FloorWet) || len(b.Outbox()) == 0 {
		t.Error("what was kept is not there after a start")
	}
}
