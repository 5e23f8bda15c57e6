package plant

import (
	"os"
	"testing"

	"isohaline/internal/guard"
	"isohaline/internal/site"
)

func BenchmarkYear(b *testing.B) {
	data, _ := os.ReadFile("../../examples/grand-lobby.yaml")
	s, _, err := site.Read("x", data)
	if err != nil {
		b.Fatal(err)
	}
	g := guard.Typical()
	g.CeilingFitted, g.FloorFitted, g.ReturnFitted, g.ReservoirLowFitted = true, true, true, true
	g.HardCap, g.RunLimitFloor, g.FirstFillLimit, g.DailyBudget = guard.MaxRun, guard.MaxRun, guard.MaxRun, guard.Day
	tw, err := Build(Setup{Site: s, Levels: Levels{0.24, 0.264}, Guard: &g, EvaporationFactor: 1})
	if err != nil {
		b.Fatal(err)
	}
	on := tw.SpinUp()
	n := 0
	on.Run(Scenario{Conditions: Healthy(), Length: 365 * day, Trace: func(Sample) { n++ }})
	b.ResetTimer()
	for b.Loop() {
		on.Run(Scenario{Conditions: Healthy(), Length: 365 * day})
	}
	b.ReportMetric(float64(n), "segments/op")
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/segment")
}
