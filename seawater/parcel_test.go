package seawater

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func parcelDensity(saGKg, waterM3Kg, saltM3Kg float64) float64 {
	s := saGKg / gPerKg
	return 1 / ((1-s)*waterM3Kg + s*saltM3Kg)
}

func TestSpecificVolumesAreExactAtTheirReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sp, tempC := rapid.Float64Range(0, maxSP).Draw(t, "refSP"), drawTempC(t)
		water, salt := SpecificVolumes(sp, tempC)
		sa := AbsoluteSalinity(sp)
		if got, want := parcelDensity(sa, water, salt), Density(sa, tempC, 0); math.Abs(got/want-1) > 1e-14 {
			t.Fatalf("density %v at SP %v, %v °C, want %v", got, sp, tempC, want)
		}
		if got, want := 1/water, Density(0, tempC, 0); math.Abs(got/want-1) > 1e-14 {
			t.Fatalf("pure water has %v kg/m³ at %v °C, want %v", got, tempC, want)
		}
	})
}

// The distances from TEOS-10 that the documentation states.
func TestSpecificVolumesStayNearTEOS10(t *testing.T) {
	for _, c := range []struct{ fromSP, toSP, limit float64 }{
		{33, 37, 2e-4},
		{20, 42, 5e-4},
	} {
		worst := 0.0
		for refSP := c.fromSP; refSP <= c.toSP; refSP++ {
			for tempC := 15.0; tempC <= 32; tempC++ {
				water, salt := SpecificVolumes(refSP, tempC)
				for sa := 0.0; sa <= 42; sa += 0.5 {
					worst = math.Max(worst, math.Abs(parcelDensity(sa, water, salt)/Density(sa, tempC, 0)-1))
				}
			}
		}
		t.Logf("reference SP %g to %g: within %.4f %%", c.fromSP, c.toSP, 100*worst)
		if !(worst < c.limit) {
			t.Errorf("reference SP %g to %g: off by %g, limit %g", c.fromSP, c.toSP, worst, c.limit)
		}
	}
}

func BenchmarkSpecificVolumes(b *testing.B) {
	b.ReportAllocs()
	sp := 35.0
	for b.Loop() {
		water, _ := SpecificVolumes(sp, 25)
		sp += 1e-12 * water
	}
}
