package seawater

import (
	"math"
	"testing"

	"isohaline/internal/refcheck"
	"isohaline/seawater/purewater"

	"pgregory.net/rapid"
)

// GSW-Python 3.6.16: chemical potentials of the same Gibbs function, and its
// latent heat.
func TestVapourAgainstTEOS10(t *testing.T) {
	osmotic := refcheck.Column{Name: "osmotic coefficient"}
	activity := refcheck.Column{Name: "water activity"}
	latent := refcheck.Column{Name: "latent heat"}
	for _, row := range refcheck.Read(t, "testdata/seawater_teos10.csv") {
		sa, tempC := row.Float("SA_g_kg"), row.Float("t_degC")
		if !row.Empty("osmotic_coefficient") { // undefined in pure water
			// The reference subtracts two chemical potentials, at the price of
			// a digit or two in brackish water.
			osmotic.Rel(row, OsmoticCoefficient(sa, tempC, 0), row.Float("osmotic_coefficient"), 1e-12)
		}
		activity.Rel(row, WaterActivity(sa, tempC), row.Float("water_activity"), 1e-14)
		latent.Rel(row, LatentHeatEvaporation(sa, tempC), row.Float("latent_heat_J_kg"), 1e-14)
	}
	for _, c := range []refcheck.Column{osmotic, activity, latent} {
		c.Report(t)
	}
}

// McDougall & Barker 2011, check cast of the toolbox's osmotic coefficient.
func TestPublishedOsmoticCoefficient(t *testing.T) {
	osmotic := refcheck.Column{Name: "osmotic coefficient, check cast"}
	for _, row := range refcheck.Read(t, "testdata/teos10_iapws_published_checks.csv") {
		if row.Text("quantity") != "osmotic_coefficient" {
			continue
		}
		p := (row.Float("p_Pa") - atmospherePa) / paPerDbar
		got := OsmoticCoefficient(row.Float("SA_g_kg"), row.Float("T_K")-kelvinAtZeroC, p)
		osmotic.Abs(row, got, row.Float("value"), 1e-12)
	}
	osmotic.Report(t)
}

func TestOsmoticLimitAndActivityIdentity(t *testing.T) {
	if phi := OsmoticCoefficient(0, 25, 0); math.Abs(phi-1) > 1e-7 {
		t.Fatalf("osmotic coefficient of pure water = %v, want the limit 1", phi)
	}
	if a := WaterActivity(0, 25); a != 1 {
		t.Fatalf("activity of pure water = %v, want 1", a)
	}
	rapid.Check(t, func(t *rapid.T) {
		tempC := rapid.Float64Range(0, 40).Draw(t, "tempC")
		// Debye-Hückel: 1 - phi falls with the root of salinity.
		if phi := OsmoticCoefficient(1e-8, tempC, 0); math.Abs(phi-1) > 1e-4 {
			t.Fatalf("osmotic coefficient at 1e-8 g/kg, %v °C = %v, want nearly 1", tempC, phi)
		}
		// ln a = -phi m M_w, two routes through different code.
		sa := rapid.Float64Range(0.001, maxSAGKg).Draw(t, "saGKg")
		molality := sa / ((gPerKg - sa) * saltMolarMassKgMol)
		want := -OsmoticCoefficient(sa, tempC, 0) * molality * waterMolarMassKgMol
		if got := math.Log(WaterActivity(sa, tempC)); math.Abs(got-want) > 1e-14 {
			t.Fatalf("ln a = %v at SA %v, %v °C; the osmotic coefficient says %v", got, sa, tempC, want)
		}
	})
}

// Gibbs and Duhem: what salt takes from the potential of water it gives to the
// potential of salt, (1-S) dmu_w + S dmu_s = 0, with mu_s rebuilt from g.
func TestGibbsDuhem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sa, tempC, p := drawOceanic(t)
		sa += 1
		gS := func(sa float64) float64 {
			return slope(func(sa float64) float64 { return gibbs(sa, tempC, p) }, sa, 0.05) * gPerKg
		}
		saltPotential := func(sa float64) float64 { return gibbs(sa, tempC, p) + (1-sa/gPerKg)*gS(sa) }
		water := (1 - sa/gPerKg) * slope(func(sa float64) float64 { return waterPotential(sa, tempC, p) }, sa, 0.1)
		salt := sa / gPerKg * slope(saltPotential, sa, 0.1)
		if math.Abs(water+salt) > 1e-3*math.Abs(water) {
			t.Fatalf("at SA %v, %v °C, %v dbar: water %v, salt %v J/kg per g/kg do not cancel", sa, tempC, p, water, salt)
		}
	})
}

// The latent heat polynomial stands for h_vapour - (h - S h_S). Its documented
// distance from IAPWS-95 is 0.1 %.
func TestLatentHeatAgainstIAPWS95(t *testing.T) {
	for tempC := 1.0; tempC <= 40; tempC++ {
		saturated, err := purewater.Saturated(tempC)
		if err != nil {
			t.Fatal(err)
		}
		relative := LatentHeatEvaporation(0, tempC)/saturated.LatentHeatJKg() - 1
		if !(relative < -0.5e-3 && relative > -1.5e-3) {
			t.Errorf("latent heat at %v °C is %.2g away from IAPWS-95, want 0.1 %% below", tempC, relative)
		}
	}
}

func BenchmarkWaterActivity(b *testing.B) {
	b.ReportAllocs()
	sa := 35.0
	for b.Loop() {
		sa += 1e-12 * WaterActivity(sa, 25)
	}
}

func BenchmarkLatentHeatEvaporation(b *testing.B) {
	b.ReportAllocs()
	sa := 35.0
	for b.Loop() {
		sa += 1e-15 * LatentHeatEvaporation(sa, 25)
	}
}
