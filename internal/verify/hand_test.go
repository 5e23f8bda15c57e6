package verify

import (
	"testing"
	"time"
)

// TestHandTopOff: a small tank topped off by hand after several days swings by
// half a dKH or more within minutes, an automatic one does not (common practice,
// no source); both get the same water over the month.
func TestHandTopOff(t *testing.T) {
	s := example(t, "window-nano")
	trial, err := (&Report{Site: s}).Trial()
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
