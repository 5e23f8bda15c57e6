package seawater

import (
	"math"
	"testing"

	"isohaline/internal/refcheck"

	"pgregory.net/rapid"
)

// GSW-Python 3.6.16, SP_from_C.
func TestSalinityFromConductivityAgainstTEOS10(t *testing.T) {
	salinity := refcheck.Column{Name: "practical salinity"}
	conductivity := refcheck.Column{Name: "conductivity"}
	for _, row := range refcheck.Read(t, "testdata/pss78.csv") {
		c, tempC, sp := row.Float("C_mS_cm"), row.Float("t_degC"), row.Float("SP")
		salinity.Abs(row, PracticalSalinityFromConductivity(c, tempC, 0), sp, 1e-12)
		conductivity.Abs(row, ConductivityFromPracticalSalinity(sp, tempC, 0), c, 1e-11)
	}
	salinity.Report(t)
	conductivity.Report(t)
}

// GSW-Python 3.6.16, C_from_SP.
func TestConductivityAgainstTEOS10(t *testing.T) {
	surface := refcheck.Column{Name: "conductivity at the surface"}
	for _, row := range refcheck.Read(t, "testdata/seawater_teos10.csv") {
		surface.Abs(row, ConductivityFromPracticalSalinity(row.Float("SP"), row.Float("t_degC"), 0), row.Float("C_mS_cm"), 1e-10)
	}
	surface.Report(t)

	deep := refcheck.Column{Name: "conductivity under pressure"}
	for _, row := range refcheck.Read(t, "testdata/teos10_under_pressure.csv") {
		if row.Empty("C_mS_cm") {
			continue
		}
		sp, tempC, p := PracticalSalinity(row.Float("SA_g_kg")), row.Float("t_degC"), row.Float("p_dbar")
		deep.Abs(row, ConductivityFromPracticalSalinity(sp, tempC, p), row.Float("C_mS_cm"), 1e-10)
	}
	deep.Report(t)
}

// Fofonoff & Millard 1983, UNESCO Technical Papers in Marine Science 44, pp. 9
// and 11, on IPTS-68.
func TestPublishedSalinity(t *testing.T) {
	salinity := refcheck.Column{Name: "practical salinity, UNESCO 44"}
	for _, row := range refcheck.Read(t, "testdata/seawater_published_checks.csv") {
		if row.Text("quantity") != "practical_salinity" {
			continue
		}
		tolerance := refcheck.HalfLastDigit(row.Float("printed_decimals"))
		got := PracticalSalinityFromConductivity(
			standardConductivityMSCm*row.Float("conductivity_ratio_R"), row.Float("t68_degC")/t68PerT90, row.Float("p_dbar"))
		salinity.Abs(row, got, row.Float("value"), tolerance)
	}
	salinity.Report(t)
}

func TestConductivityRoundTrip(t *testing.T) {
	worst := 0.0
	for _, p := range []float64{0, 10, 1000, 10000} {
		for tempC := -2.0; tempC <= 45; tempC++ {
			for sp := 0.001; sp <= 60; sp += 0.1 * (1 + sp/10) {
				c := ConductivityFromPracticalSalinity(sp, tempC, p)
				worst = math.Max(worst, math.Abs(PracticalSalinityFromConductivity(c, tempC, p)-sp))
			}
		}
	}
	t.Logf("worst SP after a round trip: %.1g", worst)
	if !(worst < 1e-12) {
		t.Fatalf("worst SP after a round trip is off by %g, limit 1e-12", worst)
	}
	rapid.Check(t, func(t *rapid.T) {
		sp, tempC, p := rapid.Float64Range(1e-9, 119).Draw(t, "sp"), drawTempC(t), drawPressureDbar(t)
		c := ConductivityFromPracticalSalinity(sp, tempC, p)
		if back := PracticalSalinityFromConductivity(c, tempC, p); !(math.Abs(back-sp) <= 1e-11) {
			t.Fatalf("SP %v at %v °C, %v dbar came back as %v", sp, tempC, p, back)
		}
	})
}

// More salt conducts better, from the fresh end on and across the border of the
// fresh-water extension.
func TestSalinityRisesWithConductivity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC, p := drawTempC(t), drawPressureDbar(t)
		sp := rapid.Float64Range(0, maxSP-0.01).Draw(t, "sp")
		less, more := ConductivityFromPracticalSalinity(sp, tempC, p), ConductivityFromPracticalSalinity(sp+0.01, tempC, p)
		if !(less < more) {
			t.Fatalf("%v mS/cm at SP %v, %v at SP %v (%v °C, %v dbar)", less, sp, more, sp+0.01, tempC, p)
		}
	})
}

func TestFreshEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC := drawTempC(t)
		s := newSalinityScale(t68PerT90 * tempC)
		if !(s.hill(belowZeroRoot) < 0) {
			t.Fatalf("at %v °C the extension is not below zero at root %v", tempC, belowZeroRoot)
		}
		if !(s.pss78(maxRoot) > maxSP) {
			t.Fatalf("at %v °C the root %v does not pass the highest salinity", tempC, maxRoot)
		}
		root := s.rootAtHillLimit()
		if at, factor := s.pss78(root), s.hillFactor(); math.Abs(at-2) > 1e-14 || !(factor > 0.99 && factor < 1.01) {
			t.Fatalf("at %v °C the extension takes over at SP %v with factor %v", tempC, at, factor)
		}
	})
	if got := ConductivityFromPracticalSalinity(0, 25, 0); got != 0 {
		t.Errorf("conductivity at SP 0 = %v, want 0", got)
	}
	// Next to nothing is next to the zero of the extension, not anywhere else.
	if got := ConductivityFromPracticalSalinity(1e-46, 2.75, 1); !(got > 0.0005 && got < 0.002) {
		t.Errorf("conductivity at SP 1e-46 = %v mS/cm, want about 0.001", got)
	}
	for _, c := range []float64{0, 1e-6, 0.001, 0.0015} {
		if got := PracticalSalinityFromConductivity(c, 25, 0); got != 0 {
			t.Errorf("salinity at %v mS/cm = %v, want 0", c, got)
		}
	}
	// A µS/cm figure taken for mS/cm must not pass as a salinity.
	if got := PracticalSalinityFromConductivity(53000, 25, 0); !math.IsNaN(got) {
		t.Errorf("salinity at 53000 mS/cm = %v, want NaN", got)
	}
}

func BenchmarkPracticalSalinityFromConductivity(b *testing.B) {
	b.ReportAllocs()
	c := 53.0
	for b.Loop() {
		c += 1e-9 * PracticalSalinityFromConductivity(c, 25, 0)
	}
}

func BenchmarkPracticalSalinityFromConductivityFresh(b *testing.B) {
	b.ReportAllocs()
	c := 1.0
	for b.Loop() {
		c += 1e-9 * PracticalSalinityFromConductivity(c, 25, 0)
	}
}

func BenchmarkConductivityFromPracticalSalinity(b *testing.B) {
	b.ReportAllocs()
	sp := 35.0
	for b.Loop() {
		sp += 1e-12 * ConductivityFromPracticalSalinity(sp, 25, 0)
	}
}
