package units_test

import (
	"math"
	"strings"
	"testing"

	"isohaline/internal/units"
)

func TestParseChemistry(t *testing.T) {
	for _, c := range []struct {
		kind       *units.Kind
		text       string
		want, tol  float64
		source     string
		exactAgain string
	}{
		{units.Strength, "1500 mg/L", 1.5, 0, "SI Brochure, 9th edition", "1.5 g/L"},
		{units.DissolvedPerDay, "8 ppm/day", 8, 0, "common practice, no source", "8 mg/L/day"},
		{units.Gauge, "60 psi", 4.136854374, 1e-9, "psi, 6.894757 kPa: NIST SP 811 B.8", "4.136854374 bar"},
		{units.Gauge, "410 kPa", 4.1, 0, "SI Brochure, 9th edition", "4.1 bar"},
	} {
		got, err := c.kind.Parse(c.text)
		if err != nil || math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: got %v, %v, want %v (%s)", c.text, got, err, c.want, c.source)
		}
		if exact := c.kind.Exact(got); exact != c.exactAgain {
			t.Errorf("%s: written again as %s, want %s", c.text, exact, c.exactAgain)
		}
	}
	for _, c := range []struct {
		kind *units.Kind
		text string
	}{{units.Strength, "1 g"}, {units.Gauge, "1 mg/L"}, {units.DissolvedPerDay, "8 mg/L"}} {
		if v, err := c.kind.Parse(c.text); err == nil || !strings.Contains(err.Error(), c.kind.Name()) && !strings.Contains(err.Error(), "unit") {
			t.Errorf("%s: read as %v, %v", c.text, v, err)
		}
	}
}
