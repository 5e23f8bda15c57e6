package alarm_test

import (
	"hash/fnv"
	"reflect"
	"slices"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// house is the site of the property tests.
var house = alarm.Settings{Kinds: alarm.Kinds(), Devices: 2}

var houseKeys = []alarm.Key{
	{Code: alarm.PowerCut},
	{Code: alarm.FloorWet, Tank: "lobby"},
	{Code: account.CeilingWet, Tank: "lobby"},
	{Code: alarm.GuardLatched, Tank: "lobby"},
	{Code: account.PumpSeized, Tank: "lobby"},
	{Code: account.TopOffOverdue, Tank: "lobby"},
	{Code: account.DeviceSilent, Tank: "lobby", Device: "box"},
	{Code: account.DeviceSilent, Tank: "hall", Device: "box"},
	{Code: account.TankLeak, Tank: "hall"},
}

// timed is an event and when it comes.
type timed struct {
	alarm.Event
	At time.Time
}

// drawEvents draws what happens at the house over some days. Conditions come
// and go more often than people do anything.
func drawEvents(t *rapid.T) []timed {
	actions := []alarm.Action{alarm.Raise, alarm.Raise, alarm.Raise, alarm.Clear, alarm.Clear, alarm.Tick,
		alarm.Acknowledge, alarm.Reset, alarm.Shelve, alarm.Unshelve, alarm.TakeOut, alarm.PutBackIn}
	waits := []time.Duration{0, time.Second, time.Minute, 10 * time.Minute, 15 * time.Minute, time.Hour, 5 * time.Hour, 30 * time.Hour}
	at := t0
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) timed {
		at = at.Add(rapid.SampledFrom(waits).Draw(t, "wait"))
		return timed{At: at, Event: alarm.Event{
			Do:     rapid.SampledFrom(actions).Draw(t, "do"),
			Key:    rapid.SampledFrom(houseKeys).Draw(t, "key"),
			Class:  rapid.IntRange(0, 4).Draw(t, "class"),
			HarmIn: rapid.SampledFrom([]time.Duration{-1, 0, time.Hour, 13 * time.Hour, 80 * time.Hour}).Draw(t, "harm in"),
			By:     rapid.SampledFrom([]string{"Ines", "Jon"}).Draw(t, "by"),
			For:    rapid.SampledFrom([]time.Duration{time.Minute, 3 * time.Hour, 1000 * time.Hour, 1<<63 - 1}).Draw(t, "for"),
		}}
	}), 1, 60).Draw(t, "events")
}

func hidden(s alarm.State) bool { return s > alarm.LatchedAcknowledged }

// TestSteppingMoreChangesNothing: a site stepped only when something happens
// says the same, with the same times, as one that is stepped all the time and
// written down and read back each time.
func TestSteppingMoreChangesNothing(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		events := drawEvents(r)
		var rare, often alarm.Site
		var rareSaid, oftenSaid []alarm.Transition
		last := t0
		for _, e := range events {
			for gap := e.At.Sub(last); gap > 0 && last.Before(e.At); {
				last = last.Add(gap/3 + 1)
				if last.Before(e.At) {
					var said []alarm.Transition
					often, said = alarm.Step(&house, rewrite(t, often), alarm.Event{}, last)
					oftenSaid = append(oftenSaid, said...)
				}
			}
			last = e.At
			var said []alarm.Transition
			rare, said = alarm.Step(&house, rare, e.Event, e.At)
			rareSaid = append(rareSaid, said...)
			often, said = alarm.Step(&house, often, e.Event, e.At)
			oftenSaid = append(oftenSaid, said...)
		}
		if d := cmp.Diff(rareSaid, oftenSaid); d != "" {
			r.Fatalf("stepped rarely (-) and often (+):\n%s", d)
		}
		if d := cmp.Diff(rare, often); d != "" {
			r.Fatalf("stepped rarely (-) and often (+):\n%s", d)
		}
	})
}

// TestShelvingAlwaysEnds, whatever is asked and wherever the clock jumps: with
// nobody shelving again, no later than the longest shelving there is.
func TestShelvingAlwaysEnds(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var site alarm.Site
		now := t0
		for _, e := range drawEvents(r) {
			now = e.At.Add(-rapid.SampledFrom([]time.Duration{0, 0, 0, 50 * time.Hour, 1e6 * time.Hour}).Draw(r, "set back"))
			site, _ = alarm.Step(&house, site, e.Event, now)
			for _, a := range site.Alarms {
				if a.State() == alarm.Shelved && a.ShelvedUntil.Sub(now) > alarm.ShelveMax(a.ShelvedAt) {
					r.Fatalf("%v is shelved for %v", a.Key, a.ShelvedUntil.Sub(now))
				}
			}
		}
		site, _ = alarm.Step(&house, site, alarm.Event{}, now.Add(alarm.ShelveMax(alarm.Low)))
		for _, a := range site.Alarms {
			if !a.ShelvedUntil.IsZero() {
				r.Fatalf("%v is still shelved", a.Key)
			}
		}
	})
}

// TestLatchedNeverVanishes: a condition of a latching kind that was there, also
// while it was shelved or suppressed, is called for until a person acknowledges
// it, and stays until a person resets it. The floor sensor's kind is taken,
// which has no on-delay, so that the model needs none.
func TestLatchedNeverVanishes(t *testing.T) {
	key := alarm.Key{Code: alarm.FloorWet, Tank: "lobby"}
	rapid.Check(t, func(r *rapid.T) {
		var site alarm.Site
		// present, active, out: the condition and the service. owed: nobody has
		// acknowledged it since it came; latched: nobody has reset it.
		var present, out, owed, latched bool
		var gone time.Time
		active := func(now time.Time) bool { return present || latched && !gone.IsZero() && now.Sub(gone) < time.Minute }
		for _, e := range drawEvents(r) {
			wasActive := active(e.At)
			var said []alarm.Transition
			site, said = alarm.Step(&house, site, e.Event, e.At)
			if e.Key == key {
				switch {
				case e.Do == alarm.Raise && e.Class > 0:
					present, gone = true, time.Time{}
					if !wasActive && !out {
						owed, latched = true, true
					}
				case e.Do == alarm.Raise || e.Do == alarm.Clear:
					if present {
						gone = e.At
					}
					present = false
				}
			}
			for _, s := range said {
				if s.Key != key {
					continue
				}
				switch s.Reason {
				case alarm.TakenOut:
					out = true
				case alarm.PutBack:
					out = false
					if present {
						owed, latched = true, true
					}
				case alarm.AcknowledgedByPerson:
					owed = false
				case alarm.ResetByPerson:
					latched = false
				}
			}
			a := site.Find(key)
			if a == nil || hidden(a.State()) {
				continue
			}
			if owed && !a.State().Calls() {
				r.Fatalf("after %v at %v it is %v, and nobody has acknowledged it", e.Do, e.At.Sub(t0), a.State())
			}
			if latched && a.State() == alarm.Normal {
				r.Fatalf("after %v at %v it is normal, and nobody has reset it", e.Do, e.At.Sub(t0))
			}
		}
	})
}

// TestSuppressedOnlyByWhatExplains: every suppressed alarm names a cause that is
// declared, covers it, is there and is no less urgent. Each history opens with a
// device that the power cut explains, so that there is always one to look at.
func TestSuppressedOnlyByWhatExplains(t *testing.T) {
	explained := []timed{
		{At: t0.Add(-time.Hour), Event: alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: alarm.PowerCut}, Class: 4}},
		{At: t0.Add(-time.Hour), Event: alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: account.DeviceSilent, Tank: "hall", Device: "box"}, Class: 1}},
		{At: t0},
	}
	rapid.Check(t, func(r *rapid.T) {
		suppressed := 0
		var site alarm.Site
		for _, e := range slices.Concat(explained, drawEvents(r)) {
			site, _ = alarm.Step(&house, site, e.Event, e.At)
			for _, a := range site.Alarms {
				if a.State() != alarm.SuppressedByDesign {
					continue
				}
				suppressed++
				i := slices.IndexFunc(house.Kinds, func(k alarm.Kind) bool { return k.Code == a.Code })
				c := site.Find(a.Cause)
				switch {
				case c == nil || !slices.Contains(house.Kinds[i].SilencedBy, c.Code):
					r.Fatalf("%v is suppressed by %v", a.Key, a.Cause)
				case c.Tank != "" && c.Tank != a.Tank:
					r.Fatalf("%v is suppressed from another tank, by %v", a.Key, a.Cause)
				case c.OutBy != "" || !c.Active && c.Live == alarm.Normal && !c.CameHidden:
					r.Fatalf("%v is suppressed by %v, which is not there", a.Key, a.Cause)
				case c.Priority < a.Priority:
					r.Fatalf("%v (%v) is suppressed by %v (%v)", a.Key, a.Priority, a.Cause, c.Priority)
				}
			}
		}
		if suppressed == 0 {
			r.Error("nothing was ever suppressed")
		}
	})
}

// housePlan tells three people.
var housePlan = func() alarm.Plan {
	who := func(name string) alarm.Contact {
		return alarm.Contact{Person: name, Channel: alarm.Mail, Address: name + "@example.org"}
	}
	return alarm.Plan{
		Critical: alarm.Route{Rungs: []alarm.Rung{
			{Contacts: []alarm.Contact{who("Ines")}},
			{Wait: 10 * time.Minute, Contacts: []alarm.Contact{who("Jon"), who("Mara")}},
		}, Repeat: time.Hour, Rounds: 3},
		Medium:  alarm.Route{Rungs: []alarm.Rung{{Wait: time.Minute, Contacts: []alarm.Contact{who("Ines")}}}},
		TellEnd: true,
	}
}()

// deliverable says, the same whenever asked, whether a message gets through.
func deliverable(id string, at time.Time) bool {
	h := fnv.New32a()
	h.Write([]byte(id + at.String()))
	return h.Sum32()%4 != 0
}

// disk is what survives a crash: what was saved, and which events were taken.
type disk struct {
	site   alarm.Site
	record alarm.Record
	taken  int
}

// process runs the house on what is on the disk until the events are over or
// until crash says so. It hands each message to send.
func process(t *testing.T, d *disk, events []timed, crash func(where string) bool, send func(alarm.Notice, time.Time)) (finished bool) {
	for d.taken < len(events) {
		e := events[d.taken]
		site, _ := alarm.Step(&house, rewrite(t, d.site), e.Event, e.At)
		if crash("stepped") {
			return false
		}
		record, decision := alarm.Decide(&housePlan, site, rewrite(t, d.record), e.At)
		if crash("decided") {
			return false
		}
		*d = disk{site: site, record: record, taken: d.taken}
		if crash("saved") {
			return false
		}
		for _, n := range decision.Send {
			send(n, e.At)
			if crash("sent " + n.ID) {
				return false
			}
			problem := ""
			if !deliverable(n.ID, e.At) {
				problem = "no connection"
			}
			d.record, _, _ = d.record.Report(n.ID, e.At, problem, false)
			if crash("reported") {
				return false
			}
		}
		d.taken++
	}
	return true
}

// withTicks puts a step after every minute or so of the first hours between
// events, as a running program would make them.
func withTicks(events []timed) []timed {
	var all []timed
	for i, e := range events {
		if i > 0 {
			for at, n := events[i-1].At.Add(time.Minute), 0; at.Before(e.At) && n < 12; n++ {
				all = append(all, timed{At: at})
				at = at.Add(5 * time.Minute)
			}
		}
		all = append(all, e)
	}
	return all
}

// TestNoNoticeLostOrDoubled: a run that is killed again and again, at every
// place it can be, sends the same messages as one that is not. Only a kill
// between sending a message and recording it sends that one once more, with the
// same ID.
func TestNoNoticeLostOrDoubled(t *testing.T) {
	crashes, messages := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		events := withTicks(drawEvents(r))
		type try struct {
			id string
			at time.Time
		}
		want := map[try]int{}
		process(t, &disk{}, events, func(string) bool { return false }, func(n alarm.Notice, at time.Time) { want[try{n.ID, at}]++ })
		messages += len(want)
		for tr, n := range want {
			if n != 1 {
				r.Fatalf("without a crash %s was tried %d times at once", tr.id, n)
			}
		}

		got := map[try]int{}
		var last try
		left := 30
		d := &disk{}
		for !process(t, d, events, func(where string) bool {
			if left == 0 || rapid.IntRange(0, 15).Draw(r, where) != 0 {
				return false
			}
			left--
			crashes++
			if where == "sent "+last.id {
				got[last]-- // it will be sent again
			}
			return true
		}, func(n alarm.Notice, at time.Time) { last = try{n.ID, at}; got[last]++ }) {
		}
		if !reflect.DeepEqual(got, want) {
			r.Fatalf("with crashes (+) and without (-):\n%s", cmp.Diff(want, got, cmp.AllowUnexported(try{})))
		}
	})
	if crashes == 0 || messages == 0 {
		t.Errorf("%d crashes, %d messages: nothing was tried", crashes, messages)
	}
	t.Logf("%d crashes, %d messages", crashes, messages)
}

// TestEveryCallIsTold: whenever an alarm calls and its first wait is over, the
// record holds a notice for everybody on the first rung; no ID is there twice;
// and deciding twice decides nothing new.
func TestEveryCallIsTold(t *testing.T) {
	calls := 0
	rapid.Check(t, func(r *rapid.T) {
		var site alarm.Site
		var record alarm.Record
		for _, e := range withTicks(drawEvents(r)) {
			site, _ = alarm.Step(&house, site, e.Event, e.At)
			record, _ = alarm.Decide(&housePlan, site, record, e.At)
			again, decision := alarm.Decide(&housePlan, site, record, e.At)
			if len(decision.Changed) > 0 || !reflect.DeepEqual(again, record) {
				r.Fatalf("deciding twice changed %+v", decision.Changed)
			}
			seen := map[string]bool{}
			for _, n := range record.Notices {
				if seen[n.ID] {
					r.Fatalf("%s is there twice", n.ID)
				}
				seen[n.ID] = true
			}
			for _, a := range site.Alarms {
				route := &housePlan.Critical
				if a.Peak < alarm.High {
					route = &housePlan.Medium
				}
				if a.Peak == alarm.High {
					route = &housePlan.Medium // a priority without a route takes the one below it
				}
				if a.Peak == alarm.Low || !a.State().Calls() || e.At.Sub(a.Called) < route.Rungs[0].Wait {
					continue
				}
				calls++
				if !slices.ContainsFunc(record.Notices, func(n alarm.Notice) bool {
					return n.Alarm == a.Key && n.Called.Equal(a.Called) && n.Contact == route.Rungs[0].Contacts[0] && !n.End && n.Outcome != alarm.Dropped
				}) {
					r.Fatalf("%v calls since %v and nobody is told", a.Key, a.Called)
				}
			}
			for _, n := range decision.Send {
				record, _, _ = record.Report(n.ID, e.At, "", false)
			}
		}
	})
	if calls == 0 {
		t.Error("nothing ever called")
	}
}
