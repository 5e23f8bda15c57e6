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
