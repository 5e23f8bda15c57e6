package hublife

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/store"
)

// openStore is the real store with what there is in a house.
func openStore(t testing.TB, h house, at time.Time) *store.Store {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	s, err := store.Open(ctx, filepath.Join(t.TempDir(), "hub.db"), store.Kill)
	must(err)
	t.Cleanup(func() { must(s.Close()) })
	e := s.Edit("somebody", at)
	for _, site := range h.sites {
		must(e.CreateSite(ctx, store.Site{ID: site.id, Name: site.id}))
		must(e.Set(ctx, store.PlanSetting(site.id), site.plan))
	}
	for i := range h.tanks {
		tank := &h.tanks[i]
		siteID := h.sites[tank.site].id
		must(e.CreateTank(ctx, store.Tank{ID: tank.id, SiteID: siteID, Name: tank.id}))
		text := description
		if tank.bare {
			text = unreadable
		}
		_, err := e.SaveDescription(ctx, tank.id, text, "", 0)
		must(err)
		data, err := fresh(tank, siteID, at)
		must(err)
		must(s.Commit(ctx, store.Commit{Tanks: []store.TankStep{{TankID: tank.id, Saved: &store.SavedTank{Data: data}}}}))
	}
	for _, d := range h.devices {
		if d.unknown {
			continue
		}
		must(e.CreateDevice(ctx, store.Device{ID: d.id, SiteID: h.sites[d.site].id, TankID: h.tanks[d.tank].id, Name: d.id, CredentialHash: "hash"}))
	}
	return s
}

// twoTanks is a house with a little of everything.
func twoTanks() house {
	plan := onePerson
	plan.TellEnd = true
	return house{sites: []site{{"site-0", plan}}, tanks: []tank{{id: "tank-0"}, {id: "tank-1", bare: true}},
		devices: []device{{id: "device-0"}, {id: "device-1"}, {id: "device-2", tank: 1}, {id: "device-3", tank: none, unknown: true}}}
}

// TestContract: Memory keeps, refuses and gives back as the real store does, over
// the same random commits.
func TestContract(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		ctx := t.Context()
		h := twoTanks()
		real := openStore(t, h, began)
		memory, err := h.furnish(began)
		if err != nil {
			t.Fatal(err)
		}
		small := func(name string) int { return rapid.IntRange(0, 3).Draw(rt, name) }
		flip := func(name string) bool { return rapid.Bool().Draw(rt, name) }
		at := func(name string) time.Time { return began.Add(time.Duration(small(name)) * time.Hour) }
		next := map[string]int64{}
		for range rapid.IntRange(1, 12).Draw(rt, "commits") {
			var c store.Commit
			if flip("log") {
				sequence := uint64(small("sequence"))
				c.Log = &store.LogPosition{Log: fmt.Sprint("log", small("which")%2), Sequence: sequence, Floor: min(sequence, uint64(small("floor")))}
			}
			for range small("readings") {
				device := h.devices[small("device")].id
				mine, err1 := memory.EnsureChannel(ctx, device, "floor")
				theirs, err2 := real.EnsureChannel(ctx, device, "floor")
				if (err1 == nil) != (err2 == nil) || errors.Is(err1, store.ErrNotFound) != errors.Is(err2, store.ErrNotFound) || mine.ID != theirs.ID {
					rt.Fatalf("channel %+v, %v; the store's %+v, %v", mine, err1, theirs, err2)
				}
				if err1 == nil {
					c.Readings = append(c.Readings, store.Reading{Channel: mine.ID, At: at("at"), Value: float64(small("value"))})
				}
			}
			for i := range h.tanks {
				if !flip("tank") {
					continue
				}
				step := store.TankStep{TankID: h.tanks[i].id}
				for range small("findings") {
					f := account.Finding{Code: account.Codes()[small("code")], Found: at("found")}
					if flip("ended") {
						f.Ended = at("end").Add(time.Hour)
					}
					step.Findings = append(step.Findings, f)
				}
				for n := range small("beliefs") {
					step.Beliefs = append(step.Beliefs, store.Belief{At: began.Add(time.Duration(n) * time.Hour), SalinityPSU: float64(small("salinity"))})
				}
				if small("rerun") == 0 {
					step.Since = at("since")
				}
				if flip("saved") {
					step.Saved = &store.SavedTank{Log: "log0", Sequence: uint64(small("seen")), Data: fmt.Appendf(nil, "value %d\n\x00'", small("data"))}
				}
				c.Tanks = append(c.Tanks, step)
			}
			if flip("site") {
				position := next["site-0"] + int64(small("position")) - 1
				c.Sites = append(c.Sites, store.AlarmStep{SiteID: "site-0", Position: position,
					Site: alarm.Site{Alarms: []alarm.Alarm{{Key: alarm.Key{Code: account.PumpWeak, Tank: "tank-0"}, Called: at("called"), Live: alarm.State(small("state"))}}}})
			}
			if small("hand") == 0 {
				c.Hand = &store.HandEntry{HandReading: store.HandReading{ID: fmt.Sprint(small("hand id")), TankID: "tank-0", At: at("read"), Quantity: "salinity", Value: 35}, By: "Ines", At: at("entered")}
			}
			known1, err1 := memory.Committed(ctx, c)
			known2, err2 := real.Committed(ctx, c)
			if known1 != known2 || err1 != nil || err2 != nil {
				rt.Fatalf("committed %v, %v; the store says %v, %v", known1, err1, known2, err2)
			}
			err1, err2 = memory.Commit(ctx, c), real.Commit(ctx, c)
			for _, kind := range []error{store.ErrStale, store.ErrExists} {
				if (err1 == nil) != (err2 == nil) || errors.Is(err1, kind) != errors.Is(err2, kind) {
					rt.Fatalf("commit %v; the store says %v", err1, err2)
				}
			}
			if err1 == nil && len(c.Sites) > 0 {
				next["site-0"] = c.Sites[0].Position
			}
			same(rt, t, memory, real, &h)
		}
	})
}

// same fails where the two do not have the same.
func same(rt *rapid.T, t *testing.T, memory, real Books, h *house) {
	ctx := t.Context()
	asked := func(b Books) string {
		saved, err := b.Load(ctx)
		if err != nil {
			rt.Fatal(err)
		}
		for i := range saved.Sites {
			saved.Sites[i].Created = time.Time{}
		}
		for i := range saved.Tanks {
			saved.Tanks[i].Created = time.Time{}
		}
		logs := map[string]store.LogPosition{} // in no order
		for _, log := range saved.Logs {
			logs[log.Log] = log
		}
		saved.Logs = nil
		all := []any{saved, logs}
		for _, s := range h.sites {
			step, err := b.LoadAlarms(ctx, s.id)
			if err != nil {
				rt.Fatal(err)
			}
			all = append(all, step)
		}
		for _, tank := range h.tanks {
			open, err := openFindings(b, tank.id)
			if err != nil {
				rt.Fatal(err)
			}
			all = append(all, open)
		}
		for channel := range int64(len(h.devices)) {
			err := b.Readings(ctx, channel+1, time.Unix(0, 0), began.AddDate(1, 0, 0), func(r store.Reading) error {
				all = append(all, r)
				return nil
			})
			if err != nil {
				rt.Fatal(err)
			}
		}
		text, err := json.MarshalIndent(all, "", " ")
		if err != nil {
			rt.Fatal(err)
		}
		return string(text)
	}
	if d := cmp.Diff(asked(real), asked(memory)); d != "" {
		rt.Fatalf("in the store (-) and in memory (+) there is\n%s", d)
	}
}
