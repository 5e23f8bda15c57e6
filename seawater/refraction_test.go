package seawater

import (
	"math"
	"strings"
	"testing"

	"isohaline/internal/refcheck"

	"pgregory.net/rapid"
)

// brineIndexFresh is where the line of brineIndexPerPercent begins.
const brineIndexFresh = 1.33299161

// Rows by Quan & Fry 1995, CRC Handbook 102nd ed. 2021, and the brine of equal
// index derived from the two.
func TestRefraction(t *testing.T) {
	seawater := refcheck.Column{Name: "index of seawater, Quan & Fry"}
	brine := refcheck.Column{Name: "index of NaCl brine, CRC"}
	equal := refcheck.Column{Name: "brine of equal index, mass %"}
	for _, row := range refcheck.Read(t, "testdata/refraction.csv") {
		switch row.Text("medium") {
		case "seawater":
			sp, tempC, nm, index := row.Float("SP"), row.Float("t_degC"), row.Float("wavelength_nm"), row.Float("refractive_index")
			seawater.Abs(row, RefractiveIndex(sp, tempC, nm), index, 1e-12)
			back, err := PracticalSalinityFromRefractiveIndex(index, tempC, nm)
			if err != nil || math.Abs(back-sp) > 1e-9 {
				t.Errorf("SP %v at %v °C came back as %v, %v", sp, tempC, back, err)
			}
		case "nacl_brine":
			brine.Abs(row, brineIndexFresh+brineIndexPerPercent*row.Float("nacl_mass_pct"), row.Float("refractive_index"), 5e-5)
		case "equal_index":
			got := BrineScaleReading(row.Float("SP")) / gKgPerPercent
			equal.Abs(row, got, row.Float("nacl_mass_pct"), row.Float("nacl_uncertainty_mass_pct"))
		default:
			t.Errorf("unknown medium %q", row.Text("medium"))
		}
	}
	for _, c := range []refcheck.Column{seawater, brine, equal} {
		c.Report(t)
	}
}

// The brine line's two coefficients are the least-squares fit they claim to be.
func TestBrineLineIsLeastSquares(t *testing.T) {
	var n, sx, sy, sxx, sxy float64
	for _, row := range refcheck.Read(t, "testdata/refraction.csv") {
		if row.Text("medium") != "nacl_brine" {
			continue
		}
		x, y := row.Float("nacl_mass_pct"), row.Float("refractive_index")
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	perPercent := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	fresh := (sy - perPercent*sx) / n
	if math.Abs(perPercent-brineIndexPerPercent) > 1e-8 || math.Abs(fresh-brineIndexFresh) > 1e-8 {
		t.Errorf("least squares gives %.8f + %.8f per cent, the constants are %.8f and %.8f",
			fresh, perPercent, brineIndexFresh, brineIndexPerPercent)
	}
}

func TestRefractionRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sp, tempC := rapid.Float64Range(0.001, 119).Draw(t, "sp"), drawTempC(t)
		nm := rapid.Float64Range(minWavelengthNM, maxWavelengthNM).Draw(t, "wavelengthNM")
		back, err := PracticalSalinityFromRefractiveIndex(RefractiveIndex(sp, tempC, nm), tempC, nm)
		if err != nil || math.Abs(back-sp) > 1e-9 {
			t.Fatalf("SP %v at %v °C, %v nm came back as %v, %v", sp, tempC, nm, back, err)
		}
		shown := rapid.Float64Range(0, 60).Draw(t, "readingGKg")
		sp2, err := PracticalSalinityFromBrineScale(shown)
		if err != nil || math.Abs(BrineScaleReading(sp2)-shown) > 1e-12 || sp2 > shown {
			t.Fatalf("reading %v g/kg is SP %v, which reads %v, %v", shown, sp2, BrineScaleReading(sp2), err)
		}
	})
}

// Pure water on an instrument with four decimals.
func TestRoundedFreshWater(t *testing.T) {
	if sp, err := PracticalSalinityFromRefractiveIndex(1.3330, 20, SodiumDNM); sp != 0 || err != nil {
		t.Errorf("index 1.3330 at 20 °C: SP %v, %v; want fresh water", sp, err)
	}
	if sp, err := PracticalSalinityFromSpecificGravity(0.9982, 20, 4); sp != 0 || err != nil {
		t.Errorf("specific gravity 0.9982 at 20/4 °C: SP %v, %v; want fresh water", sp, err)
	}
}

func TestRefractionWithoutSalinity(t *testing.T) {
	for _, c := range []struct {
		index, tempC, nm float64
		says             string
	}{
		{1.3329, 20, SodiumDNM, "refractive index 1.3329 at 20"},
		{1.5, 20, SodiumDNM, "check the reading"},
		{math.NaN(), 20, SodiumDNM, "refractive index NaN"},
		{1.34, -40, SodiumDNM, "temperature must lie"},
		{1.34, 20, 1064, "wavelength from 400 to 700"},
	} {
		_, err := PracticalSalinityFromRefractiveIndex(c.index, c.tempC, c.nm)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: error %v", c, err)
		}
	}
	for _, reading := range []float64{-0.1, 60.1, math.NaN()} {
		if _, err := PracticalSalinityFromBrineScale(reading); err == nil || !strings.Contains(err.Error(), "0 to 60 g/kg") {
			t.Errorf("brine reading %v: error %v", reading, err)
		}
	}
}
