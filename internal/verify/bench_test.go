package verify

import (
	"testing"
)

// BenchmarkCheck is the whole check with all pairs: the goal is a second.
func BenchmarkCheck(b *testing.B) {
	for _, name := range []string{"window-nano", "reading-room", "grand-lobby"} {
		b.Run(name, func(b *testing.B) {
			s := example(b, name)
			var years float64
			for b.Loop() {
				r, err := Check(b.Context(), s, Options{})
				if err != nil {
					b.Fatal(err)
				}
				years += r.TankYears
			}
			b.ReportMetric(years/b.Elapsed().Seconds(), "tank-years/s")
		})
	}
}
