package units_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"isohaline/internal/refcheck"
	"isohaline/internal/units"
)

// rows reads a reference table: a comment that names its source, a header, and
// rows.
func rows(t *testing.T, name string) (header []string, body [][]string) {
	t.Helper()
	return refcheck.Lines(t, "testdata/"+name)
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestAlkalinity: IUPAC 2021 atomic weights, arithmetic in the table.
func TestAlkalinity(t *testing.T) {
	_, body := rows(t, "alkalinity.csv")
	for _, row := range body {
		factor := number(t, row[3])
		one, err := units.Alkalinity.Parse("1 " + row[1])
		if err != nil {
			t.Fatal(err)
		}
		// "1 meq/L" is factor dKH; "1 dKH" is factor meq/L, so factor meq/L is 1 dKH.
		if row[1] == "dKH" {
			one, err = units.Alkalinity.Parse(fmt.Sprintf("%v %s", factor, row[2]))
			factor = 1
		}
		if err != nil || math.Abs(one-factor) > 2e-8 { // the table prints 8 decimals
			t.Errorf("%v: got %v, %v", row, one, err)
		}
	}
}

// TestSpecificGravity reads every row of the table at all six reference pairs
// (GSW-Python 3.6.16, rho_t_exact) and wants the practical salinity back.
func TestSpecificGravity(t *testing.T) {
	header, body := rows(t, "specific_gravity.csv")
	worst := 0.0
	for _, row := range body {
		want := number(t, row[0])
		for i, name := range header[1:] {
			pair := strings.Split(strings.TrimPrefix(name, "sg_"), "_")
			forms := []string{fmt.Sprintf("%s SG@%s/%s", row[i+1], pair[0], pair[1])}
			if name == "sg_15.5556_15.5556" {
				forms = append(forms, row[i+1]+" SG@60/60°F", row[i+1]+" SG@60/60 F")
			}
			for _, text := range forms {
				got, err := units.Salinity.Parse(text)
				if err != nil {
					t.Errorf("%s: %v", text, err)
					continue
				}
				worst = max(worst, math.Abs(got-want))
				// 1e-7 of specific gravity, the table's own tolerance, is
				// 1.4e-4 PSU.
				if math.Abs(got-want) > 1.4e-4 {
					t.Errorf("%s: got %.6f PSU, want %v", text, got, want)
				}
			}
		}
	}
	t.Logf("worst difference %.1e PSU", worst)
}

// TestConductivity: PSS-78 through GSW-Python 3.6.16, SP_from_C.
func TestConductivity(t *testing.T) {
	_, body := rows(t, "pss78.csv")
	worst := 0.0
	for _, row := range body {
		text := fmt.Sprintf("%s mS/cm@%s°C", row[0], row[1])
		got, err := units.Salinity.Parse(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		worst = max(worst, math.Abs(got-number(t, row[2])))
	}
	if worst > 1e-8 {
		t.Errorf("worst difference %.1e PSU, want 1e-8", worst)
	}
	t.Logf("worst difference %.1e PSU over %d rows", worst, len(body))
}
