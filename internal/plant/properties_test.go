package plant

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"isohaline/internal/guard"
)

// TestBooksClose: whatever goes wrong, for up to a year, no water and no salt
// is made or lost, no volume goes below nothing, nothing runs on past its
// bound, and the same run twice is the same run.
func TestBooksClose(t *testing.T) {
	onsets := map[string]*Onset{}
	for _, name := range exampleNames {
		onsets[name] = exampleTwin(t, name, 0).SpinUp()
	}
	rapid.Check(t, func(rt *rapid.T) {
		name := rapid.SampledFrom(exampleNames).Draw(rt, "site")
		onset := onsets[name]
		tw := onset.r.tw
		c := Healthy()
		faults := FaultsOf(tw.site)
		for _, i := range rapid.SliceOfN(rapid.IntRange(0, len(faults)-1), 0, 4).Draw(rt, "faults") {
			faults[i].Apply(tw, &c)
			rt.Log(faults[i].ID)
		}
		length := days(rapid.Float64Range(0.01, 120).Draw(rt, "days"))
		negative := false
		sc := Scenario{Conditions: c, Length: length, Trace: func(s Sample) {
			negative = negative || s.ReservoirM3 < -1e-9 || s.FloorM3 < 0 || s.ChamberM < 0 || s.DisplayM < 0
		}}
		a := onset.Run(sc)
		const closes = 1e-9
		for what, r := range map[string]float64{
			"water": a.Alone.Books.WaterResidual(), "salt": a.Alone.Books.SaltResidual(),
			"water, attended": a.Attended.Books.WaterResidual(), "salt, attended": a.Attended.Books.SaltResidual(),
		} {
			if !(math.Abs(r) < closes) {
				rt.Errorf("%s: residual %g", what, r)
			}
		}
		if negative {
			rt.Error("a volume went below nothing")
		}
		if a.Alone.Unfinished {
			rt.Error("the run hit its bound on segments")
		}
		if b := onset.Run(Scenario{Conditions: c, Length: length}); a != b {
			rt.Errorf("the same run twice:\n%+v\n%+v", a, b)
		}
	})
}

// TestBooksCloseOverAYear is the long run in one piece.
func TestBooksCloseOverAYear(t *testing.T) {
	for _, name := range exampleNames {
		tw := exampleTwin(t, name, 0)
		o := tw.SpinUp().Run(Scenario{Conditions: Healthy(), Length: 365 * day}).Alone
		w, s := math.Abs(o.Books.WaterResidual()), math.Abs(o.Books.SaltResidual())
		t.Logf("%s: water residual %.1e, salt residual %.1e", name, w, s)
		if w > 1e-9 || s > 1e-9 {
			t.Errorf("%s: residuals water %g, salt %g", name, w, s)
		}
	}
}

// TestGuardObeyedByWiring: with sound sensors the guard in the twin never has
// the pump on with the ceiling wet, nor past the hard cap.
func TestGuardObeyedByWiring(t *testing.T) {
	for _, name := range []string{"reading-room", "window-nano", "grand-lobby"} {
		tw := exampleTwin(t, name, 0)
		onset := tw.SpinUp()
		for _, f := range FaultsOf(tw.site) {
			c := Healthy()
			f.Apply(tw, &c)
			if c.RunLimitDisabled || c.RelayWelded || c.Controller == HungOn {
				continue
			}
			var on, last time.Duration
			ceilingWasWet := false
			onset.Run(Scenario{Conditions: c, Length: 10 * day, Trace: func(s Sample) {
				if s.TopOffM3S <= 0 {
					on = 0
				} else if on += s.SinceOnset - last; on > guard.MaxRun+time.Second && !c.SiphonBreakBlocked {
					t.Fatalf("%s/%s: filling for %v", name, f.ID, on)
				}
				if s.TopOffM3S > 0 && ceilingWasWet && !c.SiphonBreakBlocked {
					t.Fatalf("%s/%s: filling with the ceiling wet", name, f.ID)
				}
				last, ceilingWasWet = s.SinceOnset, s.CeilingWet
			}})
		}
	}
}
