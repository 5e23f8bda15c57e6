package carbonate_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"testing"

	"isohaline/carbonate"
)

var place = regexp.MustCompile(`^(.*) at S=(\d+) t=(\d+) degC$`)

// TestConversionsAgainstDefinitions: factors by arithmetic from the definition
// 1 dKH = 10 mg/L CaO, IUPAC abridged atomic weights 2021 and EOS-80 density.
func TestConversionsAgainstDefinitions(t *testing.T) {
	units := map[string]carbonate.AlkalinityUnit{
		"dKH": carbonate.DKH, "meq/L": carbonate.MeqPerL,
		"mg/L CaCO3": carbonate.MgPerLCaCO3, "umol/L": carbonate.UmolPerL, "umol/kg": carbonate.UmolPerKg,
	}
	w := newWorst(t)
	rows := 0
	for _, r := range table(t, "conversions.csv") {
		density := 1000.0
		var known [2]carbonate.AlkalinityUnit
		skip := false
		for i, column := range []string{"from_unit", "to_unit"} {
			name := r[column]
			if at := place.FindStringSubmatch(name); at != nil {
				s, _ := strconv.ParseFloat(at[2], 64)
				temp, _ := strconv.ParseFloat(at[3], 64)
				name, density = at[1], densityEOS80(s, temp)
			}
			unit, found := units[name]
			known[i], skip = unit, skip || !found
		}
		if skip {
			continue // densities and molar masses, which these units are made of
		}
		rows++
		got, err := carbonate.ConvertAlkalinity(1, known[0], known[1], density)
		if err != nil {
			t.Fatal(err)
		}
		w.relative(fmt.Sprintf("%v to %v", known[0], known[1]), got, r.number(t, "multiply_by"), 1e-8)
	}
	if rows < 39 {
		t.Errorf("only %d rows were checked", rows)
	}
}

func TestShortConversions(t *testing.T) {
	w := newWorst(t)
	density := densityEOS80(35, 25)
	long, err := carbonate.ConvertAlkalinity(2300, carbonate.UmolPerKg, carbonate.DKH, density)
	if err != nil {
		t.Fatal(err)
	}
	w.relative("dKH", carbonate.DKHFromUmolKg(2300, density), long, 1e-14)
	w.relative("dKH and back", carbonate.UmolKgFromDKH(long, density), 2300, 1e-14)
	// 412.18 mg/L is 10.2844 mmol/L by calcium's 40.078 g/mol.
	w.relative("calcium", carbonate.CalciumUmolKg(412.18, 1000), 412.18/40.078*1000, 1e-14)
	w.relative("calcium and back", carbonate.CalciumMgL(carbonate.CalciumUmolKg(412, density), density), 412, 1e-14)
	w.relative("magnesium", carbonate.MagnesiumUmolKg(1290, 1000), 1290/24.305*1000, 1e-14)
	w.relative("magnesium and back", carbonate.MagnesiumMgL(carbonate.MagnesiumUmolKg(1290, density), density), 1290, 1e-14)
}

func TestConvertAlkalinityRefuses(t *testing.T) {
	for _, test := range []struct {
		from, to carbonate.AlkalinityUnit
		density  float64
	}{
		{carbonate.DKH, carbonate.UmolPerKg, 1.023}, // kg/L by mistake
		{carbonate.DKH, carbonate.UmolPerKg, math.NaN()},
		{99, carbonate.UmolPerKg, 1023},
		{carbonate.DKH, 99, 1023},
	} {
		if got, err := carbonate.ConvertAlkalinity(8, test.from, test.to, test.density); err == nil {
			t.Errorf("%v to %v at %v: got %v and no error", test.from, test.to, test.density, got)
		}
	}
	for _, value := range []float64{math.NaN(), math.Inf(1)} {
		if got, err := carbonate.ConvertAlkalinity(value, carbonate.DKH, carbonate.MeqPerL, 1023); err == nil {
			t.Errorf("%v dKH: got %v and no error", value, got)
		}
	}
}
