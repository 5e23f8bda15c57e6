package carbonate_test

import (
	"regexp"
	"strconv"
	"testing"

	"isohaline/carbonate"
)

var place = regexp.MustCompile(`^(.*) at S=(\d+) t=(\d+) degC$`)

// TestConversionsAgainstDefinitions: factors by arithmetic from the definition
// 1 dKH = 10 mg/L CaO, IUPAC abridged atomic weights 2021 and EOS-80 density.
func TestConversionsAgainstDefinitions(t *testing.T) {
	w := newWorst(t)
	rows := 0
	for _, r := range table(t, "conversions.csv") {
		from, to := place.FindStringSubmatch(r["from_unit"]), place.FindStringSubmatch(r["to_unit"])
		var got float64
		at := func(m []string) float64 {
			s, _ := strconv.ParseFloat(m[2], 64)
			temp, _ := strconv.ParseFloat(m[3], 64)
			return densityEOS80(s, temp)
		}
		switch {
		case from != nil && from[1] == "dKH" && r["to_unit"] == "umol/kg":
			got = carbonate.UmolKgFromDKH(1, at(from))
		case from != nil && from[1] == "umol/kg" && r["to_unit"] == "dKH":
			got = carbonate.DKHFromUmolKg(1, at(from))
		case to != nil && to[1] == "umol/kg" && r["from_unit"] == "dKH":
			got = carbonate.UmolKgFromDKH(1, at(to))
		default:
			continue // units that the package does not have
		}
		rows++
		w.relative(r["from_unit"]+" to "+r["to_unit"], got, r.number(t, "multiply_by"), 1e-8)
	}
	if rows < 8 {
		t.Errorf("only %d rows were checked", rows)
	}
}

func TestShortConversions(t *testing.T) {
	w := newWorst(t)
	density := densityEOS80(35, 25)
	w.relative("dKH and back", carbonate.UmolKgFromDKH(carbonate.DKHFromUmolKg(2300, density), density), 2300, 1e-14)
	// 412.18 mg/L is 10.2844 mmol/L by calcium's 40.078 g/mol.
	w.relative("calcium", carbonate.CalciumUmolKg(412.18, 1000), 412.18/40.078*1000, 1e-14)
	w.relative("calcium and back", carbonate.CalciumMgL(carbonate.CalciumUmolKg(412, density), density), 412, 1e-14)
	w.relative("magnesium", carbonate.MagnesiumUmolKg(1290, 1000), 1290/24.305*1000, 1e-14)
}
