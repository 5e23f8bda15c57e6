package purewater

import (
	"math"
	"strings"
	"testing"

	"isohaline/internal/refcheck"

	"pgregory.net/rapid"
)

// The Python library iapws 1.5.2: IAPWS-95 and, where its columns say so, IF97.
func TestSaturationAgainstReferenceLibrary(t *testing.T) {
	pressure := refcheck.Column{Name: "saturation pressure, IAPWS-95"}
	industrial := refcheck.Column{Name: "saturation pressure, IF97"}
	density := refcheck.Column{Name: "saturated liquid density"}
	latent := refcheck.Column{Name: "latent heat"}
	for _, row := range refcheck.Read(t, "testdata/vapour_pressure_iapws.csv") {
		tempC := row.Float("t_degC")
		industrial.Rel(row, SaturationPressureIF97(tempC), row.Float("p_sat_if97_Pa"), 1e-13)
		if row.Empty("p_sat_iapws95_Pa") {
			if _, err := Saturated(tempC); err == nil {
				t.Errorf("Saturated(%v) has an answer below the triple point", tempC)
			}
			continue
		}
		s, err := Saturated(tempC)
		if err != nil {
			t.Error(err)
			continue
		}
		pressure.Rel(row, s.PressurePa, row.Float("p_sat_iapws95_Pa"), 1e-10)
		density.Rel(row, s.Liquid.DensityKgM3, row.Float("rho_sat_liquid_kg_m3"), 1e-12)
		latent.Rel(row, s.LatentHeatJKg(), 1e3*row.Float("latent_heat_kJ_kg"), 1e-12)
	}
	for _, c := range []refcheck.Column{pressure, industrial, density, latent} {
		c.Report(t)
	}
}

// IAPWS R6-95 table 8 at 275 K, IAPWS R7-97 table 35 at 300 K.
func TestPublishedSaturation(t *testing.T) {
	published := refcheck.Column{Name: "saturation, IAPWS R6-95 and R7-97"}
	for _, row := range refcheck.Read(t, "testdata/teos10_iapws_published_checks.csv") {
		tempC := row.Float("T_K") - kelvinAtZeroC
		s, err := Saturated(tempC)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]float64{
			"saturation_pressure":       s.PressurePa,
			"saturated_liquid_density":  s.Liquid.DensityKgM3,
			"saturated_vapour_density":  s.Vapour.DensityKgM3,
			"saturated_liquid_enthalpy": s.Liquid.EnthalpyJKg,
			"saturated_vapour_enthalpy": s.Vapour.EnthalpyJKg,
		}[row.Text("quantity")]
		if strings.Contains(row.Text("source"), "R7-97") {
			got = SaturationPressureIF97(tempC)
		}
		published.Abs(row, got, row.Float("value"), refcheck.HalfLastDigit(row.Float("printed_decimals")))
	}
	published.Report(t)
}

// IAPWS R6-95 table 8 at 450 and 625 K and IAPWS R7-97 table 35 at 500 and
// 600 K, from memory; the Python library iapws 1.5.2 agrees.
func TestHotSaturation(t *testing.T) {
	near := func(what string, got, want float64) {
		t.Helper()
		if !(math.Abs(got/want-1) <= nineDigits) {
			t.Errorf("%s = %.10g, want %.10g", what, got, want)
		}
	}
	for _, row := range []struct{ tempK, pressurePa, liquid, vapour, liquidJKg, vapourJKg float64 }{
		{450, 0.932203564e6, 0.890341250e3, 0.481200360e1, 0.749161585e6, 0.277441078e7},
		{625, 0.169082693e8, 0.567090385e3, 0.118290280e3, 0.168626976e7, 0.255071625e7},
	} {
		s, err := Saturated(row.tempK - kelvinAtZeroC)
		if err != nil {
			t.Fatal(err)
		}
		near("pressure", s.PressurePa, row.pressurePa)
		near("liquid density", s.Liquid.DensityKgM3, row.liquid)
		near("vapour density", s.Vapour.DensityKgM3, row.vapour)
		near("liquid enthalpy", s.Liquid.EnthalpyJKg, row.liquidJKg)
		near("vapour enthalpy", s.Vapour.EnthalpyJKg, row.vapourJKg)
	}
	near("IF97 at 500 K", SaturationPressureIF97(500-kelvinAtZeroC), 0.263889776e7)
	near("IF97 at 600 K", SaturationPressureIF97(600-kelvinAtZeroC), 0.123443146e8)
}

// Where liquid and vapour coexist both have the same pressure and Gibbs energy,
// and the pressure climbs as Clausius and Clapeyron say: dp/dT = L/(T Δv).
func TestCoexistence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC := rapid.Float64Range(1, 350).Draw(t, "tempC")
		at := func(tempC float64) Saturation {
			s, err := Saturated(tempC)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		s := at(tempC)
		// In the cold liquid, rounding leaves a few mPa.
		if math.Abs(s.Liquid.PressurePa-s.Vapour.PressurePa) > 0.01 || math.Abs(s.Liquid.GibbsJKg-s.Vapour.GibbsJKg) > 1e-5 {
			t.Fatalf("no equilibrium at %v °C: %+v", tempC, s)
		}
		const h = 1e-3
		climb := (at(tempC+h).PressurePa - at(tempC-h).PressurePa) / (2 * h)
		expansion := 1/s.Vapour.DensityKgM3 - 1/s.Liquid.DensityKgM3
		want := s.LatentHeatJKg() / ((tempC + kelvinAtZeroC) * expansion)
		if math.Abs(climb/want-1) > 1e-6 {
			t.Fatalf("dp/dT = %v Pa/K at %v °C, Clausius-Clapeyron says %v", climb, tempC, want)
		}
	})
}

func TestSaturationEverywhereInRange(t *testing.T) {
	previous := 0.0
	for i := 0; ; i++ {
		tempC := triplePointTempC + 0.1*float64(i)
		if tempC > maxSaturationTempC {
			break
		}
		s, err := Saturated(tempC)
		if err != nil {
			t.Fatal(err)
		}
		if !(s.PressurePa > previous) {
			t.Fatalf("pressure %v Pa at %v °C, after %v", s.PressurePa, tempC, previous)
		}
		previous = s.PressurePa
	}
}

// The two formulations agree as closely as the documentation says.
func TestIF97AgainstIAPWS95(t *testing.T) {
	worst := 0.0
	for tempC := 0.01; tempC <= 40; tempC += 0.5 {
		s, err := Saturated(tempC)
		if err != nil {
			t.Fatal(err)
		}
		worst = math.Max(worst, math.Abs(SaturationPressureIF97(tempC)/s.PressurePa-1))
	}
	t.Logf("IF97 within %.2g of IAPWS-95", worst)
	if !(worst < 8e-5) {
		t.Errorf("IF97 is %g away from IAPWS-95, limit 8e-5", worst)
	}
}

func TestSaturationOutOfRange(t *testing.T) {
	for _, tempC := range []float64{-1, 0, 0.009, 360.1, math.NaN(), math.Inf(1)} {
		if s, err := Saturated(tempC); err == nil || !strings.Contains(err.Error(), "must lie from 0.01 to 360 °C") {
			t.Errorf("Saturated(%v) = %v, %v", tempC, s, err)
		}
	}
	for _, tempC := range []float64{-0.01, 373.95, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if p := SaturationPressureIF97(tempC); !math.IsNaN(p) {
			t.Errorf("SaturationPressureIF97(%v) = %v, want NaN", tempC, p)
		}
	}
}

func BenchmarkSaturated(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Saturated(25); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSaturationPressureIF97(b *testing.B) {
	b.ReportAllocs()
	tempC := 25.0
	for b.Loop() {
		tempC += 1e-15 * SaturationPressureIF97(tempC)
	}
}
