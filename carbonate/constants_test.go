package carbonate_test

import (
	"errors"
	"math"
	"testing"

	"isohaline/carbonate"
)

// TestConstantsAgainstLibrary: PyCO2SYS v1.8.3.4, 16 points, each column named
// in the table with its paper.
func TestConstantsAgainstLibrary(t *testing.T) {
	const tolerance = 1e-8 // relative; ten digits are printed
	const umol = 1e6
	w := newWorst(t)
	for _, r := range table(t, "carbonate_constants.csv") {
		s, temp := r.number(t, "salinity"), r.number(t, "temperature_degC")
		c := constantsAt(t, s, temp, carbonate.Options{})
		uppstrom := constantsAt(t, s, temp, carbonate.Options{Borate: carbonate.Uppstrom1974})
		perezFraga := constantsAt(t, s, temp, carbonate.Options{Fluoride: carbonate.PerezFraga1987})
		for column, got := range map[string]float64{
			"K0_mol_per_kg_atm":                     c.K0,
			"K1_total_mol_per_kg":                   c.K1,
			"K2_total_mol_per_kg":                   c.K2,
			"KB_total_mol_per_kg":                   c.KB,
			"KW_total_mol2_per_kg2":                 c.KW,
			"lnKW_sws":                              math.Log(c.KW * c.SeawaterPerTotal),
			"KSO4_free_mol_per_kg":                  c.KS,
			"KF_DicksonRiley1979_free_mol_per_kg":   c.KF,
			"lnKF_PerezFraga1987_total":             math.Log(perezFraga.KF * c.TotalPerFree),
			"H_total_over_H_free":                   c.TotalPerFree,
			"H_sws_over_H_total":                    c.SeawaterPerTotal,
			"total_borate_Lee2010_umol_per_kg":      c.BorateTotal * umol,
			"total_borate_Uppstrom1974_umol_per_kg": uppstrom.BorateTotal * umol,
			"total_sulfate_umol_per_kg":             c.SulfateTotal * umol,
			"total_fluoride_umol_per_kg":            c.FluorideTotal * umol,
			"total_calcium_umol_per_kg":             c.CalciumTotal * umol,
			"Ksp_aragonite_mol2_per_kg2":            c.KspAragonite,
			"Ksp_calcite_mol2_per_kg2":              c.KspCalcite,
			"fugacity_factor_fCO2_over_pCO2":        c.FugacityFactor,
		} {
			w.relative(column, got, r.number(t, column), tolerance)
		}
	}
}

// TestConstantsAgainstPublishedChecks: values printed for salinity 35 and 25 °C
// in the Guide to Best Practices for Ocean CO2 Measurements (2007), chapter 5,
// and Zeebe and Wolf-Gladrow (2001), appendix A.
func TestConstantsAgainstPublishedChecks(t *testing.T) {
	c := constantsAt(t, 35, 25, carbonate.Options{})
	perezFraga := constantsAt(t, 35, 25, carbonate.Options{Fluoride: carbonate.PerezFraga1987})
	// Left out: "ln KW", which the Guide converts to the total scale by a
	// shortcut. It is checked below with the same shortcut.
	got := map[string]float64{
		"ln K0":                    math.Log(c.K0),
		"log10 K1":                 math.Log10(c.K1),
		"log10 K2":                 math.Log10(c.K2),
		"ln KB":                    math.Log(c.KB),
		"ln KS":                    math.Log(c.KS),
		"ln KF":                    math.Log(perezFraga.KF * perezFraga.TotalPerFree),
		"ln KW (Guide convention)": math.Log(c.KW*c.SeawaterPerTotal) - 0.015,
		"log10 Ksp aragonite":      math.Log10(c.KspAragonite),
		"log10 Ksp calcite":        math.Log10(c.KspCalcite),
	}
	w := newWorst(t)
	for _, r := range table(t, "carbonate_published_checks.csv") {
		value, checked := got[r["quantity"]]
		if !checked {
			continue
		}
		delete(got, r["quantity"])
		half := 0.5 * math.Pow(10, -r.number(t, "published_decimals"))
		w.absolute(r["quantity"], value, r.number(t, "published_value"), half)
	}
	for quantity := range got {
		t.Errorf("%s: not in the table", quantity)
	}
}

// TestWatersInPureWater: where salinity ends, the fit must end in pure water's
// constants. Harned and Davis (1943), J. Am. Chem. Soc. 65, 2030, and Harned and
// Scholes (1941), J. Am. Chem. Soc. 63, 1706; as reprinted in handbooks, from
// memory. The papers give three decimals; the fit smooths them.
func TestWatersInPureWater(t *testing.T) {
	w := newWorst(t)
	for _, c := range []struct{ temp, pk1, pk2 float64 }{
		{5, 6.517, 10.557},
		{15, 6.419, 10.430},
		{25, 6.352, 10.329},
		{30, 6.327, 10.290},
	} {
		k := constantsAt(t, 0, c.temp, carbonate.Options{Carbonic: carbonate.Waters2014})
		w.absolute("pK1", -math.Log10(k.K1), c.pk1, 0.002)
		w.absolute("pK2", -math.Log10(k.K2), c.pk2, 0.002)
	}
}

// TestWatersOnTotalScale: the same corrigendum, Waters, Millero and Woosley
// (2014), gives a second set of coefficients fitted on the total scale
// (coefficients from memory). It used another bisulfate constant, hence 0.003;
// a wrong digit in either set would show as far more.
func TestWatersOnTotalScale(t *testing.T) {
	w := newWorst(t)
	for _, s := range []float64{1, 5, 10, 20, 30, 35, 40, 45} {
		for _, temp := range []float64{1, 5, 15, 25, 35, 45} {
			k := constantsAt(t, s, temp, carbonate.Options{Carbonic: carbonate.Waters2014})
			kelvin, root := temp+273.15, math.Sqrt(s)
			lnT := math.Log(kelvin)
			pk1 := -126.34048 + 6320.813/kelvin + 19.568224*lnT +
				13.568513*root + 0.031645*s - 5.3834e-5*s*s +
				(-539.2304*root-5.635*s)/kelvin - 2.0901396*root*lnT
			pk2 := -90.18333 + 5143.692/kelvin + 14.613358*lnT +
				21.389248*root + 0.12452358*s - 3.7447e-4*s*s +
				(-787.3736*root-19.84233*s)/kelvin - 3.3773006*root*lnT
			w.absolute("pK1", -math.Log10(k.K1), pk1, 0.0035)
			w.absolute("pK2", -math.Log10(k.K2), pk2, 0.0035)
		}
	}
}

// TestWatersAgainstLueker: two independent sets of measurements, in the range
// of both, agree within their stated errors (about 0.005 in pK1, 0.01 in pK2
// each, twice over).
func TestWatersAgainstLueker(t *testing.T) {
	w := newWorst(t)
	for s := 20.0; s <= 40; s += 5 {
		for temp := 5.0; temp <= 30; temp += 5 {
			a := constantsAt(t, s, temp, carbonate.Options{Carbonic: carbonate.Waters2014})
			b := constantsAt(t, s, temp, carbonate.Options{})
			w.absolute("pK1", -math.Log10(a.K1), -math.Log10(b.K1), 0.01)
			w.absolute("pK2", -math.Log10(a.K2), -math.Log10(b.K2), 0.02)
		}
	}
}

func TestAtRefuses(t *testing.T) {
	for _, c := range []struct{ salinity, temp float64 }{
		{-0.1, 25}, {50.1, 25}, {35, -0.1}, {35, 45.1},
		{math.NaN(), 25}, {35, math.NaN()}, {math.Inf(1), 25}, {35, math.Inf(-1)},
	} {
		_, err := carbonate.At(c.salinity, c.temp, carbonate.Options{})
		var outside *carbonate.RangeError
		if !errors.As(err, &outside) {
			t.Errorf("At(%v, %v): got %v, want a RangeError", c.salinity, c.temp, err)
		}
	}
	for _, options := range []carbonate.Options{{Carbonic: 2}, {Borate: 2}, {Fluoride: 2}} {
		if _, err := carbonate.At(35, 25, options); err == nil {
			t.Errorf("At with %+v: got no error", options)
		}
	}
	for _, calcium := range []float64{-1, 50_001, math.NaN()} {
		if _, err := constantsAt(t, 35, 25, carbonate.Options{}).WithCalcium(calcium); err == nil {
			t.Errorf("WithCalcium(%v): got no error", calcium)
		}
	}
}
