package bench

import (
	"math"
	"testing"

	"isohaline/internal/units"
)

// TestShown: by what people write; the factors are those of NIST SP 811 B.8.
func TestShown(t *testing.T) {
	for _, c := range []struct {
		value      float64
		unit       string
		metric, us string
	}{
		{3.785411784, "L", "3.79 L", "1 gal"},
		{25, "°C", "25 °C", "77 °F"},
		{-1, "°C difference", "-1 °C", "-1.8 °F"},
		{4.136854, "bar", "4.14 bar", "60 psi"},
		{453.59237, "g", "454 g", "1 lb"},
		{12345, "g", "12.3 kg", "27.2 lb"},
		{35.123, "PSU", "35.12 PSU", "35.12 PSU"},
		{8.05, "pH", "8.050", "8.050"},
		{-0.0001, "pH", "0.000", "0.000"},
		{1.0264, "SG", "1.0264", "1.0264"},
		{1.338858, "nD", "1.33886", "1.33886"},
		{1023.344, "kg/m³", "1023.3 kg/m³", "1023.3 kg/m³"},
		{0.000001, "dKH", "0 dKH", "0 dKH"},
		{120, "mg/L", "120 mg/L", "120 mg/L"},
		{math.NaN(), "dKH", "unknown dKH", "unknown dKH"},
	} {
		if got := Shown(c.value, c.unit, units.Metric); got != c.metric {
			t.Errorf("%v %s: %q, want %q", c.value, c.unit, got, c.metric)
		}
		if got := Shown(c.value, c.unit, units.US); got != c.us {
			t.Errorf("%v %s: %q, want %q", c.value, c.unit, got, c.us)
		}
	}
	if got := signed(0.3, "PSU", units.Metric); got != "+0.3 PSU" {
		t.Errorf("%q", got)
	}
}
