package store_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/store"
)

// everything is a commit that writes into every table that a commit can write into.
func everything(channel int64, n int) store.Commit {
	return store.Commit{
		Log:      &store.LogPosition{Log: "a log", Sequence: uint64(10 * n), Floor: uint64(9 * n)},
		Readings: []store.Reading{{Channel: channel, At: t0.AddDate(0, 0, n), Value: 1}},
		Tanks: []store.TankStep{{TankID: "lobby", Beliefs: []store.Belief{beliefAt(n)}, Findings: []account.Finding{{Code: account.PumpWeak, Found: t0.AddDate(0, 0, n)}},
			Saved: &store.SavedTank{Log: "a log", Sequence: uint64(10 * n), Data: fmt.Appendf(nil, "value %d\n\x00\xff'", n)}}},
		Sites: []store.AlarmStep{{SiteID: "harbour", Position: int64(n),
			Site:    alarm.Site{Alarms: []alarm.Alarm{{Key: alarm.Key{Code: account.PumpWeak, Tank: fmt.Sprint("lobby ", n)}}}},
			Said:    []alarm.Transition{{At: t0.AddDate(0, 0, n)}},
			Changed: []alarm.Notice{{ID: fmt.Sprint("notice ", n), Decided: t0.AddDate(0, 0, n)}}}},
		Hand: &store.HandEntry{HandReading: store.HandReading{ID: fmt.Sprint("hand ", n), TankID: "lobby", At: t0, Quantity: "salinity", Value: 35}, By: "Ines", At: t0},
	}
}

// committed are the tables that a commit can write into.
var committed = []string{"readings", "rollup_minute", "rollup_hour", "rollup_day", "beliefs", "findings", "checkpoints", "alarms", "transitions", "notices", "hand_readings", "audit"}

// contents is a count of every row of those tables with a sum of what is in them.
func contents(t *testing.T, s *store.Store) string {
	t.Helper()
	var out []string
	for _, table := range committed {
		n := got(store.Ask(t.Context(), s, "SELECT count(*) FROM "+table))(t)
		out = append(out, table+" "+n)
	}
	out = append(out, got(store.Ask(t.Context(), s, "SELECT max(position) FROM checkpoints"))(t))
	return strings.Join(out, ", ")
}

// TestCommitWholeOrNot: a database that refuses one of the writes of a commit, each
// in turn, has nothing of it afterwards; the same commit again is then kept.
func TestCommitWholeOrNot(t *testing.T) {
	for i, table := range committed {
		for _, on := range []string{"INSERT", "UPDATE"} {
			t.Run(table+" "+on, func(t *testing.T) {
				s := openSQLite(t, store.Kill)
				channel := makeChannels(t, s, 1)[0]
				must(t, s.Commit(t.Context(), everything(channel, 1)))
				before := contents(t, s)
				trigger := fmt.Sprintf("CREATE TRIGGER refuse BEFORE %s ON %s BEGIN SELECT RAISE(ABORT, 'the disk is full'); END", on, table)
				must(t, store.Exec(t.Context(), s, trigger))
				second := everything(channel, 2)
				err := s.Commit(t.Context(), second)
				if err == nil && on == "INSERT" {
					t.Fatalf("nothing writes into %s: take it out of the %d tables", table, i)
				}
				if err == nil {
					return // it is only ever added to
				}
				if after := contents(t, s); after != before {
					t.Errorf("a refused commit left something:\n%s\n%s", before, after)
				}
				if kept := got(s.Committed(t.Context(), second))(t); kept {
					t.Error("a refused commit is said to be kept")
				}
				must(t, store.Exec(t.Context(), s, "DROP TRIGGER refuse"))
				must(t, s.Commit(t.Context(), second))
			})
		}
	}
}

// TestCommitOnce: a commit that was kept is known, and is not kept again.
func TestCommitOnce(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		channel := makeChannels(t, s, 1)[0]
		first, second := everything(channel, 1), everything(channel, 2)
		if got(s.Committed(ctx, first))(t) {
			t.Error("it is kept before it was")
		}
		must(t, s.Commit(ctx, first))
		if !got(s.Committed(ctx, first))(t) || got(s.Committed(ctx, second))(t) {
			t.Error("what is kept is not told from what is not")
		}
		before := contents(t, s)
		wantError(t, s.Commit(ctx, first), store.ErrStale, "the position in the log")
		onlySite := store.Commit{Sites: first.Sites}
		wantError(t, s.Commit(ctx, onlySite), store.ErrStale, `alarms of site "harbour"`)
		ahead := store.Commit{Sites: []store.AlarmStep{{SiteID: "harbour", Position: 3}}}
		wantError(t, s.Commit(ctx, ahead), store.ErrStale, `alarms of site "harbour"`)
		if after := contents(t, s); after != before {
			t.Errorf("a repeated commit left something:\n%s\n%s", before, after)
		}
		must(t, s.Commit(ctx, second))
		must(t, s.Commit(ctx, store.Commit{Log: &store.LogPosition{Log: "a log", Sequence: 20, Floor: 20}})) // only the floor
	})
}

// TestLoad: what was kept is what live tanks are taken up from; what is archived is
// left out.
func TestLoad(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		channel := makeChannels(t, s, 1)[0]
		e := s.Edit("Ines", t0)
		for _, yaml := range []string{"one", "two"} {
			base := int64(len(got(s.Descriptions(ctx, "lobby"))(t)))
			got(e.SaveDescription(ctx, "lobby", yaml, "", base))(t)
		}
		must(t, e.Set(ctx, store.PlanSetting("harbour"), map[string]int{"a": 1}))
		must(t, e.CreateSite(ctx, store.Site{ID: "gone", Name: "Gone"}))
		must(t, e.UpdateSite(ctx, store.Site{ID: "gone", Name: "Gone", Archived: t0}))
		must(t, e.CreateTank(ctx, store.Tank{ID: "with it", SiteID: "gone"}))
		must(t, e.CreateTank(ctx, store.Tank{ID: "new", SiteID: "harbour", Name: "New"}))
		c := everything(channel, 1)
		must(t, s.Commit(ctx, c))
		load := got(s.Load(ctx))(t)
		if !reflect.DeepEqual(load.Logs, []store.LogPosition{*c.Log}) {
			t.Errorf("positions %+v", load.Logs)
		}
		if len(load.Sites) != 1 || load.Sites[0].ID != "harbour" || string(load.Sites[0].Plan) != `{"a":1}` || load.Sites[0].Alarms.Position != 1 ||
			len(load.Sites[0].Alarms.Site.Alarms) != 1 {
			t.Errorf("sites %+v", load.Sites)
		}
		if len(load.Tanks) != 2 || load.Tanks[0].ID != "lobby" || load.Tanks[0].Description != "two" || load.Tanks[1].Saved != nil {
			t.Fatalf("tanks %+v", load.Tanks)
		}
		same(t, "what is known of the tank", c.Tanks[0].Saved, load.Tanks[0].Saved)
	})
}
