package verify

import (
	"math"
	"slices"
	"strings"
	"testing"

	"isohaline/internal/plant"
)

// A followed fault is the one of the check: the samples' extremes are the row's.
func TestFollow(t *testing.T) {
	r := check(t, example(t, "plumbed-line"), Options{SinglesOnly: true})
	const (
		startPSU    = 0.1  // the rhythm of fills around the target
		roundingPSU = 1e-3 // a steady rhythm summed up, against going through it
		toleranceM3 = 0.2e-3
	)
	for _, want := range r.Singles[:6] {
		row, samples, err := r.Follow(want.Faults, "")
		if err != nil {
			t.Fatal(err)
		}
		if row.ID() != want.ID() || row.Season != want.Season || row.Class != want.Class || row.Sentence != want.Sentence {
			t.Errorf("%s: followed %s in %s: %q", want.ID(), row.ID(), row.Season, row.Sentence)
		}
		if len(samples) < 2 {
			t.Fatalf("%s: %d samples", want.ID(), len(samples))
		}
		low, high := math.Inf(1), math.Inf(-1)
		for i, s := range samples {
			low, high = min(low, s.SalinityPSU), max(high, s.SalinityPSU)
			if i > 0 && s.SinceOnset < samples[i-1].SinceOnset {
				t.Fatalf("%s: time goes back at sample %d", want.ID(), i)
			}
		}
		first, last := samples[0], samples[len(samples)-1]
		if first.SinceOnset != 0 || math.Abs(first.SalinityPSU-r.Tank.Water.SalinityPSU) > startPSU {
			t.Errorf("%s: begins after %v at %.3f PSU", want.ID(), first.SinceOnset, first.SalinityPSU)
		}
		// Samples are the ends of segments, so a peak just before a water change is
		// not among them.
		if low < row.Alone.LowPSU-roundingPSU || high > row.Alone.HighPSU+roundingPSU || high-low < 0.95*(row.Alone.HighPSU-row.Alone.LowPSU) {
			t.Errorf("%s: salinity %.3f to %.3f, the row has %.3f to %.3f", want.ID(), low, high, row.Alone.LowPSU, row.Alone.HighPSU)
		}
		if math.Abs(last.FloorM3-row.Alone.FloorTotalM3()) > toleranceM3 {
			t.Errorf("%s: %.4f m3 on the floor, the row has %.4f", want.ID(), last.FloorM3, row.Alone.FloorTotalM3())
		}
		if last.SinceOnset != horizon(r.Tank) {
			t.Errorf("%s: ends after %v", want.ID(), last.SinceOnset)
		}
	}
}

// An interruption may do its harm because it comes late: what is drawn is what
// was judged.
func TestFollowTheWayThatWasJudged(t *testing.T) {
	r := check(t, example(t, "plumbed-line"), Options{SinglesOnly: true})
	faults := []plant.Fault{byID(t, "tube-out"), byID(t, "power-cut-hour")}
	row, samples, err := r.Follow(faults, "")
	if err != nil {
		t.Fatal(err)
	}
	off := slices.IndexFunc(samples, func(s plant.Sample) bool { return !s.ReturnRunning })
	if off < 0 || samples[off].SinceOnset < lateAfter {
		t.Errorf("the return pump stops at sample %d, before the power fails late", off)
	}
	// The row ends when all is lost, the samples go on.
	lossAt := row.Alone.ReachedAt[plant.Loss]
	lost := slices.IndexFunc(samples, func(s plant.Sample) bool { return s.SinceOnset >= lossAt })
	if lossAt == plant.NotReached || lost < 0 {
		t.Fatal("this pair should lose the tank, and the samples go on")
	}
	if got, want := samples[lost].FloorM3, row.Alone.FloorTotalM3(); got < want {
		t.Errorf("%v m3 on the floor when the tank is lost, the row has %v", got, want)
	}
}

func TestFollowInASeason(t *testing.T) {
	r := check(t, example(t, "reading-room"), Options{SinglesOnly: true})
	faults := []plant.Fault{byID(t, "watch-stuck-dry"), byID(t, "ceiling-stuck-dry")}
	for _, season := range r.Tank.Room.Seasons {
		row, samples, err := r.Follow(faults, season.Name)
		if err != nil {
			t.Fatal(err)
		}
		if row.Season != season.Name || row.ID() != "watch-stuck-dry+ceiling-stuck-dry" || row.Sentence == "" || len(samples) == 0 {
			t.Errorf("%s: followed %s in %s, %d samples", season.Name, row.ID(), row.Season, len(samples))
		}
	}
	_, _, err := r.Follow(faults, "monsoon")
	if want := `season "monsoon" is not in the tank file; there are: heating season, mild, summer`; err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %s", err, want)
	}
}
