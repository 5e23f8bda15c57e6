package store_test

import (
	"slices"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/store"
)

// TestReplaceAccount: an account that worked through the past again replaces what
// was found since then, and ends what was open before; other tanks stay.
func TestReplaceAccount(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		must(t, s.Edit("Ines", t0).CreateTank(ctx, store.Tank{ID: "hall", SiteID: "harbour"}))
		at := func(d int) time.Time { return t0.Add(time.Duration(d) * day) }
		over := account.Finding{Code: account.PumpWeak, Found: at(-9), Ended: at(-8)}
		open := account.Finding{Code: account.WatchFouled, Found: at(-7)}
		wrong := account.Finding{Code: account.TankLeak, Found: at(-1)}
		for _, f := range []account.Finding{over, open, wrong} {
			found(t, s, "lobby", f)
		}
		found(t, s, "hall", wrong)
		right := account.Finding{Code: account.TankLeak, Found: at(-3)}
		must(t, s.Commit(ctx, store.Commit{Tanks: []store.TankStep{{TankID: "lobby", Findings: []account.Finding{right}, Since: at(-5)}}}))
		open.Ended = at(-5)
		in := func(f account.Finding) store.Finding { return store.Finding{TankID: "lobby", Finding: f} }
		same(t, "findings", []store.Finding{in(right), in(open), in(over)}, got(s.Findings(ctx, "lobby", at(-100), at(100)))(t))
		same(t, "of the other tank", []store.Finding{{TankID: "hall", Finding: wrong}}, openFindings(t, s, "hall"))
	})
}

// openFindings are a tank's findings that go on.
func openFindings(t *testing.T, s *store.Store, tank string) []store.Finding {
	t.Helper()
	list := got(s.Findings(t.Context(), tank, t0.Add(-1000*day), t0.Add(1000*day)))(t)
	return slices.DeleteFunc(list, func(f store.Finding) bool { return !f.Ended.IsZero() })
}

func TestFindings(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		must(t, s.Edit("Ines", t0).CreateTank(ctx, store.Tank{ID: "hall", SiteID: "harbour"}))
		leak := account.Finding{
			Code: account.TankLeak, Since: t0.Add(-time.Hour), Found: t0.Add(time.Nanosecond), Confidence: 0.97, Class: 3, HarmIn: 36 * time.Hour,
			Amount: 2.1, AmountSD: 0.3, AmountUnit: "L/d", Sentence: "2.1 L a day more than the air explains.",
			Evidence: []account.Evidence{{Name: "litres", Value: 5, Expected: 3, SD: 0.4, Unit: "L", At: t0}},
			RuledOut: []account.RuledOut{{Code: account.EvaporationChanged, Why: "salinity falls"}},
		}
		weak := account.Finding{Code: account.PumpWeak, Found: t0.Add(time.Hour)}
		old := account.Finding{Code: account.TankLeak, Found: t0.Add(-100 * day), Ended: t0.Add(-90 * day)}
		found(t, s, "lobby", leak)
		found(t, s, "hall", weak)
		found(t, s, "lobby", old)
		leak.Confidence = 0.99
		found(t, s, "lobby", leak)

		in := func(tank string, f account.Finding) store.Finding { return store.Finding{TankID: tank, Finding: f} }
		same(t, "open at another tank", []store.Finding{in("hall", weak)}, openFindings(t, s, "hall"))
		same(t, "open at a tank", []store.Finding{in("lobby", leak)}, openFindings(t, s, "lobby"))
		for _, row := range []struct {
			name     string
			from, to time.Time
			want     []store.Finding
		}{
			{"all", t0.Add(-1000 * day), t0.Add(day), []store.Finding{in("lobby", leak), in("lobby", old)}},
			{"since the old one's end", old.Ended, t0.Add(day), []store.Finding{in("lobby", leak), in("lobby", old)}},
			{"after the old one's end", old.Ended.Add(time.Microsecond), t0.Add(day), []store.Finding{in("lobby", leak)}},
			{"before the leak", t0.Add(-1000 * day), t0, []store.Finding{in("lobby", old)}},
			{"between", t0.Add(-80 * day), t0.Add(-70 * day), []store.Finding{}},
			{"long after", t0.Add(1000 * day), t0.Add(1001 * day), []store.Finding{in("lobby", leak)}},
		} {
			same(t, row.name, row.want, got(s.Findings(ctx, "lobby", row.from, row.to))(t))
		}
		leak.Ended = t0.Add(day)
		found(t, s, "lobby", leak)
		same(t, "ended", []store.Finding{}, openFindings(t, s, "lobby"))
		wantError(t, s.Commit(ctx, store.Commit{Tanks: []store.TankStep{{TankID: "x", Findings: []account.Finding{leak}}}}), store.ErrNotFound, `tank "x": finding tank-leak`)
	})
}

// TestAlarms plays a leak from the first call to its end through the store, as a
// process does that is replaced after every step.
func TestAlarms(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		settings := &alarm.Settings{Kinds: alarm.Kinds()}
		plan := &alarm.Plan{Low: alarm.Route{Rungs: []alarm.Rung{{Contacts: []alarm.Contact{{Person: "Ines", Channel: alarm.Mail, Address: "ines@example.org"}}}}}, TellEnd: true}
		leak := alarm.Key{Code: account.TankLeak, Tank: "lobby"}
		step := func(e alarm.Event, at time.Time) {
			t.Helper()
			step := got(s.LoadAlarms(ctx, "harbour"))(t)
			var d alarm.Decision
			step.Site, step.Said = alarm.Step(settings, step.Site, e, at)
			step.Record, d = alarm.Decide(plan, step.Site, step.Record, at)
			step.Changed = d.Changed
			step.Position++
			save(t, s, step)
			for _, n := range d.Send { // sent, and reported
				record, sent, _ := step.Record.Report(n.ID, at, "", false)
				step.Record, step.Said, step.Changed = record, nil, []alarm.Notice{sent}
				step.Position++
				save(t, s, step)
			}
		}
		same(t, "none yet", store.AlarmStep{SiteID: "harbour"}, got(s.LoadAlarms(ctx, "harbour"))(t))
		same(t, "none listed", []store.SiteAlarm{}, got(s.Alarms(ctx, ""))(t))

		step(alarm.Event{Do: alarm.Raise, Key: leak, Class: 2, HarmIn: 1000 * time.Hour, Sentence: "It leaks."}, t0)
		step(alarm.Event{Do: alarm.Raise, Key: alarm.Key{Code: account.FreshLeak, Tank: "quay"}, Class: 4, HarmIn: 0}, t0.Add(time.Second))
		list := got(s.Alarms(ctx, ""))(t)
		if len(list) != 2 || list[0].Tank != "quay" || list[1].SiteID != "harbour" || list[1].Sentence != "It leaks." || list[1].State() != alarm.Unacknowledged {
			t.Errorf("alarms, the most urgent first: %+v", list)
		}
		step(alarm.Event{Do: alarm.Acknowledge, Key: leak, By: "Jon"}, t0.Add(time.Hour))
		step(alarm.Event{Do: alarm.Clear, Key: leak}, t0.Add(2*time.Hour))
		step(alarm.Event{}, t0.Add(3*time.Hour))
		if list := got(s.Alarms(ctx, "harbour"))(t); len(list) != 1 || list[0].Tank != "quay" {
			t.Errorf("after the leak: %+v", list)
		}
		same(t, "elsewhere", []store.SiteAlarm{}, got(s.Alarms(ctx, "annex"))(t))

		var told []string
		for _, tr := range got(s.Transitions(ctx, "harbour", t0, t0.Add(day)))(t) {
			told = append(told, tr.Key.Tank+" "+tr.To.String()+" "+tr.By)
		}
		same(t, "transitions", []string{"lobby unacknowledged ", "quay unacknowledged ", "lobby acknowledged Jon", "lobby normal "}, told)
		if late := got(s.Transitions(ctx, "harbour", t0.Add(time.Second), t0.Add(3*time.Hour)))(t); len(late) != 2 {
			t.Errorf("transitions from one time and before another: %+v", late)
		}
		notices := got(s.Notices(ctx, "harbour", t0, t0.Add(day)))(t)
		var sent []string
		for _, n := range notices {
			sent = append(sent, n.Alarm.Tank+" "+string(n.Outcome)+" "+string(n.Reason))
		}
		same(t, "notices", []string{"lobby sent the alarm calls", "quay sent the alarm calls", "lobby sent the condition is gone"}, sent)
		if len(notices[0].Attempts) != 1 || !notices[0].Attempts[0].At.Equal(t0) {
			t.Errorf("the record of attempts: %+v", notices[0])
		}

		// Another process that is behind changes nothing.
		behind := got(s.LoadAlarms(ctx, "harbour"))(t)
		behind.Site = alarm.Site{}
		behind.Said = []alarm.Transition{{At: t0}}
		wantError(t, s.Commit(ctx, store.Commit{Sites: []store.AlarmStep{behind}}), store.ErrStale, `alarms of site "harbour"`)
		if n := len(got(s.Alarms(ctx, "harbour"))(t)) + len(got(s.Transitions(ctx, "harbour", t0, t0.Add(day)))(t)); n != 5 {
			t.Errorf("a stale step left something: %d rows, want 5", n)
		}
		behind.SiteID, behind.Position = "nowhere", 1
		wantError(t, s.Commit(ctx, store.Commit{Sites: []store.AlarmStep{behind}}), store.ErrNotFound, "what changed")
	})
}

func TestHandReadings(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		e := s.Edit("Ines", t0)
		first := store.HandReading{ID: "h1", TankID: "lobby", At: t0.In(berlin), Quantity: "salinity", Value: 35.1, Unit: "PSU", Instrument: "refractometer 2", Note: "calibrated"}
		second := store.HandReading{ID: "h2", TankID: "lobby", At: t0.Add(time.Hour), Quantity: "alkalinity", Value: 8, Unit: "dKH", SalinityPSU: 34.987654321}
		must(t, e.AddHandReading(ctx, second))
		must(t, e.AddHandReading(ctx, first))
		first.ReadBy, second.ReadBy, first.At = "Ines", "Ines", t0
		same(t, "all", []store.HandReading{first, second}, got(s.HandReadings(ctx, "lobby", t0, t0.Add(day)))(t))
		same(t, "before the second", []store.HandReading{first}, got(s.HandReadings(ctx, "lobby", t0, t0.Add(time.Hour)))(t))
		wantError(t, e.AddHandReading(ctx, second), store.ErrExists, "adding hand reading")
		wantError(t, e.AddHandReading(ctx, store.HandReading{ID: "h3", TankID: "x", At: t0}), store.ErrNotFound, "what it belongs to")
		for _, bad := range notFinite {
			if err := e.AddHandReading(ctx, store.HandReading{ID: "h3", TankID: "lobby", At: t0, SalinityPSU: bad}); !contains(err, "finite") {
				t.Errorf("salinity %v: %v", bad, err)
			}
			if err := e.AddHandReading(ctx, store.HandReading{ID: "h3", TankID: "lobby", At: t0, Value: bad}); !contains(err, "finite") {
				t.Errorf("value %v: %v", bad, err)
			}
		}
	})
}
