package verify

import (
	"math"
	"testing"
	"time"
)

// TestHandTopOff: a small tank topped off by hand after several days swings by
// half a dKH or more within minutes, an automatic one does not (common practice,
// no source); both get the same water over the month.
func TestHandTopOff(t *testing.T) {
	s := example(t, "window-nano")
	trial, err := (&Report{Tank: s}).Trial()
	if err != nil {
		t.Fatal(err)
	}
	byHand, automatic, err := trial.HandTopOff(0, 5*day, 30*day)
	if err != nil {
		t.Fatal(err)
	}
	if swing := byHand.Outcome.DayDKH; swing < 0.5 || swing > 1 {
		t.Errorf("by hand alkalinity swings by %.2f dKH, want 0.5 or more", swing)
	}
	if swing := automatic.Outcome.DayDKH; swing > 0.2 {
		t.Errorf("automatically it swings by %.2f dKH", swing)
	}
	last := func(c Course) time.Duration { return c.Samples[len(c.Samples)-1].SinceOnset }
	if last(byHand) != 30*day || last(automatic) != 30*day {
		t.Errorf("they end after %v and %v", last(byHand), last(automatic))
	}
	for _, bad := range []struct {
		season        int
		every, length time.Duration
	}{{-1, day, day}, {9, day, day}, {0, 0, day}, {0, day, 0}, {0, day, 400 * day}} {
		if _, _, err := trial.HandTopOff(bad.season, bad.every, bad.length); err == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
}

// TestHandTopOffThroughASump: five days' water is more than a return chamber
// holds, so that the return pump runs dry. What a person then pours in goes round
// within the hour, and all is again as it was: water is conserved, and so is salt
// but for the skimmer's share.
func TestHandTopOffThroughASump(t *testing.T) {
	for _, name := range []string{"reading-room", "grand-lobby"} {
		trial, err := (&Report{Tank: example(t, name)}).Trial()
		if err != nil {
			t.Fatal(err)
		}
		const every = 5 * day
		byHand, automatic, err := trial.HandTopOff(0, every, 30*day)
		if err != nil {
			t.Fatal(err)
		}
		if byHand.Outcome.ReturnDry < day {
			t.Errorf("%s: the return pump ran dry for %v", name, byHand.Outcome.ReturnDry)
		}
		poured := 0
		for _, s := range byHand.Samples {
			if s.SinceOnset%every != time.Hour {
				continue
			}
			poured++
			if off := math.Abs(s.SalinityPSU - s.ChamberPSU); off > 0.05 {
				t.Errorf("%s: an hour after %v display and sump differ by %.2f PSU", name, s.SinceOnset-time.Hour, off)
			}
			if s.SalinityPSU < automatic.Outcome.LowPSU-0.5 || s.SalinityPSU > automatic.Outcome.HighPSU+0.1 {
				t.Errorf("%s: then it is at %.2f PSU, automatically between %.2f and %.2f", name, s.SalinityPSU, automatic.Outcome.LowPSU, automatic.Outcome.HighPSU)
			}
		}
		if poured != 5 {
			t.Errorf("%s: seen an hour after %d of 5 times", name, poured)
		}
	}
}
