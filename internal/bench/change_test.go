package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/carbonate"
)

// TestWashing: the closed form of a geometric series against the walk, and where
// it settles.
func TestWashing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := washed{now: rapid.Float64Range(0, 100).Draw(t, "now"), fresh: rapid.Float64Range(0, 5).Draw(t, "fresh"),
			madePerDay: rapid.Float64Range(0, 5).Draw(t, "made"), share: rapid.Float64Range(0.01, 1).Draw(t, "share"), everyDays: rapid.Float64Range(0.5, 30).Draw(t, "every")}
		n := rapid.IntRange(1, 50).Draw(t, "n")
		settled := w.peak() - w.madePerDay*w.everyDays // just after a change
		want := settled + (w.now-settled)*math.Pow(1-w.share, float64(n))
		near(t, "after", w.after(n), want, 1e-9*(1+math.Abs(want)))
	})
}

// TestChangeKeepsMass: one change conserves salt, alkalinity and carbon to 1e-9:
// what is left plus what came in.
func TestChangeKeepsMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := reef()
		q := WaterChanges{Water: w, EachL: rapid.Float64Range(0.1, 390).Draw(t, "each"), Times: 1, EveryDays: 1,
			NewSalinityPSU: ptr(rapid.Float64Range(30, 40).Draw(t, "salinity")), NewAlkalinityDKH: ptr(rapid.Float64Range(5, 15).Draw(t, "alkalinity"))}
		before, after, err := q.mixed(&w)
		if err != nil {
			t.Fatal(err)
		}
		out := q.EachL * w.densityKgM3() / litresPerM3
		in := after.MassKg - (before.MassKg - out)
		density := densityKgM3(*q.NewSalinityPSU, w.TempC)
		near(t, "litres in", in/density*litresPerM3, q.EachL, 1e-9*q.EachL)
		near(t, "salt", after.MassKg*after.SalinityPSU, (before.MassKg-out)*35+in**q.NewSalinityPSU, 1e-9*after.MassKg*35)
		near(t, "alkalinity", after.MassKg*after.TAUmolKg, (before.MassKg-out)*before.TAUmolKg+in*carbonate.UmolKgFromDKH(*q.NewAlkalinityDKH, density), 1e-9*after.MassKg*3000)
	})
}

// TestMixingIsAssociative: three waters in either grouping.
func TestMixingIsAssociative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) carbonate.Water {
			return carbonate.Water{MassKg: rapid.Float64Range(0.1, 500).Draw(t, name), SalinityPSU: rapid.Float64Range(0, 45).Draw(t, name), TempC: 25,
				TAUmolKg: rapid.Float64Range(0, 5000).Draw(t, name), DICUmolKg: rapid.Float64Range(0, 5000).Draw(t, name), CalciumUmolKg: rapid.Float64Range(0, 20000).Draw(t, name)}
		}
		mix := func(a, b carbonate.Water) carbonate.Water {
			m, err := carbonate.Mix(a, b)
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		a, b, c := draw("a"), draw("b"), draw("c")
		x, y := mix(mix(a, b), c), mix(a, mix(b, c))
		near(t, "salinity", x.SalinityPSU, y.SalinityPSU, 1e-9*45)
		near(t, "alkalinity", x.TAUmolKg, y.TAUmolKg, 1e-9*5000)
		near(t, "carbon", x.DICUmolKg, y.DICUmolKg, 1e-9*5000)
		near(t, "calcium", x.CalciumUmolKg, y.CalciumUmolKg, 1e-9*20000)
	})
}

// TestSmallAgainstLarge: equal water makes less of the tank new in small changes,
// and a large change in new water of another salinity is warned of.
func TestSmallAgainstLarge(t *testing.T) {
	q := WaterChanges{Water: reef(), EachL: 40, Times: 10, EveryDays: 3, IonMgL: 20, NewSalinityPSU: ptr(30)}
	a := ask(t, &q)
	near(t, "small", value(t, a, "water-new"), 100*(1-math.Pow(0.9, 10)), 1e-9)
	near(t, "large", value(t, a, "water-new-once"), 100, 1e-9)
	near(t, "left", value(t, a, "ion-after"), 20*math.Pow(0.9, 10), 1e-9)
	q.EachL = 200
	if cautions := ask(t, &q).Cautions; len(cautions) != 2 {
		t.Errorf("half the tank at 30 PSU: %q", cautions)
	}
}
