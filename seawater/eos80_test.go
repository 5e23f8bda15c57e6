package seawater

import (
	"math"
	"testing"

	"isohaline/internal/refcheck"
)

// Fofonoff & Millard 1983, UNESCO Technical Papers in Marine Science 44, pp. 19
// and 20, on IPTS-68.
func TestPublishedEOS80(t *testing.T) {
	density := refcheck.Column{Name: "density EOS-80, UNESCO 44"}
	for _, row := range refcheck.Read(t, "testdata/seawater_published_checks.csv") {
		if row.Text("quantity") != "density_eos80" {
			continue
		}
		// The row at SP 40, 40 °C is printed 7e-6 from its own polynomials: one
		// unit in the last digit instead of half.
		tolerance := 2 * refcheck.HalfLastDigit(row.Float("printed_decimals"))
		got := DensityEOS80(row.Float("SP"), row.Float("t68_degC")/t68PerT90, row.Float("p_dbar"))
		density.Abs(row, got, row.Float("value"), tolerance)
	}
	density.Report(t)
}

// Two equations of state, fitted decades apart to different data.
func TestEOS80AgainstTEOS10(t *testing.T) {
	worst := 0.0
	for sp := 0.0; sp <= 42; sp++ {
		for tempC := 0.0; tempC <= 40; tempC++ {
			worst = math.Max(worst, math.Abs(DensityEOS80(sp, tempC, 0)-Density(AbsoluteSalinity(sp), tempC, 0)))
		}
	}
	t.Logf("EOS-80 and TEOS-10 differ by at most %.4f kg/m³ at the surface", worst)
	if !(worst < 0.009) {
		t.Errorf("EOS-80 and TEOS-10 differ by %v kg/m³ at the surface, limit 0.009", worst)
	}
}
