package alarm_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
)

// desk decides for one site under the plan and keeps the record.
type desk struct {
	stepper
	plan   alarm.Plan
	record alarm.Record
}

func newDesk(t *testing.T, rungs ...time.Duration) *desk {
	d := &desk{stepper: stepper{t: t, settings: &diagram}, plan: alarm.Plan{TellEnd: true}}
	for i, wait := range rungs {
		name := []string{"Ines", "Jon", "Mara"}[i]
		d.plan.Low.Rungs = append(d.plan.Low.Rungs, alarm.Rung{Wait: wait, Contacts: []alarm.Contact{{Person: name, Channel: alarm.Mail, Address: name + "@example.org"}}})
	}
	return d
}

func (d *desk) decide(at time.Time) alarm.Decision {
	var decision alarm.Decision
	d.record, decision = alarm.Decide(&d.plan, d.site, d.record, at)
	return decision
}

// report enters one outcome for everything that is to be sent.
func (d *desk) report(send []alarm.Notice, at time.Time, problem string, hopeless bool) {
	for _, n := range send {
		d.record, _, _ = d.record.Report(n.ID, at, problem, hopeless)
	}
}

// people are who is told, in order.
func people(send []alarm.Notice) string {
	var names []string
	for _, n := range send {
		name := n.Contact.Person
		if n.End {
			name += " over"
		}
		names = append(names, name)
	}
	return strings.Join(names, ", ")
}

func (d *desk) wantSent(got alarm.Decision, want string, again time.Time) {
	d.t.Helper()
	if people(got.Send) != want || !got.Again.Equal(again) {
		d.t.Errorf("told %q, again at %v; want %q, again at %v", people(got.Send), got.Again, want, again)
	}
}

// TestDecideSaysWhenToAskAgain: at the next rung, the next round, the next retry,
// and never when there is nothing to come.
func TestDecideSaysWhenToAskAgain(t *testing.T) {
	d := newDesk(t, 0, 10*time.Minute)
	d.plan.Low.Repeat, d.plan.Low.Rounds = time.Hour, 2
	never := time.Time{}
	d.wantSent(d.decide(t0), "", never)

	d.step(raise, t0)
	first := d.decide(t0)
	d.wantSent(first, "Ines", t0.Add(10*time.Minute))
	d.report(first.Send, t0, "no connection", false)
	d.wantSent(d.decide(t0), "", t0.Add(30*time.Second))
	retry := t0.Add(30 * time.Second)
	again := d.decide(retry)
	d.wantSent(again, "Ines", t0.Add(10*time.Minute))
	d.report(again.Send, retry, "", false)

	second := t0.Add(10 * time.Minute)
	d.wantSent(d.decide(second.Add(-tick)), "", second)
	told := d.decide(second)
	d.wantSent(told, "Jon", t0.Add(time.Hour))
	d.report(told.Send, second, "", false)

	round := t0.Add(time.Hour)
	told = d.decide(round)
	d.wantSent(told, "Ines", t0.Add(70*time.Minute))
	d.report(told.Send, round, "", false)
	told = d.decide(t0.Add(70 * time.Minute))
	d.wantSent(told, "Jon", never)
	d.report(told.Send, t0.Add(70*time.Minute), "", false)
	d.wantSent(d.decide(t0.Add(1000*time.Hour)), "", never)
}

// TestHopelessGoesOn: where trying again is useless the next person is told at
// once, and after six attempts also where it is not.
func TestHopelessGoesOn(t *testing.T) {
	d := newDesk(t, 0, 5*time.Hour)
	d.step(raise, t0)
	d.report(d.decide(t0).Send, t0, "no such mailbox", true)
	d.wantSent(d.decide(t0), "Jon", time.Time{})

	d = newDesk(t, 0, 5*time.Hour)
	d.step(raise, t0)
	at, attempts := t0, 0
	for {
		decision := d.decide(at)
		if people(decision.Send) != "Ines" {
			d.wantSent(decision, "Jon", time.Time{})
			break
		}
		attempts++
		d.report(decision.Send, at, "no connection", false)
		if next := d.decide(at); len(next.Send) == 0 {
			at = next.Again
		}
	}
	if took := at.Sub(t0); attempts != 6 || took != 12*time.Minute+30*time.Second {
		t.Errorf("given up after %d attempts and %v", attempts, took)
	}
	if i := slices.IndexFunc(d.record.Notices, func(n alarm.Notice) bool { return n.Outcome == alarm.Failed }); i < 0 || len(d.record.Notices[i].Attempts) != 6 {
		t.Errorf("the record does not show the six attempts: %+v", d.record)
	}
}

// TestDropped: what is no longer wanted is not sent, and the record says so.
func TestDropped(t *testing.T) {
	for _, row := range []struct {
		name  string
		event alarm.Event
	}{
		{"acknowledged", alarm.Event{Do: alarm.Acknowledge, Key: lobby, By: "Jon"}},
		{"shelved", alarm.Event{Do: alarm.Shelve, Key: lobby, By: "Jon", For: time.Hour}},
		{"gone", alarm.Event{Do: alarm.Clear, Key: lobby}},
		{"suppressed", alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: cause}, Class: 3}},
	} {
		d := newDesk(t, 0)
		d.plan.Low.Rungs[0].Contacts[0].Channel = alarm.Webhook
		d.step(raise, t0)
		d.report(d.decide(t0).Send, t0, "no connection", false)
		d.step(row.event, t0.Add(time.Second))
		decision := d.decide(t0.Add(time.Hour))
		decision.Send = slices.DeleteFunc(decision.Send, func(n alarm.Notice) bool { return n.Alarm != lobby })
		if len(decision.Send) != 0 {
			t.Errorf("%s: still told %q", row.name, people(decision.Send))
		}
		if i := slices.IndexFunc(decision.Changed, func(n alarm.Notice) bool { return n.Alarm == lobby }); i < 0 || decision.Changed[i].Outcome != alarm.Dropped || decision.Changed[i].Reason != alarm.NotWanted {
			t.Errorf("%s: changed %+v", row.name, decision.Changed)
		}
	}

	d := newDesk(t, 0)
	d.step(raise, t0)
	d.decide(t0)
	d.site = alarm.Site{}
	decision := d.decide(t0)
	if len(decision.Send) != 0 || len(decision.Changed) != 1 || len(d.record.Notices) != 0 {
		t.Errorf("the alarm is no longer known: %+v, record %+v", decision, d.record)
	}
}

// TestEndIsToldOnce: to everybody who was told and to nobody else, also when a
// shelving came between.
func TestEndIsToldOnce(t *testing.T) {
	d := newDesk(t, 0, time.Minute, time.Hour)
	d.step(raise, t0)
	d.report(d.decide(t0).Send, t0, "", false)
	d.report(d.decide(t0.Add(time.Minute)).Send, t0.Add(time.Minute), "", false)
	d.step(alarm.Event{Do: alarm.Acknowledge, Key: lobby, By: "Jon"}, t0.Add(2*time.Minute))

	gone := t0.Add(3 * time.Minute)
	d.step(alarm.Event{Do: alarm.Clear, Key: lobby}, gone)
	told := d.decide(gone)
	d.wantSent(told, "Ines over, Jon over", time.Time{})
	d.report(told.Send[:1], gone, "", false) // Jon's is still on its way

	d.step(alarm.Event{Do: alarm.Shelve, Key: lobby, By: "Jon", For: time.Hour}, gone)
	d.wantSent(d.decide(gone), "", time.Time{})
	d.step(alarm.Event{Do: alarm.Unshelve, Key: lobby, By: "Jon"}, gone)
	told = d.decide(gone)
	d.wantSent(told, "Jon over", time.Time{})
	d.report(told.Send, gone, "", false)
	d.wantSent(d.decide(gone.Add(time.Hour)), "", time.Time{})
	if len(d.record.Notices) != 0 {
		t.Errorf("it is over and everybody told, yet the record holds %+v", d.record.Notices)
	}

	d.step(raise, gone.Add(2*time.Hour))
	d.wantSent(d.decide(gone.Add(2*time.Hour)), "Ines", gone.Add(2*time.Hour+time.Minute))
}

// TestEndUntold: without TellEnd nobody hears of the end.
func TestEndUntold(t *testing.T) {
	d := newDesk(t, 0)
	d.plan.TellEnd = false
	d.step(raise, t0)
	d.report(d.decide(t0).Send, t0, "", false)
	d.step(alarm.Event{Do: alarm.Clear, Key: lobby}, t0.Add(time.Hour))
	d.wantSent(d.decide(t0.Add(time.Hour)), "", time.Time{})
}

// TestShelfBeginsTheClimbAnew: after a shelving a latched alarm, too, calls from
// the first rung, and does not tell everybody at once.
func TestShelfBeginsTheClimbAnew(t *testing.T) {
	d := newDesk(t, 0, 10*time.Minute)
	key := alarm.Key{Code: latching, Tank: "lobby"}
	e := raise
	e.Key = key
	d.step(e, t0)
	d.step(alarm.Event{Do: alarm.Clear, Key: key}, t0)
	d.report(d.decide(t0).Send, t0, "", false)
	d.step(alarm.Event{Do: alarm.Shelve, Key: key, By: "Ines", For: time.Hour}, t0)
	end := t0.Add(time.Hour)
	d.step(alarm.Event{}, end)
	d.wantSent(d.decide(end), "Ines", end.Add(10*time.Minute))
}

// TestClockSetBack: an alarm that called in what is now the future calls from
// now, and no retry waits longer than the longest wait.
func TestClockSetBack(t *testing.T) {
	d := newDesk(t, time.Minute)
	d.step(raise, t0)
	back := t0.Add(-1000 * time.Hour)
	d.step(alarm.Event{}, back)
	d.wantSent(d.decide(back), "", back.Add(time.Minute))

	d = newDesk(t, 0)
	d.step(raise, t0)
	d.report(d.decide(t0).Send, t0, "no connection", false)
	d.wantSent(d.decide(back), "", back.Add(5*time.Minute))
}

// TestNamesWithSeparators: names that hold the ID's separator do not make two
// alarms one.
func TestNamesWithSeparators(t *testing.T) {
	d := newDesk(t, 0)
	for _, place := range [][2]string{{"a", "b/c"}, {"a/b", "c"}} {
		e := raise
		e.Key.Tank, e.Key.Device = place[0], place[1]
		d.step(e, t0)
	}
	d.wantSent(d.decide(t0), "Ines, Ines", time.Time{})
}

// TestReport: an ID that is not pending is not taken, and the record that was
// given stays as it was.
func TestReport(t *testing.T) {
	d := newDesk(t, 0)
	d.step(raise, t0)
	id := d.decide(t0).Send[0].ID
	if _, _, ok := d.record.Report("another", t0, "", false); ok {
		t.Error("an unknown ID was taken")
	}
	three := d.record
	for range 3 { // the fourth may share memory with the third
		three, _, _ = three.Report(id, t0, "a", false)
	}
	left, _, _ := three.Report(id, t0, "b", false)
	right, n, ok := three.Report(id, t0, "", false)
	if !ok || n.Outcome != alarm.Sent {
		t.Errorf("reported: %+v", n)
	}
	if got := left.Notices[0].Attempts[3].Error; got != "b" {
		t.Errorf("a report on another copy wrote %q into the attempts", got)
	}
	if _, _, ok := right.Report(id, t0, "", false); ok {
		t.Error("a notice that was sent was taken again")
	}
	if d.record.Notices[0].Outcome != alarm.Pending || len(d.record.Notices[0].Attempts) != 0 {
		t.Errorf("the record given was changed: %+v", d.record)
	}
}

func TestCompose(t *testing.T) {
	zone := time.FixedZone("CET", 3600)
	settings := &alarm.Settings{Kinds: alarm.Kinds()}
	a := alarm.Alarm{
		Key:      alarm.Key{Code: account.TankLeak, Tank: "Lobby\r\nBcc: all", Device: ""},
		Sentence: "2.1 L a day more than the air explains.\nSubject: x", Peak: alarm.Critical,
		Called: t0, Live: alarm.Unacknowledged, Active: true, HarmAt: t0.Add(7 * time.Hour),
	}
	n := alarm.Notice{ID: "id", Reason: alarm.FirstCall}
	for _, row := range []struct {
		name          string
		change        func()
		subject, text string
	}{
		{"calls", func() {}, "Critical: Harbour house, Lobby Bcc: all: Salt water is leaving the tank",
			"2.1 L a day more than the air explains. Subject: x\n" +
				"Calls since Mon 2 Mar 09:00 CET; harm in about 6 h.\n" +
				"You are told because the alarm calls.\n" +
				"Mains power near salt water can kill: switch off at the breaker before you touch anything wet.\n"},
		{"no harm, latched", func() { a.HarmAt, a.Live = time.Time{}, alarm.LatchedUnacknowledged }, "Critical: Harbour house, Lobby Bcc: all: Salt water is leaving the tank",
			"2.1 L a day more than the air explains. Subject: x\n" +
				"Calls since Mon 2 Mar 09:00 CET; it does not harm by itself.\n" +
				"The condition itself is gone, but the alarm is latched.\n" +
				"You are told because the alarm calls.\n" +
				"Mains power near salt water can kill: switch off at the breaker before you touch anything wet.\n"},
		{"over, latched", func() { n.End, a.Live = true, alarm.LatchedAcknowledged }, "Over: Harbour house, Lobby Bcc: all: Salt water is leaving the tank",
			"The condition is gone. It called at Mon 2 Mar 09:00 CET.\n" +
				"The alarm is latched: acknowledge and reset it when you know why it came.\n"},
		{"over", func() { a.Live = alarm.Normal }, "Over: Harbour house, Lobby Bcc: all: Salt water is leaving the tank",
			"The condition is gone. It called at Mon 2 Mar 09:00 CET.\n"},
	} {
		row.change()
		m := alarm.Compose(settings, "Harbour house", zone, a, n, t0.Add(time.Hour))
		if m.Subject != row.subject || m.Text != row.text {
			t.Errorf("%s:\n%s\n%swant\n%s\n%s", row.name, m.Subject, m.Text, row.subject, row.text)
		}
	}
}

// TestHarmWords at the edges of what is said.
func TestHarmWords(t *testing.T) {
	for _, row := range []struct {
		left time.Duration
		want string
	}{
		{0, "harm may be happening now"},
		{tick, "harm within the hour"},
		{time.Hour - tick, "harm within the hour"},
		{time.Hour, "harm in about 1 h"},
		{48*time.Hour - tick, "harm in about 48 h"},
		{48 * time.Hour, "harm in about 2 days"},
		{240 * time.Hour, "harm in about 10 days"},
	} {
		a := alarm.Alarm{Sentence: "S", HarmAt: t0.Add(row.left)}
		m := alarm.Compose(&diagram, "", time.UTC, a, alarm.Notice{}, t0)
		if !strings.Contains(m.Text, row.want+".") {
			t.Errorf("%v left: %q, want %q", row.left, m.Text, row.want)
		}
	}
}
