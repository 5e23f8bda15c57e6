package purewater

import (
	"math"
	"strings"
	"testing"

	"isohaline/internal/refcheck"

	"pgregory.net/rapid"
)

// nineDigits is the precision of the IAPWS-95 check tables.
const nineDigits = 5e-9

// IAPWS R6-95 table 6, from memory; the Python library iapws 1.5.2 agrees.
func TestHelmholtzAgainstTable6(t *testing.T) {
	for _, row := range []struct {
		part                      string
		tempK, rho                float64
		f, d, dd, tau, tautau, dt float64
	}{
		{"ideal", 500, 838.025, 0.204797733e1, 0.384236747, -0.147637878, 0.904611106e1, -0.193249185e1, 0},
		{"residual", 500, 838.025, -0.342693206e1, -0.364366650, 0.856063701, -0.581403435e1, -0.223440737e1, -0.112176915e1},
		{"ideal", 647, 358, -0.156319605e1, 0.899441341, -0.808994726, 0.980343918e1, -0.343316334e1, 0},
		{"residual", 647, 358, -0.121202657e1, -0.714012024, 0.475730696, -0.321722501e1, -0.996029507e1, -0.133214720e1},
	} {
		delta, tau := row.rho/criticalDensityKgM3, criticalTempK/row.tempK
		h := residual(delta, tau)
		if row.part == "ideal" {
			h = ideal(delta, tau)
		}
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"φ", h.f, row.f},
			{"φ_δ", h.d / delta, row.d},
			{"φ_δδ", h.dd / (delta * delta), row.dd},
			{"φ_τ", h.t / tau, row.tau},
			{"φ_ττ", h.tt / (tau * tau), row.tautau},
			{"φ_δτ", h.dt / (delta * tau), row.dt},
		} {
			if !(math.Abs(c.got-c.want) <= nineDigits*math.Abs(c.want)) {
				t.Errorf("%s part at %v K, %v kg/m³: %s = %.10g, want %.10g", row.part, row.tempK, row.rho, c.name, c.got, c.want)
			}
		}
	}
}

// IAPWS R6-95 table 7, from memory; the Python library iapws 1.5.2 agrees.
func TestStateAgainstTable7(t *testing.T) {
	for _, row := range []struct{ tempK, rho, pressurePa, entropyJKgK float64 }{
		{300, 0.9965560e3, 0.992418352e5, 0.393062643e3},
		{300, 0.1005308e4, 0.200022515e8, 0.387405401e3},
		{300, 0.1188202e4, 0.700004704e9, 0.132609616e3},
		{500, 0.4350000, 0.999679423e5, 0.794488271e4},
		{500, 0.4532000e1, 0.999938125e6, 0.682502725e4},
		{500, 0.8380250e3, 0.100003858e8, 0.256690919e4},
		{500, 0.1084564e4, 0.700000405e9, 0.203237509e4},
		{647, 0.3580000e3, 0.220384756e8, 0.432092307e4},
		{900, 0.2410000, 0.100062559e6, 0.916653194e4},
		{900, 0.5261500e2, 0.200000690e8, 0.659070225e4},
		{900, 0.8707690e3, 0.700000006e9, 0.417223802e4},
	} {
		s := stateAt(row.tempK, row.rho)
		if !(math.Abs(s.PressurePa/row.pressurePa-1) <= nineDigits) {
			t.Errorf("pressure at %v K, %v kg/m³ = %.10g Pa, want %.10g", row.tempK, row.rho, s.PressurePa, row.pressurePa)
		}
		if !(math.Abs(s.EntropyJKgK/row.entropyJKgK-1) <= nineDigits) {
			t.Errorf("entropy at %v K, %v kg/m³ = %.10g J/(kg K), want %.10g", row.tempK, row.rho, s.EntropyJKgK, row.entropyJKgK)
		}
	}
}

// The Python library iapws 1.5.2.
func TestLiquidAgainstReferenceLibrary(t *testing.T) {
	columns := map[string]*refcheck.Column{}
	for _, name := range []string{"pressure", "enthalpy", "entropy", "heat capacity", "density from pressure"} {
		columns[name] = &refcheck.Column{Name: name}
	}
	for _, row := range refcheck.Read(t, "testdata/iapws95_liquid.csv") {
		tempK, rho := row.Float("T_K"), row.Float("rho_kg_m3")
		s := stateAt(tempK, rho)
		columns["pressure"].Rel(row, s.PressurePa, row.Float("p_Pa"), 1e-11)
		columns["enthalpy"].Rel(row, s.EnthalpyJKg, row.Float("h_J_kg"), 1e-11)
		columns["entropy"].Rel(row, s.EntropyJKgK, row.Float("s_J_kg_K"), 1e-10)
		columns["heat capacity"].Rel(row, s.HeatCapacityJKgK, row.Float("cp_J_kg_K"), 1e-11)
		liquid, err := Liquid(tempK-kelvinAtZeroC, row.Float("p_Pa"))
		if err != nil {
			t.Error(err)
		}
		columns["density from pressure"].Rel(row, liquid.DensityKgM3, rho, 1e-12)
	}
	for _, c := range columns {
		c.Report(t)
	}
}

func TestLiquidIsConsistent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC := rapid.Float64Range(0, maxLiquidTempC).Draw(t, "tempC")
		pressurePa := rapid.Float64Range(0, 1e8).Draw(t, "pressurePa")
		s, err := Liquid(tempC, pressurePa)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.PressurePa-pressurePa) > 0.01 {
			t.Fatalf("asked for %v Pa at %v °C, got %v", pressurePa, tempC, s.PressurePa)
		}
		tempK := tempC + kelvinAtZeroC
		if g := s.EnthalpyJKg - tempK*s.EntropyJKgK; math.Abs(g-s.GibbsJKg) > 1e-8 {
			t.Fatalf("g = %v but h - T s = %v at %v °C, %v Pa", s.GibbsJKg, g, tempC, pressurePa)
		}
		// dg = v dp on an isotherm and dh = cp dT on an isobar.
		const dp, dT = 1e4, 0.01
		more, err := Liquid(tempC, pressurePa+dp)
		if err != nil {
			t.Fatal(err)
		}
		v := (1/s.DensityKgM3 + 1/more.DensityKgM3) / 2
		if got := (more.GibbsJKg - s.GibbsJKg) / dp; math.Abs(got/v-1) > 1e-7 {
			t.Fatalf("dg/dp = %v, v = %v at %v °C, %v Pa", got, v, tempC, pressurePa)
		}
		if tempC+dT > maxLiquidTempC {
			return
		}
		warmer, err := Liquid(tempC+dT, pressurePa)
		if err != nil {
			t.Fatal(err)
		}
		cp := (s.HeatCapacityJKgK + warmer.HeatCapacityJKgK) / 2
		if got := (warmer.EnthalpyJKg - s.EnthalpyJKg) / dT; math.Abs(got/cp-1) > 1e-7 {
			t.Fatalf("dh/dT = %v, cp = %v at %v °C, %v Pa", got, cp, tempC, pressurePa)
		}
	})
}

func TestLiquidOutOfRange(t *testing.T) {
	for _, c := range []struct {
		tempC, pressurePa float64
		says              string
	}{
		{-12.2, 101325, "temperature -12.2 °C"},
		{100.1, 101325, "temperature 100.1 °C"},
		{math.NaN(), 101325, "temperature NaN"},
		{25, -1, "pressure -1 Pa"},
		{25, math.Inf(1), "pressure +Inf"},
	} {
		if s, err := Liquid(c.tempC, c.pressurePa); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Liquid(%v, %v) = %v, %v", c.tempC, c.pressurePa, s, err)
		}
	}
	for tempC := minLiquidTempC; tempC <= maxLiquidTempC; tempC += 0.25 {
		for _, p := range []float64{0, 101325, 1e8, 1e9} {
			if _, err := Liquid(tempC, p); err != nil {
				t.Error(err)
			}
		}
	}
}

func BenchmarkLiquid(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Liquid(25, 101325); err != nil {
			b.Fatal(err)
		}
	}
}
