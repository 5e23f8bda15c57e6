package verify

import (
	"fmt"
	"os"
	"testing"
	"time"

	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// TestCommissionIsWhatTheCheckTries: a device on site gets the settings that the
// faults were tried with, and may give no more than fits below the ceiling.
func TestCommissionIsWhatTheCheckTries(t *testing.T) {
	data, err := os.ReadFile("../../examples/reading-room.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := tankfile.Read("reading-room.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	got, err := Commission(s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Check(t.Context(), s, Options{SinglesOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	if got.Guard != *r.Settings.Guard || got.Levels != r.Settings.Levels {
		t.Errorf("commissioned with %+v, checked with %+v", got.Guard, *r.Settings.Guard)
	}
	if err := got.Guard.Validate(); err != nil {
		t.Error(err)
	}
	// What stands between the upper edge of the watch's band and the lower edge
	// of the ceiling's: in the chamber of 240 mm by 400 mm, 4 % of it taken up,
	// and above the baffle of 220 mm in the refugium of 260 mm too, 15 % of it.
	const baffleM, chamberM2, refugiumM2 = 0.220, 0.24 * 0.40 * 0.96, 0.26 * 0.40 * 0.85
	fromM, toM := got.Levels.WatchM+0.0015, got.Levels.CeilingM-0.002
	fitsM3 := chamberM2*(toM-fromM) + refugiumM2*max(toM-max(fromM, baffleM), 0)
	given := got.Guard.GiveMost.Seconds() * got.TopOffM3S
	if given <= 0 || given > fitsM3 {
		t.Errorf("may give %.2f L where %.2f L fit", given*1000, fitsM3*1000)
	}
	t.Logf("%.2f L may be given where %.2f L fit; commissioned in %v", given*1000, fitsM3*1000, time.Since(begin))
}

// TestCommissionNeedsAController: a float valve has no settings.
func TestCommissionNeedsAController(t *testing.T) {
	if _, err := Commission(&tankfile.Tank{}); err == nil {
		t.Error("commissioned nothing")
	}
}

// TestSettleIsTheCheckWithoutFaults: what a tank is watched by is what the check
// tries its faults with.
func TestSettleIsTheCheckWithoutFaults(t *testing.T) {
	for _, name := range []string{"window-nano", "reading-room", "grand-lobby"} {
		s := example(t, name)
		got, err := Settle(s, units.Metric)
		if err != nil {
			t.Fatal(err)
		}
		want, err := Check(t.Context(), s, Options{SinglesOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		got.Geometry.Problems, want.Geometry.Problems = nil, nil // the lime's is simulated
		// In words, since what a tank file leaves open is NaN, which is like nothing.
		words := func(r *Report) string {
			return fmt.Sprintf("%+v\n%+v\n%+v\n%+v\n%+v", r.Settings.Levels, *r.Settings.Guard, r.Settings.Items, r.Water, r.Geometry)
		}
		if words(got) != words(want) {
			t.Errorf("%s: settled to\n%s\nchecked with\n%s", name, words(got), words(want))
		}
	}
}
