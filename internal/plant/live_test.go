package plant

import (
	"math"
	"testing"
	"time"

	"isohaline/internal/guard"
)

// TestLiveIsTheSameTwin: a guard outside, stepped ten times a second, tops off
// what the guard within does.
func TestLiveIsTheSameTwin(t *testing.T) {
	const length = 36 * time.Hour
	tw := exampleTwin(t, "reading-room", 0)
	onset := tw.SpinUp()
	within := onset.Run(Scenario{Conditions: Healthy(), Length: length}).Alone

	l := onset.Live()
	settings := *tw.setup.Guard
	state := guard.Boot(&settings, l.r.guardState, 0)
	fills, was := 0, false
	const step = 100 * time.Millisecond
	for now := time.Duration(0); now < length; now += step {
		var out guard.Outputs
		state, out = guard.Step(&settings, state, l.Inputs(), now)
		if out.Pump && !was {
			fills++
		}
		was = out.Pump
		l.Advance(step, Outputs{out.Pump, out.Valve})
	}
	outside := l.r.out.TopOffM3
	t.Logf("%.2f L in %d fills outside, %.2f L within", outside*1000, fills, within.TopOffM3*1000)
	// A fill is cut at the edges of the record.
	if fills < 3 || math.Abs(outside-within.TopOffM3) > 1.1*within.TopOffM3/float64(fills) {
		t.Error("they differ by more than a fill")
	}
	for _, f := range Faults {
		if f.ID == "return-stopped-day" {
			l.Apply(f)
		}
	}
	l.Advance(time.Minute, Outputs{})
	if l.Inputs().ReturnPump != guard.Dry {
		t.Error("the return pump was stopped and the input does not say so")
	}
}

// TestTurn: going from turn to turn of a sensor is the same life as going by tenths
// of a second, and mending ends a fault.
func TestTurn(t *testing.T) {
	const length = 36 * time.Hour
	tw := exampleTwin(t, "reading-room", 0)
	onset := tw.SpinUp()
	settings := *tw.setup.Guard
	live := func(next func(l *Live, s guard.State, in guard.Inputs, now time.Duration, out Outputs) time.Duration) (fills int, m3 float64) {
		l := onset.Live()
		state := guard.Boot(&settings, l.r.guardState, 0)
		was := false
		for now := time.Duration(0); now < length; {
			var out guard.Outputs
			in := l.Inputs()
			state, out = guard.Step(&settings, state, in, now)
			if out.Pump && !was {
				fills++
			}
			was = out.Pump
			now += next(l, state, in, now, Outputs{out.Pump, out.Valve})
		}
		return fills, l.r.out.TopOffM3
	}
	const step = 100 * time.Millisecond
	fills, m3 := live(func(l *Live, _ guard.State, _ guard.Inputs, _ time.Duration, out Outputs) time.Duration {
		l.Advance(step, out)
		return step
	})
	gotFills, gotM3 := live(func(l *Live, s guard.State, in guard.Inputs, now time.Duration, out Outputs) time.Duration {
		return l.Turn(min(guard.Deadline(&settings, s, in)-now, time.Hour), out)
	})
	// A step of a tenth of a second ends each fill that much later, at the most.
	if gotFills != fills || math.Abs(gotM3-m3) > 0.02*m3 {
		t.Errorf("%d fills of %.3f L, by steps %d of %.3f L", gotFills, gotM3*1000, fills, m3*1000)
	}

	l := onset.Live()
	for _, f := range Faults {
		if f.ID == "watch-stuck-dry" {
			l.Apply(f)
		}
	}
	l.Advance(time.Hour, Outputs{})
	if in := l.Inputs(); in.Watch != guard.Dry {
		t.Fatalf("stuck dry, the watch sensor reads %v", in.Watch)
	}
	l.Mend()
	if l.r.cond != Healthy() {
		t.Errorf("mended, it is %+v", l.r.cond)
	}
}
