package store_test

import (
	"errors"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"isohaline/internal/store"
)

func TestSitesAndTanks(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		e := s.Edit("Ines", t0.In(berlin))
		harbour := store.Site{ID: "harbour", Name: "Harbour house", Place: "Quay 3"}
		annex := store.Site{ID: "annex", Name: "Annex"}
		must(t, e.CreateSite(ctx, harbour))
		must(t, e.CreateSite(ctx, annex))
		lobby := store.Tank{ID: "lobby", SiteID: "harbour", Name: "Lobby"}
		hall := store.Tank{ID: "hall", SiteID: "harbour", Name: "Hall"}
		lab := store.Tank{ID: "lab", SiteID: "annex", Name: "Lab"}
		for _, tank := range []*store.Tank{&lobby, &hall, &lab} {
			must(t, e.CreateTank(ctx, *tank))
			tank.Created = t0
		}
		harbour.Created, annex.Created = t0, t0
		same(t, "sites by name", []store.Site{annex, harbour}, got(s.Sites(ctx))(t))
		same(t, "tanks by name", []store.Tank{hall, lab, lobby}, got(s.Tanks(ctx, ""))(t))
		same(t, "of a site", []store.Tank{hall, lobby}, got(s.Tanks(ctx, "harbour"))(t))
		same(t, "of none", []store.Tank{}, got(s.Tanks(ctx, "nowhere"))(t))

		harbour.Name, harbour.Archived = "Old harbour", t0.Add(time.Hour)
		must(t, e.UpdateSite(ctx, harbour))
		same(t, "site", harbour, got(s.Site(ctx, "harbour"))(t))
		lobby.Name, lobby.Archived = "Foyer", t0.Add(time.Microsecond)
		must(t, e.UpdateTank(ctx, lobby))
		same(t, "tank", lobby, got(s.Tank(ctx, "lobby"))(t))
		lobby.Archived = time.Time{}
		must(t, e.UpdateTank(ctx, lobby))
		same(t, "tank in use again", lobby, got(s.Tank(ctx, "lobby"))(t))

		_, err := s.Site(ctx, "x")
		wantError(t, err, store.ErrNotFound, `reading site "x"`)
		_, err = s.Tank(ctx, "x")
		wantError(t, err, store.ErrNotFound, `reading tank "x"`)
		wantError(t, e.CreateSite(ctx, annex), store.ErrExists, `create site "annex"`)
		wantError(t, e.CreateTank(ctx, lab), store.ErrExists, `create tank "lab"`)
		wantError(t, e.UpdateSite(ctx, store.Site{ID: "x"}), store.ErrNotFound, `update site "x"`)
		wantError(t, e.UpdateTank(ctx, store.Tank{ID: "x"}), store.ErrNotFound, `update tank "x"`)
		wantError(t, e.CreateTank(ctx, store.Tank{ID: "y", SiteID: "x"}), store.ErrNotFound, "what it belongs to")
	})
}

func TestDescriptions(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		_, err := s.Description(ctx, "lobby", 0)
		wantError(t, err, store.ErrNotFound, `tank "lobby"`)

		text := "name: Lobby\n# a comment, 'quoted' and \"quoted\", ½ ℃\n\ttail \\ "
		ines, jon := s.Edit("Ines", t0), s.Edit("Jon", t0.Add(time.Hour))
		first := got(ines.SaveDescription(ctx, "lobby", text, "survey", 0))(t)
		second := got(jon.SaveDescription(ctx, "lobby", text+"2", "new pump", 1))(t)
		same(t, "first", store.Description{TankID: "lobby", Version: 1, YAML: text, Note: "survey", SavedBy: "Ines", Saved: t0}, first)
		same(t, "newest", second, got(s.Description(ctx, "lobby", 0))(t))
		same(t, "the first again", first, got(s.Description(ctx, "lobby", 1))(t))
		_, err = s.Description(ctx, "lobby", 3)
		wantError(t, err, store.ErrNotFound, "version 3")

		for _, base := range []int64{0, 1, 3} {
			_, err := ines.SaveDescription(ctx, "lobby", "mine", "", base)
			wantError(t, err, store.ErrStale, `save description "lobby"`)
		}
		first.YAML, second.YAML = "", ""
		same(t, "the versions", []store.Description{second, first}, got(s.Descriptions(ctx, "lobby"))(t))
		_, err = ines.SaveDescription(ctx, "nowhere", "x", "", 0)
		wantError(t, err, store.ErrNotFound, "what it belongs to")
	})
}

// TestDescriptionsTogether: of several people who began from the same version
// one wins, and the others are told.
func TestDescriptionsTogether(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		furnish(t, s)
		var wait sync.WaitGroup
		won := make(chan int, 8)
		for i := range 8 {
			wait.Go(func() {
				_, err := s.Edit("Ines", t0).SaveDescription(t.Context(), "lobby", fmt.Sprint(i), "", 0)
				if err == nil {
					won <- i
				} else if !errors.Is(err, store.ErrStale) {
					t.Error(err)
				}
			})
		}
		wait.Wait()
		if len(won) != 1 {
			t.Fatalf("%d won, want 1", len(won))
		}
		if d := got(s.Description(t.Context(), "lobby", 0))(t); d.YAML != fmt.Sprint(<-won) || d.Version != 1 {
			t.Errorf("saved is %+v", d)
		}
	})
}

func TestDevices(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		e := s.Edit("Ines", t0)
		must(t, e.CreateSite(ctx, store.Site{ID: "annex"}))
		meter := store.Device{ID: "meter", SiteID: "annex", Name: "A meter", CredentialHash: "h"}
		must(t, e.CreateDevice(ctx, meter))
		meter.Created = t0
		box := store.Device{ID: "box", SiteID: "harbour", TankID: "lobby", Name: "Box", CredentialHash: "hash", Created: t0}
		same(t, "by name", []store.Device{meter, box}, got(s.Devices(ctx, ""))(t))
		same(t, "of a site", []store.Device{box}, got(s.Devices(ctx, "harbour"))(t))

		must(t, e.SetCredential(ctx, "box", "hash 2"))
		box.Name, box.TankID, box.Revoked, box.CredentialHash = "Old box", "", t0.Add(time.Minute), "not by this"
		must(t, e.UpdateDevice(ctx, box))
		box.CredentialHash = "hash 2"
		same(t, "updated", box, got(s.Device(ctx, "box"))(t))

		seen := t0.Add(time.Hour).In(berlin)
		must(t, s.Seen(ctx, map[string]time.Time{"box": seen, "meter": t0, "unknown": t0}))
		must(t, s.Seen(ctx, map[string]time.Time{"box": seen.Add(-time.Microsecond), "meter": t0.Add(time.Microsecond)}))
		box.FirstSeen, meter.FirstSeen = t0.Add(time.Hour), t0
		box.LastSeen, meter.LastSeen = t0.Add(time.Hour), t0.Add(time.Microsecond)
		same(t, "seen", []store.Device{meter, box}, got(s.Devices(ctx, ""))(t))

		_, err := s.Device(ctx, "x")
		wantError(t, err, store.ErrNotFound, `reading device "x"`)
		wantError(t, e.UpdateDevice(ctx, store.Device{ID: "x"}), store.ErrNotFound, `update device "x"`)
		wantError(t, e.SetCredential(ctx, "x", "h"), store.ErrNotFound, `set credential "x"`)
		wantError(t, e.CreateDevice(ctx, store.Device{ID: "box", SiteID: "annex"}), store.ErrExists, `create device "box"`)
		wantError(t, e.CreateDevice(ctx, store.Device{ID: "y", SiteID: "x"}), store.ErrNotFound, "what it belongs to")
	})
}

// notFinite are what no column of numbers takes.
var notFinite = []float64{math.NaN(), math.Inf(1), math.Inf(-1)}

func TestChannels(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		fresh := got(s.EnsureChannel(ctx, "box", "t1"))(t)
		same(t, "new", store.Channel{ID: fresh.ID, DeviceID: "box", Name: "t1", Factor: 1}, fresh)
		same(t, "known", fresh, got(s.EnsureChannel(ctx, "box", "t1"))(t))

		level, other := got(s.EnsureChannel(ctx, "box", "level"))(t), got(s.EnsureChannel(ctx, "box", "stray"))(t)
		if level.Factor != 1 || level.ID == fresh.ID {
			t.Errorf("a new channel: %+v", level)
		}
		same(t, "of the device", []store.Channel{level, other, fresh}, got(s.Channels(ctx, "box"))(t))

		_, err := s.EnsureChannel(ctx, "nothing", "t1")
		wantError(t, err, store.ErrNotFound, `channel "t1" of device "nothing"`)
	})
}

// TestEnsureChannelTogether: several find the same new channel.
func TestEnsureChannelTogether(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		furnish(t, s)
		var wait sync.WaitGroup
		ids := make([]int64, 8)
		for i := range ids {
			wait.Go(func() {
				c, err := s.EnsureChannel(t.Context(), "box", "level")
				if ids[i] = c.ID; err != nil {
					t.Error(err)
				}
			})
		}
		wait.Wait()
		for _, id := range ids {
			if id != ids[0] || id == 0 {
				t.Fatalf("IDs %v", ids)
			}
		}
	})
}

// TestRefusals: the newest two hundred of each device are kept.
func TestRefusals(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		must(t, s.Edit("Ines", t0).CreateDevice(ctx, store.Device{ID: "other", SiteID: "harbour"}))
		must(t, s.Refuse(ctx, store.Refusal{DeviceID: "other", At: t0, Reason: "r", Detail: "d"}))
		for i := range 203 {
			must(t, s.Refuse(ctx, store.Refusal{DeviceID: "box", At: t0.Add(time.Duration(i) * time.Second), Reason: "not SenML", Detail: fmt.Sprint(i)}))
		}
		list := got(s.Refusals(ctx, "box"))(t)
		if len(list) != 200 || list[0].Detail != "202" || list[199].Detail != "3" || !list[0].At.Equal(t0.Add(202*time.Second)) {
			t.Errorf("%d refusals, from %+v to %+v", len(list), list[0], list[len(list)-1])
		}
		if n := len(got(s.Refusals(ctx, "other"))(t)); n != 1 {
			t.Errorf("the other device has %d", n)
		}
		// The same in a row is one, whose times count.
		again := store.Refusal{DeviceID: "other", At: t0.Add(time.Hour), Reason: "r", Detail: "d", Topic: "t", Times: 3}
		must(t, s.Refuse(ctx, again, again))
		again.At = t0.Add(2 * time.Hour)
		again.Times = 1
		must(t, s.Refuse(ctx, again))
		list = got(s.Refusals(ctx, "other"))(t)
		if len(list) != 2 || list[0].Times != 7 || !list[0].At.Equal(again.At) || list[0].Topic != "t" || list[1].Times != 1 || list[1].Topic != "" {
			t.Errorf("in a row: %+v", list)
		}
		if n := len(got(s.Refusals(ctx, ""))(t)); n != 202 {
			t.Errorf("of every device there are %d", n)
		}
		wantError(t, s.Refuse(ctx, store.Refusal{DeviceID: "x", At: t0}), store.ErrNotFound, `refusal of device "x"`)
	})
}
