package plant

import (
	"math"
	"os"
	"testing"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/tankfile"
)

// exampleTwin is one of the examples with levels and settings as its check
// proposes them, near enough.
func exampleTwin(t testing.TB, name string, season int) *Twin {
	t.Helper()
	data, err := os.ReadFile("../../examples/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := tankfile.Read(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return buildTwin(t, s, season)
}

// limeTwin is an example with lime water in its reservoir.
func limeTwin(t testing.TB, name string, season int) *Twin {
	t.Helper()
	s := *exampleTwin(t, name, season).tank
	r := *s.TopOff.Reservoir
	r.LimeWater = true
	s.TopOff.Reservoir = &r
	return buildTwin(t, &s, season)
}

func buildTwin(t testing.TB, s *tankfile.Tank, season int) *Twin {
	t.Helper()
	levels := Levels{WatchM: 0.2, CeilingM: 0.224}
	if !s.HasSump() {
		levels = Levels{WatchM: s.Display.FillHeightM, CeilingM: s.Display.FillHeightM + 0.012}
	}
	setup := Setup{Tank: s, Season: season, Levels: levels, EvaporationFactor: 1}
	if s.Controller != nil {
		g := guard.Typical()
		g.CeilingFitted = s.TopOff.Ceiling != nil
		g.FloorFitted = s.FloorSensor != nil
		g.ReturnFitted = s.TopOff.ReturnSensed && s.HasSump()
		g.ReservoirLowFitted = s.TopOff.Reservoir != nil && s.TopOff.Reservoir.LowSensor != nil
		g.LevelFitted = s.TopOff.LevelGauge
		g.FirstFillLimit, g.RunLimitFloor, g.HardCap = guard.MaxRun, guard.MaxRun, guard.MaxRun
		g.DailyBudget = 2 * time.Hour
		setup.Guard = &g
	}
	tw, err := Build(setup)
	if err != nil {
		t.Fatal(err)
	}
	return tw
}

var exampleNames = []string{"reading-room", "window-nano", "grand-lobby", "plumbed-line"}

func fault(t testing.TB, id string) Fault {
	t.Helper()
	for _, f := range Faults {
		if f.ID == id {
			return f
		}
	}
	t.Fatalf("no fault %q", id)
	return Fault{}
}

func conditions(t testing.TB, tw *Twin, ids ...string) Conditions {
	t.Helper()
	c := Healthy()
	for _, id := range ids {
		fault(t, id).Apply(tw, &c)
	}
	return c
}

// TestAgainstFixedStep: the event-driven twin and plain Euler steps of a second
// must tell the same story.
func TestAgainstFixedStep(t *testing.T) {
	const days10 = 10 * day
	for _, c := range []struct {
		tank   string
		faults []string
		lime   bool
	}{
		{"reading-room", nil, false},
		{"reading-room", []string{"return-stopped-hour"}, false},
		{"reading-room", []string{"return-cycling"}, false},
		{"reading-room", []string{"power-cut-day"}, false},
		{"reading-room", []string{"relay-welded"}, false},
		{"reading-room", []string{"heat-wave"}, false},
		{"reading-room", []string{"watch-stuck-dry"}, false},
		{"reading-room", []string{"pump-seized"}, false},
		{"reading-room", []string{"tank-leak"}, false},
		{"window-nano", nil, false},
		{"window-nano", []string{"watch-fouled-high"}, false},
		{"window-nano", []string{"relay-welded"}, false},
		{"reading-room", nil, true},
		{"reading-room", []string{"lime-stirred"}, true},
		{"reading-room", []string{"pump-seized"}, true},
		{"window-nano", []string{"relay-welded"}, true},
	} {
		name := c.tank + joined(c.faults)
		if c.lime {
			name += "/lime water"
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tw := exampleTwin(t, c.tank, 0)
			if c.lime {
				tw = limeTwin(t, c.tank, 0)
			}
			cond := conditions(t, tw, c.faults...)
			got := tw.SpinUp().Run(Scenario{Conditions: cond, Length: days10}).Alone
			want := newFixedStep(tw, time.Second)
			want.run(cond, days10)
			// A fill may stand on either side of the end, and a step of a second
			// overshoots by up to a step's flow.
			oneFill := tw.watchBandM3()
			near := func(what string, got, want, tolerance float64) {
				if math.Abs(got-want) > tolerance {
					t.Errorf("%s: event-driven %.6g, fixed step %.6g", what, got, want)
				}
			}
			const promille = 1e-3
			near("evaporated m3", got.EvaporatedM3, want.evaporatedM3, promille*want.evaporatedM3)
			near("topped off m3", got.TopOffM3, want.topOffM3, promille*want.topOffM3+oneFill)
			near("lowest salinity", got.LowPSU, want.lowPSU, promille*want.lowPSU)
			near("highest salinity", got.HighPSU, want.highPSU, promille*want.highPSU)
			// A fill of lime water may stand on either side of the end, and the
			// alkalinity of the system with it.
			fillDKH := oneFill / tw.SystemM3() * tw.topOffWater.alkMolM3 / molM3PerDKH
			near("lowest alkalinity", got.LowDKH, want.lowDKH, promille*want.lowDKH+fillDKH)
			near("highest alkalinity", got.HighDKH, want.highDKH, promille*want.highDKH+fillDKH)
			oneStep := 1e-4 + (tw.returnFlowM3S+tw.TopOffFlowM3S())/tw.chamber.AreaM2(tw.nominalLevelM())
			near("highest level m", got.HighChamberM, tw.chamber.LevelM(want.highM3), oneStep)
			near("lowest level m", got.LowChamberM, tw.chamber.LevelM(want.lowM3), oneStep)
		})
	}
}

func joined(ids []string) string {
	s := ""
	for _, id := range ids {
		s += "/" + id
	}
	return s
}

// watchBandM3 is the chamber's volume over the watch sensor's band.
func (tw *Twin) watchBandM3() float64 {
	w := tw.tank.TopOff.Watch
	c := tw.contactAt(tw.setup.Levels.WatchM, w.HysteresisM)
	return c.wetM3 - c.dryM3
}
