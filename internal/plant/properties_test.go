package plant

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"isohaline/internal/guard"
)

// TestBooksClose: whatever goes wrong, for up to a year, no water, no salt and
// no alkalinity is made or lost, no volume goes below nothing, nothing runs on past its
// bound, and the same run twice is the same run.
func TestBooksClose(t *testing.T) {
	onsets := map[string]*Onset{}
	names := append([]string{limed}, exampleNames...)
	for _, name := range names {
		onsets[name] = namedTwin(t, name, 0).SpinUp()
	}
	rapid.Check(t, func(rt *rapid.T) {
		name := rapid.SampledFrom(names).Draw(rt, "tank")
		onset := onsets[name]
		tw := onset.r.tw
		c := Healthy()
		faults := FaultsOf(tw.tank)
		for _, i := range rapid.SliceOfN(rapid.IntRange(0, len(faults)-1), 0, 4).Draw(rt, "faults") {
			faults[i].Apply(tw, &c)
			rt.Log(faults[i].ID)
		}
		length := days(rapid.Float64Range(0.01, 120).Draw(rt, "days"))
		negative := false
		sc := Scenario{Conditions: c, Length: length, Trace: func(s Sample) {
			negative = negative || s.ReservoirM3 < -1e-9 || s.FloorM3 < 0 || s.ChamberM < 0 || s.DisplayM < 0 || s.AlkalinityDKH < 0
		}}
		a := onset.Run(sc)
		const closes = 1e-9
		for what, r := range map[string]float64{
			"water": a.Alone.Books.WaterResidual(), "salt": a.Alone.Books.SaltResidual(),
			"alkalinity": a.Alone.Books.AlkalinityResidual(), "alkalinity, attended": a.Attended.Books.AlkalinityResidual(),
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
		sc.Trace = nil
		b := onset.Run(sc)
		if again := onset.Run(sc); again != b {
			rt.Errorf("the same run twice:\n%+v\n%+v", b, again)
		}
		sameStory(rt, &b.Alone, &a.Alone)
	})
}

// limed names the reading room with lime water in its reservoir.
const limed = "reading-room, lime water"

func namedTwin(t testing.TB, name string, season int) *Twin {
	if name == limed {
		return limeTwin(t, "reading-room", season)
	}
	return exampleTwin(t, name, season)
}

// TestBooksCloseOverAYear is the long run in one piece.
func TestBooksCloseOverAYear(t *testing.T) {
	for _, name := range append([]string{limed}, exampleNames...) {
		tw := namedTwin(t, name, 0)
		o := tw.SpinUp().Run(Scenario{Conditions: Healthy(), Length: 365 * day}).Alone
		w, s, a := math.Abs(o.Books.WaterResidual()), math.Abs(o.Books.SaltResidual()), math.Abs(o.Books.AlkalinityResidual())
		t.Logf("%s: water residual %.1e, salt %.1e, alkalinity %.1e", name, w, s, a)
		if w > 1e-9 || s > 1e-9 || a > 1e-9 {
			t.Errorf("%s: residuals water %g, salt %g, alkalinity %g", name, w, s, a)
		}
	}
}

// TestGuardObeyedByWiring: with sound sensors the guard in the twin never has
// the pump on with the ceiling wet, nor past the hard cap.
func TestGuardObeyedByWiring(t *testing.T) {
	for _, name := range []string{"reading-room", "window-nano", "grand-lobby"} {
		tw := exampleTwin(t, name, 0)
		onset := tw.SpinUp()
		for _, f := range FaultsOf(tw.tank) {
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

// sameStory checks a run whose rhythm was summed up against one that went
// through every cycle.
func sameStory(t rapid.TB, summed, every *Outcome) {
	t.Helper()
	near := func(what string, got, want, tolerance float64) {
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: summed up %.8g, cycle by cycle %.8g", what, got, want)
		}
	}
	const share = 1e-4
	near("evaporated m3", summed.EvaporatedM3, every.EvaporatedM3, share*every.EvaporatedM3+1e-6)
	near("topped off m3", summed.TopOffM3, every.TopOffM3, share*every.TopOffM3+1e-3)
	near("lowest salinity", summed.LowPSU, every.LowPSU, share*every.LowPSU)
	near("highest salinity", summed.HighPSU, every.HighPSU, share*every.HighPSU)
	near("lowest alkalinity", summed.LowDKH, every.LowDKH, 1e-3*every.LowDKH)
	near("highest alkalinity", summed.HighDKH, every.HighDKH, 1e-3*every.HighDKH)
	near("alkalinity within a day", summed.DayDKH, every.DayDKH, 0.02)
	near("lowest pH", summed.LowPH, every.LowPH, 0.02)
	near("highest pH", summed.HighPH, every.HighPH, 0.02)
	near("salinity within an hour", summed.HourPSU, every.HourPSU, 0.02)
	near("floor m3", summed.FloorTotalM3(), every.FloorTotalM3(), share*every.FloorTotalM3()+1e-5)
	near("highest level m", summed.HighChamberM, every.HighChamberM, 1e-4)
	near("lowest level m", summed.LowChamberM, every.LowChamberM, 1e-4)
	near("pump dry s", summed.PumpDry.Seconds(), every.PumpDry.Seconds(), 60+share*every.PumpDry.Seconds())
	near("return dry s", summed.ReturnDry.Seconds(), every.ReturnDry.Seconds(), 60+1e-3*every.ReturnDry.Seconds())
	for c := Nuisance; c <= Loss; c++ {
		s, e := summed.ReachedAt[c], every.ReachedAt[c]
		if s == never || e == never {
			// One that meets a border just before the end may be the other that
			// would meet it just after.
			if s != e && min(s, e) < every.Length-every.Length/50 {
				t.Errorf("class %d: summed up after %v, cycle by cycle after %v", c, s, e)
			}
			continue
		}
		// A slow drift meets a border at the tip of a ripple.
		near("class reached after s", s.Seconds(), e.Seconds(), 3600+1e-2*e.Seconds())
	}
}

// TestRhythmKeepsTheStory: for every single fault of every example.
func TestRhythmKeepsTheStory(t *testing.T) {
	for _, name := range append([]string{limed}, exampleNames...) {
		tw := namedTwin(t, name, 1)
		onset := tw.SpinUp()
		for _, f := range FaultsOf(tw.tank) {
			c := Healthy()
			f.Apply(tw, &c)
			summed := onset.Run(Scenario{Conditions: c, Length: 60 * day}).Alone
			every := onset.Run(Scenario{Conditions: c, Length: 60 * day, EveryCycle: true}).Alone
			t.Run(name+"/"+f.ID, func(t *testing.T) { sameStory(t, &summed, &every) })
		}
	}
}
