package verify

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/plant"
	"isohaline/internal/units"
)

// TestTryIsTheCheck: a try does what the check did, for every single fault and
// every pair, in the season that the check found worst.
func TestTryIsTheCheck(t *testing.T) {
	s := example(t, "window-nano")
	r, err := Check(t.Context(), s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	trial, err := r.Trial()
	if err != nil {
		t.Fatal(err)
	}
	seasons := map[string]int{}
	for i, season := range s.Room.Seasons {
		seasons[season.Name] = i
	}
	rows := append(append([]Row{}, r.Singles...), r.Pairs...)
	for _, want := range rows {
		got, err := trial.Try(seasons[want.Season], want.Faults)
		if err != nil {
			t.Fatal(err)
		}
		if got.Class != want.Class || got.FoundAfter != want.FoundAfter || got.Sentence != want.Sentence ||
			got.Outcome.FloorM3 != want.Outcome.FloorM3 || got.Outcome.LowPSU != want.Outcome.LowPSU {
			t.Errorf("%s: class %d, %q; the check had %d, %q", want.ID(), got.Class, got.Sentence, want.Class, want.Sentence)
		}
	}
}

// TestInTurn: what begins later does its harm later, and by no more than the
// twin's time to settle; a fault after somebody came does nothing.
func TestInTurn(t *testing.T) {
	s := example(t, "window-nano")
	trial, err := (&Report{Tank: s}).Trial()
	if err != nil {
		t.Fatal(err)
	}
	pair := []plant.Fault{faultByID(t, "relay-welded"), faultByID(t, "tube-out")}
	try := func(lag time.Duration) Row {
		row, err := trial.InTurn(0, pair, []time.Duration{0, lag})
		if err != nil {
			t.Fatal(err)
		}
		return row
	}
	if at := try(0); at.Class != plant.Danger {
		t.Errorf("together: class %d, want %d", at.Class, plant.Danger)
	}
	if hour := try(time.Hour); hour.Class != plant.Danger || hour.HarmAfter < time.Hour {
		t.Errorf("an hour later: class %d after %v", hour.Class, hour.HarmAfter)
	}
	alone, err := trial.Try(0, pair[:1])
	if err != nil {
		t.Fatal(err)
	}
	if late := try(alone.FoundAfter + time.Hour); late.Class != alone.Class {
		t.Errorf("after somebody came: class %d, want %d as for the first alone", late.Class, alone.Class)
	}
}

// TestBegunBy: an interruption that another fault overtakes is not begun again.
func TestBegunBy(t *testing.T) {
	s := example(t, "reading-room")
	trial, err := (&Report{Tank: s}).Trial()
	if err != nil {
		t.Fatal(err)
	}
	faults := []plant.Fault{faultByID(t, "power-cut-day"), faultByID(t, "return-cycling")}
	after := []time.Duration{0, 20 * time.Hour}
	for _, row := range []struct {
		at          time.Duration
		power, back plant.Pulse
	}{
		{0, plant.Pulse{On: day}, plant.Pulse{}},
		{20 * time.Hour, plant.Pulse{On: 4 * time.Hour}, plant.Pulse{On: 10 * time.Minute, Period: 2 * time.Hour}},
		{30 * time.Hour, plant.Pulse{}, plant.Pulse{On: 10 * time.Minute, Period: 2 * time.Hour}},
	} {
		c := begunBy(trial.b.twins[0], faults, after, row.at)
		if diff := cmp.Diff([]plant.Pulse{row.power, row.back}, []plant.Pulse{c.PowerOff, c.ReturnOff}); diff != "" {
			t.Errorf("at %v: %s", row.at, diff)
		}
	}
}

func TestTrialRefuses(t *testing.T) {
	trial, err := (&Report{Tank: example(t, "window-nano")}).Trial()
	if err != nil {
		t.Fatal(err)
	}
	one := []plant.Fault{faultByID(t, "tube-out")}
	if _, err := trial.InTurn(7, one, make([]time.Duration, 1)); err == nil {
		t.Error("season 7 was taken")
	}
	if _, err := trial.InTurn(0, one, nil); err == nil {
		t.Error("a fault without a time was taken")
	}
}

// TestProposals: every proposal changes something and leaves the tank alone.
func TestProposals(t *testing.T) {
	s, same := example(t, "reading-room"), example(t, "reading-room")
	ids := map[string]bool{}
	for _, p := range Proposals(s, units.Metric) {
		ids[p.ID] = true
		if p.Words == "" || p.Tank == s {
			t.Errorf("%s: %q", p.ID, p.Words)
		}
	}
	if !ids["shut-off-valve"] || ids["floor-sensor"] {
		t.Errorf("proposed %v: want a valve, which it lacks, and no floor sensor, which it has", ids)
	}
	if s.TopOff.ShutoffValve != same.TopOff.ShutoffValve || s.People != same.People {
		t.Error("the tank was changed")
	}
}

func faultByID(t *testing.T, id string) plant.Fault {
	t.Helper()
	for _, f := range plant.Faults {
		if f.ID == id {
			return f
		}
	}
	t.Fatalf("no fault %q", id)
	return plant.Fault{}
}
