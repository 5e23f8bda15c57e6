package bulk

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"isohaline/internal/problem"
	"isohaline/internal/refcheck"
)

// TestCarbonateReference sends a reference library's states through a batch, a
// table for each of its pairs. The file's first line names the library, its
// options and its version; the bounds are those said there for the same constants.
func TestCarbonateReference(t *testing.T) {
	inputs := map[string][2]string{
		"TA_DIC": {"TA_umol_kg", "DIC_umol_kg"}, "TA_pH": {"TA_umol_kg", "pH_total"},
		"TA_pCO2": {"TA_umol_kg", "pCO2_uatm"}, "pH_pCO2": {"pH_total", "pCO2_uatm"},
	}
	want := map[string][]refcheck.Row{}
	for _, row := range refcheck.Read(t, filepath.Join("testdata", "carbonate_speciation.csv")) {
		want[row.Text("input_pair")] = append(want[row.Text("input_pair")], row)
	}
	columns := map[string]*refcheck.Column{}
	for pair, rows := range want {
		names, ok := inputs[pair]
		if !ok {
			t.Fatalf("a pair %q is new", pair)
		}
		var in strings.Builder
		fmt.Fprintf(&in, "SP,t_degC,%s,%s\n", names[0], names[1])
		for _, r := range rows {
			fmt.Fprintf(&in, "%s,%s,%s,%s\n", r.Text("salinity"), r.Text("temperature_degC"), r.Text("input1_value"), r.Text("input2_value"))
		}
		out, problems, sum, err := run(t, in.String())
		if err != nil || problems != nil {
			t.Fatal(err, problems)
		}
		extrapolated := 0
		for i, got := range table(t, out) {
			if rows[i].Text("in_Lueker_range") == "no" {
				extrapolated++
			}
			for _, c := range carbonateColumns {
				cell, there := got[c.Name]
				if !there || c.Name == names[0] || c.Name == names[1] {
					continue
				}
				if columns[c.Name] == nil {
					columns[c.Name] = &refcheck.Column{Name: c.Name}
				}
				v, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				switch c.Name {
				case "pH_total":
					columns[c.Name].Abs(rows[i], v, rows[i].Float(c.Name), 1e-6)
				case "revelle_factor":
					columns[c.Name].Rel(rows[i], v, rows[i].Float(c.Name), 1e-5)
				default:
					columns[c.Name].Rel(rows[i], v, rows[i].Float(c.Name), 1e-6)
				}
			}
		}
		if sum.Extrapolated != extrapolated {
			t.Errorf("%s: %d rows extrapolated, the reference says %d", pair, sum.Extrapolated, extrapolated)
		}
	}
	if len(columns) != len(carbonateColumns) {
		t.Errorf("%d columns of %d compared", len(columns), len(carbonateColumns))
	}
	for _, c := range columns {
		c.Report(t)
	}
}

func TestCarbonateRefusals(t *testing.T) {
	const header = "SP,t_degC,TA_umol_kg,DIC_umol_kg\n"
	for _, tc := range []struct{ name, in, problem string }{
		{"fresher than fresh", header + "-1,25,2300,2000\n", `line 2: SP: "-1" is not a number from 0 to 50`},
		{"brine", header + "51,25,2300,2000\n", `line 2: SP: "51" is not a number from 0 to 50`},
		{"hot", header + "35,46,2300,2000\n", `line 2: t_degC: "46" is not a number from 0 to 45`},
		{"negative carbon", header + "35,25,2300,-1\n", `line 2: DIC_umol_kg: "-1" is not a number from 0 to 50000`},
		{"an empty cell", header + "35,25,,2000\n", `line 2: TA_umol_kg: "" is not a number from -5000 to 50000`},
		{"pH 15", "SP,t_degC,TA_umol_kg,pH_total\n35,25,2300,15\n", `line 2: pH_total: "15" is not a number from 2 to 14`},
		{"more acid than the CO2 makes", "SP,t_degC,DIC_umol_kg,pCO2_uatm\n35,25,10,1000\n", `line 2: pCO2_uatm: "1000" does not go with DIC_umol_kg 10: that pCO2 alone dissolves`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			// A good row after it is computed all the same.
			good := "35,25,2300,2000\n"
			if strings.Contains(tc.in, "pH_total") {
				good = "35,25,2300,8\n"
			} else if strings.Contains(tc.in, "pCO2") {
				good = "35,25,2000,400\n"
			}
			out, problems, sum, err := run(t, tc.in+good)
			if err != nil {
				t.Fatal(err)
			}
			if len(problems) != 1 || !strings.HasPrefix(problems[0], tc.problem) || sum.Bad != 1 || sum.Rows != 2 {
				t.Errorf("got %q (%+v), want %q", problems, sum, tc.problem)
			}
			if rows := table(t, out); rows[0]["omega_aragonite"] != "" || rows[1]["omega_aragonite"] == "" {
				t.Errorf("%v", rows)
			}
		})
	}
	for _, tc := range []struct{ name, in, err string }{
		{"one alone", "SP,t_degC,pH_total\n", "needs two of TA_umol_kg, DIC_umol_kg, pH_total and pCO2_uatm, not pH_total"},
		{"three", "SP,t_degC,TA_umol_kg,DIC_umol_kg,pH_total\n", "not TA_umol_kg, DIC_umol_kg, pH_total; give two"},
		{"no water", "TA_umol_kg,DIC_umol_kg\n", "add SP and t_degC"},
		{"no temperature", "SP,TA_umol_kg,DIC_umol_kg\n", "add t_degC"},
		{"computed already", "SP,t_degC,TA_umol_kg,DIC_umol_kg,fCO2_uatm\n", `column "fCO2_uatm" would be computed`},
	} {
		if _, _, _, err := run(t, tc.in+"35,25,2300,2000,1\n"); err == nil || !strings.Contains(err.Error(), tc.err) {
			t.Errorf("%s: got %v, want %q", tc.name, err, tc.err)
		}
	}
}

// TestCarbonateThereAndBack: what comes out of one pair, sent in as any other,
// comes out the same.
func TestCarbonateThereAndBack(t *testing.T) {
	out, problems, _, err := run(t, "SP,t_degC,TA_umol_kg,DIC_umol_kg\n35,25,2300,2000\n20,15,1500,1450\n40,30,4000,3200\n")
	if err != nil || problems != nil {
		t.Fatal(err, problems)
	}
	first := table(t, out)
	for _, names := range [][2]string{{"TA_umol_kg", "pH_total"}, {"TA_umol_kg", "pCO2_uatm"}, {"DIC_umol_kg", "pH_total"}, {"DIC_umol_kg", "pCO2_uatm"}, {"pH_total", "pCO2_uatm"}} {
		in := fmt.Sprintf("SP,t_degC,%s,%s\n", names[0], names[1])
		for _, r := range first {
			in += fmt.Sprintf("%s,%s,%s,%s\n", r["SP"], r["t_degC"], r[names[0]], r[names[1]])
		}
		back, problems, _, err := run(t, in)
		if err != nil || problems != nil {
			t.Fatal(names, err, problems)
		}
		for i, r := range table(t, back) {
			for _, column := range []string{"CO3_umol_per_kg", "omega_aragonite", "HCO3_umol_per_kg"} {
				got, _ := strconv.ParseFloat(r[column], 64)
				want, _ := strconv.ParseFloat(first[i][column], 64)
				if off := (got - want) / want; !(off < 1e-8 && off > -1e-8) {
					t.Errorf("%v, row %d: %s is %v, was %v", names, i+1, column, got, want)
				}
			}
		}
	}
}

func BenchmarkCarbonate(b *testing.B) {
	for _, bc := range []struct{ name, row string }{{"one water", "35,25,2300,2000\n"}, {"a new water each row", "35,25,2300,2000\n34,25,2300,2000\n"}} {
		b.Run(bc.name, func(b *testing.B) {
			rows := strings.Count(bc.row, "\n")
			n := (b.N + rows - 1) / rows
			in := io.MultiReader(strings.NewReader("SP,t_degC,TA_umol_kg,DIC_umol_kg\n"), io.LimitReader(repeated(bc.row), int64(n*len(bc.row))))
			sum, err := Run(context.Background(), in, io.Discard, func(p problem.Problem) { b.Fatal(p) })
			if err != nil || sum.Rows != n*rows {
				b.Fatal(sum, err)
			}
			b.ReportMetric(float64(sum.Rows)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
