package seawater

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestReferenceComposition(t *testing.T) {
	// Millero et al. 2008: 35 on one scale is 35.16504 g/kg on the other.
	if got := AbsoluteSalinity(35); math.Abs(got-35.16504) > 1e-13 {
		t.Fatalf("AbsoluteSalinity(35) = %v, want 35.16504", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		sp := rapid.Float64Range(0, 119).Draw(t, "sp")
		if back := PracticalSalinity(AbsoluteSalinity(sp)); math.Abs(back-sp) > 1e-13 {
			t.Fatalf("SP %v came back as %v", sp, back)
		}
	})
}

// Every function answers every argument: a finite number inside the region, NaN
// outside it, never a panic and never an infinity.
func TestAnyArgument(t *testing.T) {
	functions := map[string]func(a, b, c float64) float64{
		"AbsoluteSalinity":                    func(a, _, _ float64) float64 { return AbsoluteSalinity(a) },
		"PracticalSalinity":                   func(a, _, _ float64) float64 { return PracticalSalinity(a) },
		"Density":                             Density,
		"HeatCapacity":                        HeatCapacity,
		"ConservativeTemperature":             ConservativeTemperature,
		"OsmoticCoefficient":                  OsmoticCoefficient,
		"WaterActivity":                       func(a, b, _ float64) float64 { return WaterActivity(a, b) },
		"LatentHeatEvaporation":               func(a, b, _ float64) float64 { return LatentHeatEvaporation(a, b) },
		"PracticalSalinityFromConductivity":   PracticalSalinityFromConductivity,
		"ConductivityFromPracticalSalinity":   ConductivityFromPracticalSalinity,
		"SpecificGravity":                     SpecificGravity,
		"RefractiveIndex":                     RefractiveIndex,
		"BrineScaleReading":                   func(a, _, _ float64) float64 { return BrineScaleReading(a) },
		"SpecificVolumes of water":            func(a, b, _ float64) float64 { v, _ := SpecificVolumes(a, b); return v },
		"SpecificVolumes of salt":             func(a, b, _ float64) float64 { _, v := SpecificVolumes(a, b); return v },
		"salinity from specific gravity":      orNaN(PracticalSalinityFromSpecificGravity),
		"salinity from refractive index":      orNaN(PracticalSalinityFromRefractiveIndex),
		"salinity from a brine refractometer": orNaN(func(a, _, _ float64) (float64, error) { return PracticalSalinityFromBrineScale(a) }),
	}
	edges := []float64{0, 1, 1.02, 35, 53, 589.3, 119.4, 120, -1, -12.15, 80, 1e4, 1e300, -1e300,
		math.SmallestNonzeroFloat64, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1)}
	for name, f := range functions {
		for _, a := range edges {
			for _, b := range edges {
				for _, c := range edges {
					if got := f(a, b, c); math.IsInf(got, 0) {
						t.Fatalf("%s(%v, %v, %v) = %v", name, a, b, c, got)
					}
				}
			}
		}
		rapid.Check(t, func(t *rapid.T) {
			a, b, c := rapid.Float64().Draw(t, "a"), rapid.Float64().Draw(t, "b"), rapid.Float64().Draw(t, "c")
			if got := f(a, b, c); math.IsInf(got, 0) {
				t.Fatalf("%s(%v, %v, %v) = %v", name, a, b, c, got)
			}
		})
		if got := f(math.NaN(), 20, 0); !math.IsNaN(got) {
			t.Fatalf("%s of NaN = %v, want NaN", name, got)
		}
		if got := f(-1, 20, 0); !math.IsNaN(got) {
			t.Fatalf("%s of -1 = %v, want NaN", name, got)
		}
	}
}

func orNaN(f func(a, b, c float64) (float64, error)) func(a, b, c float64) float64 {
	return func(a, b, c float64) float64 {
		value, err := f(a, b, c)
		if err != nil {
			return math.NaN()
		}
		return value
	}
}

// The last state inside each border of the region has an answer, the first one
// outside has none.
func TestRegionBorders(t *testing.T) {
	inside := []struct{ saGKg, tempC, pressureDbar float64 }{
		{0, 20, 0}, {120, 20, 0}, {35, minTempC, 0}, {35, maxTempC, 0}, {35, 20, -10.1325}, {35, 20, 10000},
	}
	outside := []struct{ saGKg, tempC, pressureDbar float64 }{
		{-1e-9, 20, 0}, {120.001, 20, 0}, {35, -12.151, 0}, {35, 79.851, 0}, {35, 20, -10.133}, {35, 20, 10000.1},
	}
	for _, s := range inside {
		if got := Density(s.saGKg, s.tempC, s.pressureDbar); !(got > 900 && got < 1200) {
			t.Errorf("Density(%v) = %v, want a density", s, got)
		}
	}
	for _, s := range outside {
		if got := Density(s.saGKg, s.tempC, s.pressureDbar); !math.IsNaN(got) {
			t.Errorf("Density(%v) = %v, want NaN", s, got)
		}
	}
}
