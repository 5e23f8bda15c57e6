package carbonate_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"isohaline/carbonate"
)

// TestAnyPairReturns: a state, entered again by any two of its four quantities
// in either order, comes back.
func TestAnyPairReturns(t *testing.T) {
	const tolerance = 1e-8
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		c := drawConstants(t)
		start, err := c.Solve(
			carbonate.DIC(rapid.Float64Range(1, 20_000).Draw(t, "DIC")),
			carbonate.PH(rapid.Float64Range(3.5, 11).Draw(t, "pH")))
		if err != nil {
			t.Skip("outside the domain")
		}
		known := []carbonate.Known{
			carbonate.TA(start.TAUmolKg), carbonate.DIC(start.DICUmolKg),
			carbonate.PH(start.PHTotal), carbonate.PCO2(start.PCO2Uatm),
		}
		for i, a := range known {
			for j, b := range known {
				if i == j {
					continue
				}
				again, err := c.Solve(a, b)
				if err != nil {
					t.Fatal(err)
				}
				for name, d := range map[string]float64{
					"TA":   (again.TAUmolKg - start.TAUmolKg) / math.Max(math.Abs(start.TAUmolKg), 1),
					"DIC":  again.DICUmolKg/start.DICUmolKg - 1,
					"pH":   again.PHTotal - start.PHTotal,
					"pCO2": again.PCO2Uatm/start.PCO2Uatm - 1,
				} {
					worst = math.Max(worst, math.Abs(d))
					if !(math.Abs(d) <= tolerance) {
						t.Fatalf("%v with %v: %s off by %.2e", a, b, name, d)
					}
				}
			}
		}
	})
	t.Logf("worst deviation %.1e", worst)
}

// drawConstants draws a place anywhere in the domain with any choice of fits.
func drawConstants(t *rapid.T) carbonate.Constants {
	options := carbonate.Options{
		Carbonic: rapid.SampledFrom([]carbonate.CarbonicFit{carbonate.Lueker2000, carbonate.Waters2014}).Draw(t, "fit"),
		Borate:   rapid.SampledFrom([]carbonate.BorateRatio{carbonate.Lee2010, carbonate.Uppstrom1974}).Draw(t, "borate"),
		Fluoride: rapid.SampledFrom([]carbonate.FluorideFit{carbonate.DicksonRiley1979, carbonate.PerezFraga1987}).Draw(t, "fluoride"),
	}
	c, err := carbonate.At(rapid.Float64Range(0, 50).Draw(t, "salinity"), rapid.Float64Range(0, 45).Draw(t, "temp"), options)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestAlkalinityAndCarbonAlwaysSolve: the solver's guarantee. TA and DIC
// anywhere in their ranges have exactly one pH, and the only reason to refuse
// is a pCO2 above pure gas.
func TestAlkalinityAndCarbonAlwaysSolve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawConstants(t)
		ta := rapid.Float64Range(carbonate.TAMinUmolKg, carbonate.TAMaxUmolKg).Draw(t, "TA")
		dic := rapid.Float64Range(carbonate.DICMinUmolKg, carbonate.DICMaxUmolKg).Draw(t, "DIC")
		if _, err := c.Solve(carbonate.TA(ta), carbonate.DIC(dic)); err != nil && !strings.Contains(err.Error(), "need pCO2") {
			t.Fatal(err)
		}
	})
}

// TestMonotony: more carbon lowers pH and more alkalinity raises it, which is
// what the solver's guarantee rests on.
func TestMonotony(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawConstants(t)
		ta := rapid.Float64Range(10, 8000).Draw(t, "TA")
		dic := rapid.Float64Range(10, 8000).Draw(t, "DIC")
		step := rapid.Float64Range(0.01, 1000).Draw(t, "step")
		pH := func(ta, dic float64) float64 {
			s, err := c.Solve(carbonate.TA(ta), carbonate.DIC(dic))
			if err != nil {
				t.Fatal(err)
			}
			return s.PHTotal
		}
		start := pH(ta, dic)
		if more := pH(ta+step, dic); more <= start {
			t.Fatalf("more alkalinity took pH from %v to %v", start, more)
		}
		if less := pH(ta, dic+step); less >= start {
			t.Fatalf("more carbon took pH from %v to %v", start, less)
		}
	})
}

func TestSolveRefuses(t *testing.T) {
	c := constantsAt(t, 35, 25, carbonate.Options{})
	nan, inf := math.NaN(), math.Inf(1)
	for _, test := range []struct {
		a, b carbonate.Known
		want string // in the message
	}{
		{carbonate.TA(2300), carbonate.PH(15), "pH 15 must lie from 2 to 14"},
		{carbonate.PH(-1), carbonate.TA(2300), "pH -1 must lie from 2 to 14"},
		{carbonate.TA(-5001), carbonate.DIC(2000), "TA -5001 µmol/kg must lie from -5000 to 50000 µmol/kg"},
		{carbonate.TA(50_001), carbonate.DIC(2000), "TA 50001 µmol/kg must lie"},
		{carbonate.TA(2300), carbonate.DIC(-1), "DIC -1 µmol/kg must lie from 0 to 50000 µmol/kg"},
		{carbonate.TA(2300), carbonate.PCO2(-1), "pCO2 -1 µatm must lie from 0 to 1e+06 µatm"},
		{carbonate.TA(nan), carbonate.DIC(2000), "TA NaN"},
		{carbonate.TA(2300), carbonate.DIC(inf), "DIC +Inf"},
		{carbonate.TA(2300), carbonate.TA(2300), "two values of one quantity"},
		{carbonate.TA(2300), carbonate.Known{}, "not set"},
		{carbonate.Known{}, carbonate.TA(2300), "not set"},
		// At pH 10 borate and hydroxide alone hold more than 300.
		{carbonate.TA(300), carbonate.PH(10), "need DIC -"},
		{carbonate.TA(2300), carbonate.PH(3), "need DIC"},
		{carbonate.DIC(10), carbonate.PCO2(1000), "DIC must be more"},
		{carbonate.DIC(0), carbonate.PCO2(0), "DIC must be more"},
		{carbonate.DIC(2000), carbonate.PCO2(0), "need pH outside 2 to 14"},
		{carbonate.PH(9), carbonate.PCO2(1e5), "together they need DIC"},
		{carbonate.TA(-5000), carbonate.DIC(50_000), "need pCO2"},
	} {
		state, err := c.Solve(test.a, test.b)
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%v, %v: got error %v, want one with %q", test.a, test.b, err, test.want)
		}
		if state != (carbonate.State{}) {
			t.Errorf("%v, %v: refused, yet a state was returned", test.a, test.b)
		}
	}
}

// TestSolveOnUnsetConstants: forgetting At must not give numbers.
func TestSolveOnUnsetConstants(t *testing.T) {
	var c carbonate.Constants
	if s, err := c.Solve(carbonate.TA(2300), carbonate.DIC(2000)); err == nil {
		t.Errorf("got %+v and no error", s)
	}
}

func TestSolveDoesNotAllocate(t *testing.T) {
	c := constantsAt(t, 35, 25, carbonate.Options{})
	var sink carbonate.State
	allocations := testing.AllocsPerRun(100, func() {
		sink, _ = c.Solve(carbonate.TA(2300), carbonate.DIC(2000))
	})
	if allocations != 0 || sink.PHTotal == 0 {
		t.Errorf("%v allocations a state", allocations)
	}
}

// FuzzSolve: whatever goes in, there is a finite state in range or an error.
func FuzzSolve(f *testing.F) {
	f.Add(35.0, 25.0, uint8(0), 2300.0, uint8(1), 2000.0, uint8(0))
	f.Add(0.0, 0.0, uint8(0), 0.0, uint8(1), 0.0, uint8(1))
	f.Add(50.0, 45.0, uint8(0), 50_000.0, uint8(3), 0.0, uint8(2))
	f.Add(35.0, 25.0, uint8(1), 1e-300, uint8(3), 1e-300, uint8(3))
	f.Add(35.0, 25.0, uint8(2), 14.0, uint8(3), 5e-324, uint8(4))
	f.Add(20.0, 25.0, uint8(0), math.NaN(), uint8(2), 8.0, uint8(7))
	f.Fuzz(func(t *testing.T, salinity, temp float64, quantityA uint8, a float64, quantityB uint8, b float64, options uint8) {
		c, err := carbonate.At(salinity, temp, carbonate.Options{
			Carbonic: carbonate.CarbonicFit(options & 1),
			Borate:   carbonate.BorateRatio(options >> 1 & 1),
			Fluoride: carbonate.FluorideFit(options >> 2 & 1),
		})
		if err != nil {
			return
		}
		s, err := c.Solve(makeKnown(quantityA, a), makeKnown(quantityB, b))
		if err != nil {
			if s != (carbonate.State{}) {
				t.Fatalf("refused with a state: %+v", s)
			}
			return
		}
		for name, v := range map[string]float64{
			"TA": s.TAUmolKg, "DIC": s.DICUmolKg, "pH": s.PHTotal, "pCO2": s.PCO2Uatm, "fCO2": s.FCO2Uatm,
			"CO2": s.CO2UmolKg, "HCO3": s.HCO3UmolKg, "CO3": s.CO3UmolKg,
			"borate": s.BorateUmolKg, "OH": s.HydroxideUmolKg, "H": s.HydrogenFreeUmolKg,
			"HSO4": s.BisulfateUmolKg, "HF": s.HFUmolKg,
			"aragonite": s.OmegaAragonite, "calcite": s.OmegaCalcite,
			"Revelle": s.RevelleFactor, "buffer": s.BufferIntensityUmolKg,
		} {
			if math.IsNaN(v) || math.IsInf(v, 0) || (v < 0 && name != "TA") {
				t.Fatalf("%s is %v in %+v", name, v, s)
			}
		}
	})
}

func makeKnown(quantity uint8, value float64) carbonate.Known {
	switch quantity % 5 {
	case 0:
		return carbonate.TA(value)
	case 1:
		return carbonate.DIC(value)
	case 2:
		return carbonate.PH(value)
	case 3:
		return carbonate.PCO2(value)
	}
	return carbonate.Known{}
}

func BenchmarkAt(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := carbonate.At(35, 25, carbonate.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSolve is one state at known constants, over a spread of waters.
func BenchmarkSolve(b *testing.B) {
	c := constantsAt(b, 35, 25, carbonate.Options{})
	s := solve(b, c, carbonate.TA(2300), carbonate.DIC(2000))
	for _, bench := range []struct {
		name string
		a, b carbonate.Known
	}{
		{"TA_DIC", carbonate.TA(2300), carbonate.DIC(2000)},
		{"TA_DIC_acid", carbonate.TA(100), carbonate.DIC(4000)},
		{"TA_DIC_limewater", carbonate.TA(40_000), carbonate.DIC(10)},
		{"TA_pH", carbonate.TA(2300), carbonate.PH(s.PHTotal)},
		{"TA_pCO2", carbonate.TA(2300), carbonate.PCO2(s.PCO2Uatm)},
		{"DIC_pH", carbonate.DIC(2000), carbonate.PH(s.PHTotal)},
		{"DIC_pCO2", carbonate.DIC(2000), carbonate.PCO2(s.PCO2Uatm)},
		{"pH_pCO2", carbonate.PH(s.PHTotal), carbonate.PCO2(s.PCO2Uatm)},
	} {
		b.Run(bench.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := c.Solve(bench.a, bench.b); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
