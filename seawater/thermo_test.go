package seawater

import (
	"math"
	"testing"

	"isohaline/internal/refcheck"
	"isohaline/seawater/purewater"

	"pgregory.net/rapid"
)

// Draws over the whole region.
func drawSAGKg(t *rapid.T) float64 { return rapid.Float64Range(0, maxSAGKg).Draw(t, "saGKg") }
func drawTempC(t *rapid.T) float64 { return rapid.Float64Range(minTempC, maxTempC).Draw(t, "tempC") }
func drawPressureDbar(t *rapid.T) float64 {
	return rapid.Float64Range(0, maxPressureDbar).Draw(t, "pressureDbar")
}

// drawOceanic draws from the range the formulas were fitted in.
func drawOceanic(t *rapid.T) (saGKg, tempC, pressureDbar float64) {
	return rapid.Float64Range(0.01, 42).Draw(t, "saGKg"), rapid.Float64Range(0, 40).Draw(t, "tempC"), drawPressureDbar(t)
}

// GSW-Python 3.6.16, the same Gibbs function.
func TestThermodynamicsAgainstTEOS10(t *testing.T) {
	absolute := refcheck.Column{Name: "Absolute Salinity"}
	density := refcheck.Column{Name: "density"}
	heat := refcheck.Column{Name: "heat capacity"}
	conservative := refcheck.Column{Name: "Conservative Temperature"}
	for _, row := range refcheck.Read(t, "testdata/seawater_teos10.csv") {
		sa, tempC := row.Float("SA_g_kg"), row.Float("t_degC")
		absolute.Rel(row, AbsoluteSalinity(row.Float("SP")), sa, 1e-14)
		density.Rel(row, Density(sa, tempC, 0), row.Float("rho_kg_m3"), 1e-14)
		heat.Rel(row, HeatCapacity(sa, tempC, 0), row.Float("cp_J_kg_K"), 1e-14)
		conservative.Abs(row, ConservativeTemperature(sa, tempC, 0), row.Float("CT_degC"), 1e-12)
	}
	for _, c := range []refcheck.Column{absolute, density, heat, conservative} {
		c.Report(t)
	}
}

func TestThermodynamicsUnderPressureAgainstTEOS10(t *testing.T) {
	density := refcheck.Column{Name: "density"}
	heat := refcheck.Column{Name: "heat capacity"}
	conservative := refcheck.Column{Name: "Conservative Temperature"}
	potential := refcheck.Column{Name: "chemical potential of water"}
	for _, row := range refcheck.Read(t, "testdata/teos10_under_pressure.csv") {
		sa, tempC, p := row.Float("SA_g_kg"), row.Float("t_degC"), row.Float("p_dbar")
		density.Rel(row, Density(sa, tempC, p), row.Float("rho_kg_m3"), 1e-14)
		heat.Rel(row, HeatCapacity(sa, tempC, p), row.Float("cp_J_kg_K"), 1e-14)
		conservative.Abs(row, ConservativeTemperature(sa, tempC, p), row.Float("CT_degC"), 1e-12)
		potential.Abs(row, waterPotential(sa, tempC, p), row.Float("mu_w_J_kg"), 1e-9)
	}
	for _, c := range []refcheck.Column{density, heat, conservative, potential} {
		c.Report(t)
	}
}

// IAPWS R13-08 table 8a was computed with IAPWS-95 for the water, so it checks
// the saline part here against purewater's water.
func TestSalinePartAgainstR13(t *testing.T) {
	published := refcheck.Column{Name: "R13-08 table 8a"}
	for _, row := range refcheck.Read(t, "testdata/teos10_iapws_published_checks.csv") {
		if row.Text("quantity") == "osmotic_coefficient" {
			continue
		}
		tempC := row.Float("T_K") - kelvinAtZeroC
		water, err := purewater.Liquid(tempC, row.Float("p_Pa"))
		if err != nil {
			t.Fatal(err)
		}
		r := reduce(row.Float("SA_g_kg"), tempC, (row.Float("p_Pa")-atmospherePa)/paPerDbar)
		got := map[string]float64{
			"density":                  1 / (1/water.DensityKgM3 + r.salineDz()/reducingPressurePa),
			"specific_heat_cp":         water.HeatCapacityJKgK - r.kelvin()*r.salineDyy()/(reducingTempC*reducingTempC),
			"chemical_potential_water": water.GibbsJKg + r.x2*r.salineWaterPotentialPerX2(),
		}[row.Text("quantity")]
		published.Abs(row, got, row.Float("value"), refcheck.HalfLastDigit(row.Float("printed_decimals")))
	}
	published.Report(t)
}

// The polynomial for water stands for IAPWS-95. The limits are those the package
// comment states.
func TestWaterPartAgainstIAPWS95(t *testing.T) {
	for _, limit := range []struct{ fromC, toC, toDbar, density, heat float64 }{
		{0, 40, 0, 3e-8, 1e-5},
		{0, 40, 10000, 1e-7, 3e-5},
		{40, 60, 0, 1e-6, 1e-3},
		{60, 79, 0, 2e-4, 2e-2},
	} {
		density, heat := 0.0, 0.0
		for tempC := limit.fromC; tempC <= limit.toC; tempC++ {
			for p := 0.0; p <= limit.toDbar; p += 2500 {
				water, err := purewater.Liquid(tempC, atmospherePa+p*paPerDbar)
				if err != nil {
					t.Fatal(err)
				}
				density = math.Max(density, math.Abs(Density(0, tempC, p)/water.DensityKgM3-1))
				heat = math.Max(heat, math.Abs(HeatCapacity(0, tempC, p)/water.HeatCapacityJKgK-1))
			}
		}
		t.Logf("%g to %g °C, to %g dbar: density within %.1g, heat capacity %.1g", limit.fromC, limit.toC, limit.toDbar, density, heat)
		if !(density < limit.density && heat < limit.heat) {
			t.Errorf("%+v: density off by %g, heat capacity by %g", limit, density, heat)
		}
	}
}

// gibbs is g itself, from which the differences below rebuild each derivative.
func gibbs(saGKg, tempC, pressureDbar float64) float64 {
	r := reduce(saGKg, tempC, pressureDbar)
	return waterGibbs.at(r.y, r.z) + r.salineG()
}

// slope is the derivative of f at x by central differences, fourth order.
func slope(f func(float64) float64, x, h float64) float64 {
	return (8*(f(x+h)-f(x-h)) - (f(x+2*h) - f(x-2*h))) / (12 * h)
}

// All properties are derivatives of one g: each analytic derivative against a
// difference of the one it came from.
func TestDerivativesOfGibbsEnergy(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sa, tempC, p := drawOceanic(t)
		near := func(what string, got, want, tolerance float64) {
			if !(math.Abs(got-want) <= tolerance) {
				t.Fatalf("%s at SA %v, %v °C, %v dbar: %v, by differences %v", what, sa, tempC, p, got, want)
			}
		}
		r := reduce(sa, tempC, p)
		gP := slope(func(p float64) float64 { return gibbs(sa, tempC, p) }, p, 20) / paPerDbar
		near("specific volume, m³/kg", specificVolume(sa, tempC, p), gP, 1e-12)
		gT := slope(func(tempC float64) float64 { return gibbs(sa, tempC, p) }, tempC, 0.1)
		near("entropy, J/(kg K)", entropy(r), -gT, 1e-6)
		hT := slope(func(tempC float64) float64 { return enthalpy(reduce(sa, tempC, p)) }, tempC, 0.1)
		near("heat capacity, J/(kg K)", HeatCapacity(sa, tempC, p), hT, 1e-4)
		// In steps of √SA g is smooth down to fresh water.
		gX := slope(func(x float64) float64 { return gibbs(x*x, tempC, p) }, math.Sqrt(sa), 1e-3*math.Sqrt(sa))
		near("chemical potential of water, J/kg", waterPotential(sa, tempC, p), gibbs(sa, tempC, p)-gX*math.Sqrt(sa)/2, 1e-4)
		// Maxwell: warming expands as fast as pressure takes entropy away.
		vT := slope(func(tempC float64) float64 { return specificVolume(sa, tempC, p) }, tempC, 0.1)
		sP := slope(func(p float64) float64 { return entropy(reduce(sa, tempC, p)) }, p, 20) / paPerDbar
		near("expansion, m³/(kg K)", vT, -sP, 1e-13)
	})
}

func TestDensityRisesWithSaltAndPressure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sa, tempC, p := drawSAGKg(t), drawTempC(t), drawPressureDbar(t)
		at := Density(sa, tempC, p)
		if saltier := Density(sa+0.01, tempC, p); sa+0.01 <= maxSAGKg && !(saltier > at) {
			t.Fatalf("density %v at SA %v, %v at %v", at, sa, saltier, sa+0.01)
		}
		if deeper := Density(sa, tempC, p+1); p+1 <= maxPressureDbar && !(deeper > at) {
			t.Fatalf("density %v at %v dbar, %v at %v", at, p, deeper, p+1)
		}
	})
}

// Conservative Temperature keeps entropy fixed on the way to the surface, and
// stays near temperature there.
func TestConservativeTemperature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sa, tempC, p := drawOceanic(t)
		r := reduce(sa, tempC, p)
		if there, here := entropy(atSurface(r)), entropy(r); math.Abs(there-here) > 1e-10 {
			t.Fatalf("entropy %v became %v at the surface (SA %v, %v °C, %v dbar)", here, there, sa, tempC, p)
		}
		if ct := ConservativeTemperature(sa, tempC, 0); math.Abs(ct-tempC) > 2 {
			t.Fatalf("Conservative Temperature %v at %v °C, SA %v", ct, tempC, sa)
		}
	})
	// The definition's anchor: 0 °C at SA 35.16504 is 0 °C (TEOS-10 manual 3.3),
	// to the rounding of the published coefficients.
	if ct := ConservativeTemperature(35.16504, 0, 0); math.Abs(ct) > 1e-7 {
		t.Errorf("Conservative Temperature of reference seawater at 0 °C = %v", ct)
	}
}

func BenchmarkDensity(b *testing.B) {
	b.ReportAllocs()
	sa := 35.0
	for b.Loop() {
		sa += 1e-12 * Density(sa, 25, 0)
	}
}

func BenchmarkHeatCapacity(b *testing.B) {
	b.ReportAllocs()
	sa := 35.0
	for b.Loop() {
		sa += 1e-12 * HeatCapacity(sa, 25, 0)
	}
}

func BenchmarkConservativeTemperature(b *testing.B) {
	b.ReportAllocs()
	sa := 35.0
	for b.Loop() {
		sa += 1e-12 * ConservativeTemperature(sa, 25, 0)
	}
}

// waterPotential is the chemical potential of water in seawater in J/kg,
// g - S g_S (TEOS-10 manual eq. 2.9.6): it holds the parts that the osmotic
// coefficient and the vapour pressure are made of.
func waterPotential(saGKg, tempC, pressureDbar float64) float64 {
	r := reduce(saGKg, tempC, pressureDbar)
	return waterGibbs.at(r.y, r.z) + r.x2*r.salineWaterPotentialPerX2()
}
