package plant

import (
	"math"
	"testing"
	"time"
)

// BenchmarkYear is a healthy year, event-driven, against the same year in steps
// of a second, in the same process. The answers must agree to a tenth of a
// percent, or the ratio means nothing.
func BenchmarkYear(b *testing.B) {
	for _, name := range []string{"reading-room", "window-nano", "grand-lobby"} {
		b.Run(name, func(b *testing.B) {
			tw := exampleTwin(b, name, 1)
			onset := tw.SpinUp()
			const length = 365 * day
			steps := newFixedStep(tw, time.Second)
			start := time.Now()
			steps.run(Healthy(), length)
			plain := time.Since(start)

			segments := 0
			onset.Run(Scenario{Conditions: Healthy(), Length: length, Trace: func(Sample) { segments++ }})
			var o Outcome
			for b.Loop() {
				o = onset.Run(Scenario{Conditions: Healthy(), Length: length}).Alone
			}
			perYear := b.Elapsed().Seconds() / float64(b.N)
			off := math.Abs(o.TopOffM3/steps.topOffM3 - 1)
			if off > 1e-3 {
				b.Fatalf("top-off %.6g m3, in steps %.6g: the answers differ by %.2g", o.TopOffM3, steps.topOffM3, off)
			}
			b.ReportMetric(plain.Seconds()/perYear, "x-faster-than-1s-steps")
			b.ReportMetric(1/perYear, "tank-years/s/core")
			b.ReportMetric(float64(segments), "segments/year")
		})
	}
}
