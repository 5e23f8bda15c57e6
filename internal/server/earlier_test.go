package server

import (
	"net/http"
	"os/exec"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/alarm"
	"isohaline/internal/server/api"
	"isohaline/internal/store"
)

// TestAnEarlierFolder opens what an earlier version left behind, as
// testdata/earlier/README.md says: everything is there, alarms and notices are as they
// were, and what the log had and nobody had taken in is taken in, once.
func TestAnEarlierFolder(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	if out, err := exec.Command("tar", "-C", dir, "-xzf", "testdata/earlier/folder.tar.gz").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	left := time.Date(2026, 12, 1, 0, 36, 30, 0, time.UTC)
	const head, otherHead, taken = "uwemnxwv", "3lpanato", 296 // readings of the log and of a table
	day := func(n int) time.Time { return left.AddDate(0, 0, n) }
	said := func(h *house) (calls, notices int) {
		t.Helper()
		for _, site := range []string{"here", "elsewhere"} {
			list, err := h.Store.Transitions(ctx, site, day(-30), day(30))
			if err != nil {
				t.Fatal(err)
			}
			for _, tr := range list {
				if tr.Key.Code == alarm.FloorWet || tr.Key.Code == "ceiling-wet" {
					calls++
				}
			}
			told, err := h.Store.Notices(ctx, site, day(-30), day(30))
			if err != nil {
				t.Fatal(err)
			}
			notices += len(told)
		}
		return calls, notices
	}
	looks := func(t *testing.T, h *house, fresh int64) {
		newest, err := h.readings.Head(ctx)
		if err != nil {
			t.Fatal(err)
		}
		eventually(t, "all of the log is taken in", func() bool { return h.Monitor.Taken() >= newest })
		if n := h.Monitor.Counters().Observations; n != fresh {
			t.Errorf("%d readings were taken in, not the %d that nobody had taken in before", n, fresh)
		}
		total := 0
		for _, tank := range []string{"reef", "other"} {
			for _, name := range []string{"heartbeat", "level", "temperature", "ceiling", "floor", "latched"} {
				if err := h.Monitor.Readings(ctx, tank, name, day(-30), day(30), func(store.Reading) error { total++; return nil }); err != nil {
					t.Fatal(err)
				}
			}
		}
		if total != taken+2 {
			t.Errorf("there are %d readings, want %d", total, taken+2)
		}

		states := map[string]string{}
		for _, a := range h.Monitor.Alarms() {
			states[a.Tank+" "+string(a.Code)] = a.State().String() + " " + a.AckedBy
		}
		for key, want := range map[string]string{"reef floor-wet": "acknowledged olga", "other floor-wet": "latched unacknowledged ",
			"reef ceiling-wet": "unacknowledged ", "reef guard-latched": "suppressed by design "} {
			if states[key] != want {
				t.Errorf("the alarm %s is %q, want %q", key, states[key], want)
			}
		}
		h.pass(2 * time.Minute)
		if calls, notices := said(h); calls != 5 || notices != 1 {
			t.Errorf("alarms turned %d times, want 5 as before; %d notices, want 1", calls, notices)
		}
		v, _ := h.Monitor.Tank("reef")
		if v.Lasts["level"].Value != 0.19 || v.Lasts["latched"].Value != 1 || !(v.Estimate.SalinityPSU > 30 && v.Estimate.SalinityPSU < 40) {
			t.Errorf("last was said %+v, the salinity is %v", v.Lasts, v.Estimate.SalinityPSU)
		}
		var codes []string
		for _, f := range v.Findings {
			codes = append(codes, string(f.Code))
		}
		slices.Sort(codes)
		if d := cmp.Diff([]string{"ceiling-wet", "floor-wet", "guard-latched"}, codes); d != "" {
			t.Errorf("open findings (-want +got):\n%s", d)
		}
		list, err := h.Store.Findings(ctx, "reef", day(-30), day(30))
		if err != nil {
			t.Fatal(err)
		}
		wet := slices.DeleteFunc(list, func(f store.Finding) bool { return f.Code != alarm.FloorWet })
		if len(wet) != 1 || !wet[0].Ended.IsZero() {
			t.Errorf("the floor is wet by %+v, want one finding", wet)
		}
	}
	ahead := time.Until(left)
	t.Run("first", func(t *testing.T) {
		h := openAhead(t, dir, ahead)
		looks(t, h, 2)
		olga := h.as("olga")
		var notices struct{ Notices []api.Notice }
		olga.want(http.StatusOK, "GET", "/api/alarms/here:reef::floor-wet/notices", nil, &notices)
		if len(notices.Notices) != 1 || notices.Notices[0].Outcome != "sent" || len(notices.Notices[0].Attempts) != 1 {
			t.Errorf("of the wet floor people were told %+v", notices)
		}
		var page api.PlanPage
		olga.want(http.StatusOK, "GET", "/api/sites/here/plan", nil, &page)
		if len(page.Plan.Critical.Rungs) != 1 || page.Plan.Zone != "Europe/Berlin" || !cmp.Equal(page.Webhooks, []string{"desk"}) {
			t.Errorf("the plan is %+v", page)
		}
		for _, id := range []string{head, otherHead} {
			if d, ok := h.Devices.Device(id); !ok || d.CredentialHash == "" {
				t.Errorf("the device %s is %+v", id, d)
			}
		}
		if n, edges := len(h.Devices.All()), len(h.Devices.EdgeKeys()); n != 4 || edges != 1 {
			t.Errorf("there are %d devices, want 4, and %d edges", n, edges)
		}
		hand, err := h.Store.HandReadings(ctx, "reef", day(-30), day(30))
		if err != nil {
			t.Fatal(err)
		}
		changes := map[float64]float64{}
		for _, r := range hand {
			if r.Quantity == "water-change" {
				changes[r.Value] = r.SalinityPSU
			}
		}
		if len(hand) != 3 || !cmp.Equal(changes, map[float64]float64{20: 35, 5: 0}) {
			t.Errorf("by hand there are %+v", hand)
		}
	})
	t.Run("once more", func(t *testing.T) {
		h := openAhead(t, dir, ahead+5*time.Minute)
		looks(t, h, 0)
		olga := h.as("olga")
		olga.want(http.StatusNoContent, "PUT", "/api/tanks/other", keep("Other reef", true), nil)
		if _, watched := h.Monitor.Tank("other"); watched {
			t.Error("an archived tank is watched")
		}
		olga.want(http.StatusNoContent, "PUT", "/api/tanks/other", keep("Other reef", false), nil)
	})
}

// TestAnEarlierFolderKilled: the position that an earlier version kept in its log is
// not lost where the process ends before it has taken anything in.
func TestAnEarlierFolderKilled(t *testing.T) {
	dir := t.TempDir()
	if out, err := exec.Command("tar", "-C", dir, "-xzf", "testdata/earlier/folder.tar.gz").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for range 2 { // opened, and gone before it runs
		s, err := Open(t.Context(), Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: cheap})
		if err != nil {
			t.Fatal(err)
		}
		head, err := s.readings.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Monitor.After(); got == 0 || got != head-1 {
			t.Errorf("the log is read after %d, want after %d: all but its last frame was taken in before", got, head-1)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
