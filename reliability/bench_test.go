package reliability

import "testing"

// The published models, by size.

func benchModels(b *testing.B, run func(b *testing.B, tree *Tree, d *Diagram)) {
	models := readModels(b)
	for _, name := range []string{"HIPPS", "Chinese", "Baobab1"} {
		tree, d := compile(b, models[name].Model)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			run(b, tree, d)
		})
	}
}

// BenchmarkCompile is the way from a checked tree to its diagram.
func BenchmarkCompile(b *testing.B) {
	benchModels(b, func(b *testing.B, tree *Tree, d *Diagram) {
		for b.Loop() {
			if _, err := tree.Compile(DefaultLimit); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(d.nodes)), "nodes")
	})
}

func BenchmarkProbability(b *testing.B) {
	benchModels(b, func(b *testing.B, _ *Tree, d *Diagram) {
		for b.Loop() {
			probability(b, d)
		}
	})
}

func BenchmarkSample(b *testing.B) {
	ranges := make([]Lognormal, 20)
	for i := range ranges {
		ranges[i] = Lognormal{Median: 1e-5, ErrorFactor: 10}
	}
	for b.Loop() {
		sample(b, 1, 1000, ranges...)
	}
}
