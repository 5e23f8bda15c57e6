package alarm_test

import (
	"fmt"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
)

const tick = time.Nanosecond

// TestPriority against the table in docs/alarms.md: common practice, no source.
// Every bound is tried on both sides.
func TestPriority(t *testing.T) {
	const (
		none, low, medium, high, critical = alarm.NoPriority, alarm.Low, alarm.Medium, alarm.High, alarm.Critical
		hour                              = time.Hour
	)
	for _, row := range []struct {
		left               time.Duration
		c0, c1, c2, c3, c4 alarm.Priority
	}{
		{left: 1 << 62, c0: none, c1: low, c2: low, c3: low, c4: medium},
		{left: 72*hour + tick, c0: none, c1: low, c2: low, c3: low, c4: medium},
		{left: 72 * hour, c0: none, c1: low, c2: low, c3: medium, c4: high},
		{left: 12*hour + tick, c0: none, c1: low, c2: low, c3: medium, c4: high},
		{left: 12 * hour, c0: none, c1: low, c2: medium, c3: high, c4: critical},
		{left: hour + tick, c0: none, c1: low, c2: medium, c3: high, c4: critical},
		{left: hour, c0: none, c1: low, c2: medium, c3: critical, c4: critical},
		{left: -hour, c0: none, c1: low, c2: medium, c3: critical, c4: critical},
	} {
		for class, want := range []alarm.Priority{row.c0, row.c1, row.c2, row.c3, row.c4} {
			if got := alarm.PriorityOf(class, row.left); got != want {
				t.Errorf("class %d, %v left: %v, want %v", class, row.left, got, want)
			}
		}
	}
	if got := alarm.PriorityOf(-3, 0); got != none {
		t.Errorf("class -3: %v", got)
	}
	if got := alarm.PriorityOf(99, 0); got != critical {
		t.Errorf("class 99: %v", got)
	}
}

// TestPriorityNeverFallsWithHarm: worse or sooner is never less urgent.
func TestPriorityNeverFallsWithHarm(t *testing.T) {
	for class := range 5 {
		for left := -time.Hour; left < 100*time.Hour; left += 30 * time.Minute {
			p := alarm.PriorityOf(class, left)
			if sooner := alarm.PriorityOf(class, left-30*time.Minute); sooner < p {
				t.Errorf("class %d: %v at %v, %v sooner", class, p, left, sooner)
			}
			if worse := alarm.PriorityOf(class+1, left); worse < p {
				t.Errorf("class %d is %v at %v, the next class %v", class, p, left, worse)
			}
		}
	}
}

// delayed has a kind with delays, and a cause.
var delayed = alarm.Settings{Kinds: []alarm.Kind{
	{Code: cause, Title: "Cause", OffDelay: time.Hour},
	{Code: plain, Title: "Plain", OnDelay: 10 * time.Minute, OffDelay: 20 * time.Minute, SilencedBy: []account.Code{cause}},
}}

var lobby = alarm.Key{Code: plain, Tank: "lobby"}

// stepper steps one site and fails on what it did not expect.
type stepper struct {
	t        *testing.T
	settings *alarm.Settings
	site     alarm.Site
}

func (s *stepper) step(e alarm.Event, at time.Time) []alarm.Transition {
	var said []alarm.Transition
	s.site, said = alarm.Step(s.settings, s.site, e, at)
	return said
}

func (s *stepper) want(state alarm.State, what string) {
	s.t.Helper()
	if got := s.site.Find(lobby).State(); got != state {
		s.t.Errorf("%s: %v, want %v", what, got, state)
	}
}

// raise is a condition that is low while it is far.
var raise = alarm.Event{Do: alarm.Raise, Key: lobby, Class: 2, HarmIn: 1000 * time.Hour}

// TestDelaysAtTheEdge: one nanosecond before each delay nothing, at it the
// change, and at it also when stepped late.
func TestDelaysAtTheEdge(t *testing.T) {
	s := &stepper{t: t, settings: &delayed}
	s.step(raise, t0)
	on := t0.Add(10 * time.Minute)
	if got := alarm.Deadline(&delayed, s.site); !got.Equal(on) {
		t.Errorf("the deadline is %v, want %v", got, on)
	}
	s.step(alarm.Event{}, on.Add(-tick))
	s.want(alarm.Normal, "before the on-delay")
	s.step(alarm.Event{}, on)
	s.want(alarm.Unacknowledged, "at the on-delay")

	s.step(alarm.Event{Do: alarm.Clear, Key: lobby}, on.Add(time.Minute))
	off := on.Add(21 * time.Minute)
	s.step(alarm.Event{}, off.Add(-tick))
	s.want(alarm.Unacknowledged, "before the off-delay")
	said := s.step(alarm.Event{}, off.Add(5*time.Hour))
	s.want(alarm.ReturnedUnacknowledged, "long after the off-delay")
	if len(said) != 1 || !said[0].At.Equal(off) {
		t.Errorf("stepped late it says %v, want one change at %v", said, off)
	}
	if got := alarm.Deadline(&delayed, s.site); !got.IsZero() {
		t.Errorf("nothing runs, yet the deadline is %v", got)
	}
}

// TestClockJumps: forwards, everything due happens at its own time; backwards, no
// delay and no shelving lasts longer than itself from the new now.
func TestClockJumps(t *testing.T) {
	s := &stepper{t: t, settings: &delayed}
	s.step(raise, t0)
	s.step(alarm.Event{}, t0.Add(9*time.Minute))

	back := t0.Add(-1000 * time.Hour)
	s.step(alarm.Event{}, back)
	s.step(alarm.Event{}, back.Add(10*time.Minute-tick))
	s.want(alarm.Normal, "after a jump back, before the on-delay")
	s.step(alarm.Event{}, back.Add(10*time.Minute))
	s.want(alarm.Unacknowledged, "after a jump back, at the on-delay")

	s.step(alarm.Event{Do: alarm.Shelve, Key: lobby, By: "Ines", For: 200 * time.Hour}, t0)
	longest := alarm.ShelveMax(alarm.Low)
	s.step(alarm.Event{}, back)
	s.want(alarm.Shelved, "shelved, and the clock set back")
	s.step(alarm.Event{}, back.Add(longest-tick))
	s.want(alarm.Shelved, "just before the shelving's end")
	s.step(alarm.Event{}, back.Add(longest))
	s.want(alarm.Unacknowledged, "at the longest shelving after the clock was set back")
}

// TestLateAfterClockJump: after the clock was set back, too, what is due while
// nobody steps happens at its own time.
func TestLateAfterClockJump(t *testing.T) {
	s := &stepper{t: t, settings: &diagram}
	s.step(raise, t0)
	back := t0.Add(-100 * time.Hour)
	e := raise
	e.Class, e.HarmIn = 3, 80*time.Hour
	s.step(e, back)
	said := s.step(alarm.Event{}, back.Add(79*time.Hour))
	want := []time.Duration{8 * time.Hour, 68 * time.Hour, 79 * time.Hour}
	if len(said) != len(want) {
		t.Fatalf("%d changes, want %d: %v", len(said), len(want), said)
	}
	for i, w := range want {
		if got := said[i].At.Sub(back); got != w {
			t.Errorf("change %d after %v, want %v", i, got, w)
		}
	}
}

// TestGather: the site is silent when every one of several devices is, at the
// worst class and the soonest harm of them; one that is out of service does not
// count as silent.
func TestGather(t *testing.T) {
	silent := func(tank string, class int, in time.Duration) alarm.Event {
		return alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: account.DeviceSilent, Tank: tank, Device: "box"}, Class: class, HarmIn: in}
	}
	for _, row := range []struct {
		name    string
		devices int
		silent  []alarm.Event
		out     string
		present bool
		class   int
		harm    time.Duration
	}{
		{name: "all of two", devices: 2, silent: []alarm.Event{silent("a", 3, 90*time.Hour), silent("b", 2, 50*time.Hour)}, present: true, class: 3, harm: 50 * time.Hour},
		{name: "soonest first", devices: 2, silent: []alarm.Event{silent("a", 2, 50*time.Hour), silent("b", 3, 90*time.Hour)}, present: true, class: 3, harm: 50 * time.Hour},
		{name: "one of two", devices: 2, silent: []alarm.Event{silent("a", 2, time.Hour)}},
		{name: "two of three", devices: 3, silent: []alarm.Event{silent("a", 2, time.Hour), silent("b", 2, time.Hour)}},
		{name: "one of one", devices: 1, silent: []alarm.Event{silent("a", 2, time.Hour)}},
		{name: "not known how many", devices: 0, silent: []alarm.Event{silent("a", 2, time.Hour), silent("b", 2, time.Hour)}},
		{name: "one out of service", devices: 2, silent: []alarm.Event{silent("a", 2, time.Hour), silent("b", 2, time.Hour)}, out: "b"},
	} {
		s := &stepper{t: t, settings: &alarm.Settings{Kinds: alarm.Kinds(), Devices: row.devices}}
		for _, e := range row.silent {
			s.step(e, t0)
		}
		if row.out != "" {
			s.step(alarm.Event{Do: alarm.TakeOut, Key: alarm.Key{Code: account.DeviceSilent, Tank: row.out, Device: "box"}, By: "Ines"}, t0)
		}
		a := s.site.Find(alarm.Key{Code: alarm.SiteSilent})
		if got := a != nil && a.Present; got != row.present {
			t.Errorf("%s: the site is silent: %v, want %v", row.name, got, row.present)
		} else if row.present && (a.Class != row.class || a.HarmAt.Sub(t0) != row.harm) {
			t.Errorf("%s: class %d in %v, want %d in %v", row.name, a.Class, a.HarmAt.Sub(t0), row.class, row.harm)
		}
	}
}

// TestLatchHiddenExplains: a latch that waits behind a shelf goes on silencing
// what it explains.
func TestLatchHiddenExplains(t *testing.T) {
	s := &stepper{t: t, settings: &alarm.Settings{Kinds: alarm.Kinds()}}
	wet := alarm.Key{Code: alarm.FloorWet, Tank: "lobby"}
	for _, e := range []alarm.Event{
		{Do: alarm.Raise, Key: wet, Class: 3, HarmIn: 100 * time.Hour},
		{Do: alarm.Clear, Key: wet},
	} {
		s.step(e, t0)
	}
	later := t0.Add(time.Hour)
	s.step(alarm.Event{Do: alarm.Acknowledge, Key: wet, By: "Ines"}, later)
	s.step(alarm.Event{Do: alarm.Reset, Key: wet, By: "Ines"}, later)
	s.step(alarm.Event{Do: alarm.Shelve, Key: wet, By: "Ines", For: 5 * time.Hour}, later)
	s.step(alarm.Event{Do: alarm.Raise, Key: wet, Class: 3, HarmIn: 100 * time.Hour}, later)
	s.step(alarm.Event{Do: alarm.Clear, Key: wet}, later)
	latched := alarm.Key{Code: alarm.GuardLatched, Tank: "lobby"}
	s.step(alarm.Event{Do: alarm.Raise, Key: latched, Class: 2, HarmIn: 100 * time.Hour}, later.Add(time.Hour))
	s.step(alarm.Event{}, later.Add(2*time.Hour))
	if got := s.site.Find(latched).State(); got != alarm.SuppressedByDesign {
		t.Errorf("the guard's latch is %v, want %v", got, alarm.SuppressedByDesign)
	}
}

// TestCauseReaches: a site's cause silences everything, a tank's only its own
// tank, a device's its own tank but not another device; and none silences what
// is more urgent.
func TestCauseReaches(t *testing.T) {
	for _, row := range []struct {
		cause, alarm alarm.Key
		class        int
		silenced     bool
	}{
		{cause: alarm.Key{}, alarm: alarm.Key{}, silenced: true},
		{cause: alarm.Key{}, alarm: alarm.Key{Tank: "lobby"}, silenced: true},
		{cause: alarm.Key{}, alarm: alarm.Key{Tank: "lobby", Device: "a"}, silenced: true},
		{cause: alarm.Key{Tank: "lobby"}, alarm: alarm.Key{Tank: "lobby"}, silenced: true},
		{cause: alarm.Key{Tank: "lobby"}, alarm: alarm.Key{Tank: "lobby", Device: "a"}, silenced: true},
		{cause: alarm.Key{Tank: "lobby"}, alarm: alarm.Key{Tank: "hall"}, silenced: false},
		{cause: alarm.Key{Tank: "lobby"}, alarm: alarm.Key{}, silenced: false},
		{cause: alarm.Key{Tank: "lobby", Device: "a"}, alarm: alarm.Key{Tank: "lobby"}, silenced: true},
		{cause: alarm.Key{Tank: "lobby", Device: "a"}, alarm: alarm.Key{Tank: "lobby", Device: "a"}, silenced: true},
		{cause: alarm.Key{Tank: "lobby", Device: "a"}, alarm: alarm.Key{Tank: "lobby", Device: "b"}, silenced: false},
		{cause: alarm.Key{}, alarm: alarm.Key{Tank: "lobby"}, class: 4, silenced: false},
	} {
		s := &stepper{t: t, settings: &diagram}
		row.cause.Code, row.alarm.Code = cause, plain
		s.step(alarm.Event{Do: alarm.Raise, Key: row.cause, Class: 2, HarmIn: time.Hour}, t0)
		s.step(alarm.Event{Do: alarm.Raise, Key: row.alarm, Class: max(row.class, 2), HarmIn: time.Hour}, t0)
		got := s.site.Find(row.alarm).State()
		if want := map[bool]alarm.State{true: alarm.SuppressedByDesign, false: alarm.Unacknowledged}[row.silenced]; got != want {
			t.Errorf("cause at %v, alarm at %v, class %d: %v, want %v", row.cause, row.alarm, row.class, got, want)
		}
	}
}

// TestCauseOutOfService: a cause that somebody works on explains nothing, one
// that is shelved still does.
func TestCauseOutOfService(t *testing.T) {
	s := &stepper{t: t, settings: &diagram}
	up := alarm.Key{Code: cause}
	s.step(alarm.Event{Do: alarm.Raise, Key: up, Class: 4}, t0)
	s.step(raise, t0)
	s.step(alarm.Event{Do: alarm.Shelve, Key: up, By: "Ines", For: time.Hour}, t0)
	s.want(alarm.SuppressedByDesign, "cause shelved")
	s.step(alarm.Event{Do: alarm.TakeOut, Key: up, By: "Ines"}, t0)
	s.want(alarm.Unacknowledged, "cause out of service")
}

// TestContradictoryHarm: a class that is harm, with harm that never comes, is
// read as harm now.
func TestContradictoryHarm(t *testing.T) {
	for _, row := range []struct {
		class int
		in    time.Duration
		want  alarm.Priority
	}{
		{1, -1, alarm.Low},
		{2, -1, alarm.Low},
		{3, -1, alarm.Critical},
		{4, -1, alarm.Critical},
		{3, 1 << 62, alarm.Low},
		{77, 0, alarm.Critical},
	} {
		s := &stepper{t: t, settings: &diagram}
		e := raise
		e.Class, e.HarmIn = row.class, row.in
		s.step(e, t0)
		if got := s.site.Find(lobby).Priority; got != row.want {
			t.Errorf("class %d in %v: %v, want %v", row.class, row.in, got, row.want)
		}
	}
}

// TestRefusals: what cannot be done is answered, and changes nothing.
func TestRefusals(t *testing.T) {
	s := &stepper{t: t, settings: &alarm.Settings{Kinds: alarm.Kinds()}}
	s.step(alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: account.TankLeak, Tank: "lobby"}, Class: 2}, t0)
	before := s.site
	key := alarm.Key{Code: account.TankLeak, Tank: "lobby"}
	for _, row := range []struct {
		event alarm.Event
		want  alarm.Reason
	}{
		{alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: "comet"}, Class: 4}, alarm.RefusedUnknownKind},
		{alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: alarm.SiteSilent}, Class: 4}, alarm.RefusedGathered},
		{alarm.Event{Do: alarm.Clear, Key: alarm.Key{Code: alarm.SiteSilent}}, alarm.RefusedGathered},
		{alarm.Event{Do: alarm.Acknowledge, Key: alarm.Key{Code: account.TankLeak}, By: "Ines"}, alarm.RefusedNoAlarm},
		{alarm.Event{Do: alarm.Acknowledge, Key: key}, alarm.RefusedNoPerson},
		{alarm.Event{Do: "sing", Key: key, By: "Ines"}, alarm.RefusedUnknownAction},
	} {
		said := s.step(row.event, t0)
		if len(said) != 1 || said[0].Reason != row.want || said[0].From != said[0].To {
			t.Errorf("%+v: %+v, want %q", row.event, said, row.want)
		}
		if !row.want.Refused() {
			t.Errorf("%q does not count as a refusal", row.want)
		}
	}
	if len(s.site.Alarms) != len(before.Alarms) || s.site.Alarms[0] != before.Alarms[0] {
		t.Errorf("the refusals changed the site: %+v, before %+v", s.site, before)
	}
}

// TestOverBeforeItWasHeardOf: a condition that is over when it is heard of is an
// alarm where it lasted for its on-delay by the clock of what saw it, and stays one
// for its off-delay from now.
func TestOverBeforeItWasHeardOf(t *testing.T) {
	const onDelay, offDelay = 10 * time.Minute, 30 * time.Minute
	settings := &alarm.Settings{Kinds: []alarm.Kind{{Code: plain, Title: "Plain", OnDelay: onDelay, OffDelay: offDelay}}}
	for _, row := range []struct {
		do     alarm.Action
		lasted time.Duration
		want   alarm.State
	}{
		{alarm.Clear, onDelay - tick, alarm.Normal},
		{alarm.Clear, onDelay, alarm.Unacknowledged},
		{alarm.Clear, -time.Hour, alarm.Normal}, // what saw it had its clock set back
		{alarm.Tick, onDelay - tick, alarm.Normal},
		{alarm.Tick, onDelay, alarm.Unacknowledged}, // it went and is there again
	} {
		s := &stepper{t: t, settings: settings}
		s.step(raise, t0)
		s.step(alarm.Event{Do: row.do, Key: lobby, Lasted: row.lasted}, t0)
		s.want(row.want, fmt.Sprintf("%s after %v", row.do, row.lasted))
		s.step(alarm.Event{Do: alarm.Clear, Key: lobby}, t0)
		s.step(alarm.Event{}, t0.Add(offDelay-tick))
		s.want(row.want, "before the off-delay")
		s.step(alarm.Event{}, t0.Add(offDelay))
		if row.want == alarm.Unacknowledged {
			s.want(alarm.ReturnedUnacknowledged, "at the off-delay")
		}
	}
}

// TestForgottenKind: an alarm of a kind that is no longer declared goes, and it
// is said.
func TestForgottenKind(t *testing.T) {
	s := &stepper{t: t, settings: &diagram}
	s.step(raise, t0)
	s.settings = &alarm.Settings{Kinds: diagram.Kinds[:1]}
	said := s.step(alarm.Event{}, t0)
	if len(said) != 1 || said[0].Reason != alarm.Forgotten || s.site.Find(lobby) != nil {
		t.Errorf("said %+v, left %+v", said, s.site)
	}
}

// TestStepLeavesItsInput: the site that was given can be stepped again.
func TestStepLeavesItsInput(t *testing.T) {
	s := &stepper{t: t, settings: &diagram}
	s.step(raise, t0)
	before := s.site.Alarms[0]
	alarm.Step(&diagram, s.site, alarm.Event{Do: alarm.Acknowledge, Key: lobby, By: "Ines"}, t0)
	if s.site.Alarms[0] != before {
		t.Errorf("Step wrote into the site it was given: %+v, before %+v", s.site.Alarms[0], before)
	}
}

// TestFromFinding: an ended finding clears, another raises what it says.
func TestFromFinding(t *testing.T) {
	f := account.Finding{Code: account.PumpWeak, Class: 2, HarmIn: time.Hour, Sentence: "It is weak."}
	want := alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: account.PumpWeak, Tank: "lobby", Device: "box"}, Class: 2, HarmIn: time.Hour, Sentence: "It is weak."}
	if got := alarm.FromFinding("lobby", "box", f); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	f.Ended = t0
	if got := alarm.FromFinding("lobby", "box", f); got.Do != alarm.Clear || got.Key != want.Key {
		t.Errorf("ended: %+v", got)
	}
}
