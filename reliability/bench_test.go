package reliability

import "testing"

// The published models, by size. Cut sets are counted in TestPublishedFaultTrees.

func benchModels(b *testing.B, run func(b *testing.B, tree *Tree, d *Diagram)) {
	models := readModels(b)
	for _, name := range []string{"HIPPS", "Chinese", "Baobab1"} {
		tree, d := compile(b, models[name])
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			run(b, tree, d)
		})
	}
}

// BenchmarkModel is the whole way from a checked tree to the exact probability
// and the list of minimal cut sets.
func BenchmarkModel(b *testing.B) {
	benchModels(b, func(b *testing.B, tree *Tree, d *Diagram) {
		sets := 0
		for b.Loop() {
			d, err := tree.Compile(DefaultLimit)
			if err != nil {
				b.Fatal(err)
			}
			list, err := d.MinimalCutSets(100_000)
			if err != nil {
				b.Fatal(err)
			}
			sets += len(list.Sets)
		}
		b.ReportMetric(float64(sets)/b.Elapsed().Seconds(), "cutsets/s")
		b.ReportMetric(float64(d.Size()), "nodes")
	})
}

func BenchmarkProbability(b *testing.B) {
	benchModels(b, func(b *testing.B, _ *Tree, d *Diagram) {
		for b.Loop() {
			d.Probability()
		}
	})
}

func BenchmarkImportance(b *testing.B) {
	benchModels(b, func(b *testing.B, _ *Tree, d *Diagram) {
		for b.Loop() {
			if _, err := d.Importance(); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkExpansion is the second road on a model it can reach.
func BenchmarkExpansion(b *testing.B) {
	tree, _ := compile(b, readModels(b)["Chinese"])
	for b.Loop() {
		sets, err := tree.ExpandCutSets(100_000)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := sets.Exact(1_000_000); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkInPractice(b *testing.B) {
	pair := plain(1, 2, 1e-5, monthH)
	imperfect := pair
	imperfect.Test.Coverage, imperfect.Test.RenewalH = 0.9, 5*HoursPerYear
	for _, r := range []struct {
		name     string
		group    Group
		practice Practice
	}{
		{"ideal", pair, Practice{}},
		{"skipped and left off", pair, Practice{SkipProb: 0.3, LeftOffProb: 0.003}},
		{"imperfect, renewed after five years", imperfect, Practice{SkipProb: 0.3, LeftOffProb: 0.003}},
	} {
		b.Run(r.name, func(b *testing.B) {
			for b.Loop() {
				inPractice(b, r.group, r.practice)
			}
		})
	}
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
