package carbonate_test

import (
	"math"
	"path/filepath"
	"strconv"
	"testing"

	"isohaline/carbonate"
	"isohaline/internal/refcheck"
)

// row is one line of a reference table, by column name.
type row map[string]string

// table reads testdata/name: comment lines that begin with #, a header, rows.
func table(t *testing.T, name string) []row {
	t.Helper()
	var rows []row
	for _, fields := range refcheck.Table(t, filepath.Join("testdata", name)) {
		rows = append(rows, fields)
	}
	return rows
}

func (r row) number(t *testing.T, column string) float64 {
	t.Helper()
	text, found := r[column]
	if !found {
		t.Fatalf("no column %q", column)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return value
}

// worst collects the largest deviation seen under each name.
type worst struct {
	t         *testing.T
	deviation map[string]float64
}

func newWorst(t *testing.T) *worst {
	w := &worst{t, map[string]float64{}}
	t.Cleanup(func() {
		for name, d := range w.deviation {
			t.Logf("%-40s worst deviation %.1e (%.1f digits)", name, d, -math.Log10(d+1e-17))
		}
	})
	return w
}

// relative fails the test if got is off want by more than tolerance of want.
func (w *worst) relative(name string, got, want, tolerance float64) {
	w.t.Helper()
	w.note(name, got, want, math.Abs(got-want)/math.Max(math.Abs(want), math.SmallestNonzeroFloat64), tolerance)
}

// absolute fails the test if got is off want by more than tolerance.
func (w *worst) absolute(name string, got, want, tolerance float64) {
	w.t.Helper()
	w.note(name, got, want, math.Abs(got-want), tolerance)
}

func (w *worst) note(name string, got, want, deviation, tolerance float64) {
	w.t.Helper()
	if got == want {
		deviation = 0
	}
	w.deviation[name] = math.Max(w.deviation[name], deviation)
	if !(deviation <= tolerance) {
		w.t.Errorf("%s: got %.12g, want %.12g, off by %.2e, allowed %.0e", name, got, want, deviation, tolerance)
	}
}

func constantsAt(t testing.TB, salinityPSU, tempC float64, options carbonate.Options) carbonate.Constants {
	t.Helper()
	c, err := carbonate.At(salinityPSU, tempC, options)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func solve(t testing.TB, c carbonate.Constants, a, b carbonate.Known) carbonate.State {
	t.Helper()
	state, err := c.Solve(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return state
}

// densityEOS80 is seawater's density at one atmosphere, kg/m³: Millero and
// Poisson (1981), Deep-Sea Res. 28, 625, as in UNESCO Technical Papers in
// Marine Science 44 (1983). The reference tables convert volumes with it.
func densityEOS80(salinityPSU, tempC float64) float64 {
	s, t := salinityPSU, tempC
	water := 999.842594 + t*(6.793952e-2+t*(-9.095290e-3+t*(1.001685e-4+t*(-1.120083e-6+t*6.536332e-9))))
	a := 0.824493 + t*(-4.0899e-3+t*(7.6438e-5+t*(-8.2467e-7+t*5.3875e-9)))
	b := -5.72466e-3 + t*(1.0227e-4-t*1.6546e-6)
	return water + a*s + b*s*math.Sqrt(s) + 4.8314e-4*s*s
}

// TestDensityEOS80 checks the helper above against the UNESCO 44 check values.
func TestDensityEOS80(t *testing.T) {
	w := newWorst(t)
	for _, c := range []struct{ salinity, temp, want float64 }{
		{35, 5, 1027.67547}, {35, 25, 1023.34306}, {0, 5, 999.96675}, {0, 25, 997.04796},
	} {
		w.absolute("density", densityEOS80(c.salinity, c.temp), c.want, 5e-6)
	}
}
