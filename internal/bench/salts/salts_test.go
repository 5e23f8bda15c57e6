package salts_test

import (
	"math"
	"testing"

	"isohaline/internal/bench/salts"
)

// TestMolarMasses: CRC Handbook of Chemistry and Physics, physical constants of
// inorganic compounds (from memory), with its older atomic weights: 1e-4.
func TestMolarMasses(t *testing.T) {
	for id, want := range map[string]float64{
		"sodium-bicarbonate": 84.007, "sodium-carbonate": 105.989, "calcium-chloride-dihydrate": 147.015, "calcium-chloride-anhydrous": 110.984,
		"magnesium-chloride-hexahydrate": 203.302, "magnesium-sulfate-heptahydrate": 246.474,
	} {
		s, ok := salts.ByID(id)
		if !ok || math.Abs(s.GramsPerMol-want) > 1e-4*want {
			t.Errorf("%s: %v g/mol, want %v", id, s.GramsPerMol, want)
		}
		if math.Abs(s.Charge()) > 1e-15 {
			t.Errorf("%s has a charge of %v", id, s.Charge())
		}
	}
	if n := len(salts.All()); n != 6 {
		t.Errorf("%d salts, 6 checked", n)
	}
	if _, ok := salts.ByID("sugar"); ok {
		t.Error("sugar is a salt")
	}
}

// TestDefinitions: 1 dKH is 0.35665 meq/L, and the sea at 35 has 10 280 µmol/kg
// of calcium and 52 800 of magnesium (Millero et al. 2008).
func TestDefinitions(t *testing.T) {
	if got := salts.MeqPerLPerDKH; math.Abs(got-0.35665246) > 1e-8 {
		t.Errorf("1 dKH is %v meq/L", got)
	}
	sea := salts.Seawater()
	if a := (sea.Bicarbonate + 2*sea.Carbonate) * 1e6; math.Abs(a-2195) > 2 {
		t.Errorf("carbonate alkalinity of the sea %v µmol/kg", a)
	}
}
