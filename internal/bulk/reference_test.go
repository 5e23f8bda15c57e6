package bulk

import (
	"encoding/csv"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"isohaline/internal/refcheck"
)

// bound is how far a computed column may lie from a reference: relative where
// rel is set, or else absolute.
type bound struct{ rel, abs float64 }

// TestReferenceTables sends published tables through a batch, as a reader
// would. Each file's first line names the library and version it was made by.
// The bounds are those of a correct independent implementation, as said there.
func TestReferenceTables(t *testing.T) {
	const sameFormula = 1e-9
	for _, tc := range []struct {
		file   string
		medium string // of the rows to keep; empty: every row
		inputs []string
		want   map[string]bound
		// undefinedThere: columns that the reference leaves empty where ours has
		// the limit of the formula.
		undefinedThere string
	}{
		{
			file:   "seawater_teos10.csv", // TEOS-10 by the official library
			inputs: []string{"SP", "t_degC"},
			want: map[string]bound{
				"SA_g_kg":             {rel: 1e-15},
				"CT_degC":             {rel: sameFormula},
				"rho_kg_m3":           {rel: sameFormula},
				"cp_J_kg_K":           {rel: sameFormula},
				"C_mS_cm":             {rel: sameFormula},
				"latent_heat_J_kg":    {rel: sameFormula},
				"osmotic_coefficient": {rel: 1e-6}, // choice of gas constant and molar mass
				"water_activity":      {rel: 5e-8},
			},
			undefinedThere: "osmotic_coefficient",
		},
		{
			file:   "pss78.csv", // PSS-78 by the official library
			inputs: []string{"C_mS_cm", "t_degC"},
			want:   map[string]bound{"SP": {rel: sameFormula}},
		},
		{
			file:   "specific_gravity.csv", // densities of TEOS-10
			inputs: []string{"SP"},
			want: map[string]bound{
				"sg_25_25": {abs: 1e-7}, "sg_20_20": {abs: 1e-7}, "sg_20_4": {abs: 1e-7},
				"sg_15_15": {abs: 1e-7}, "sg_15.5556_15.5556": {abs: 1e-7}, "sg_25_4": {abs: 1e-7},
			},
		},
		{
			file:   "vapour_pressure_iapws.csv", // IAPWS-95 and IF97 by a library
			inputs: []string{"t_degC"},
			want: map[string]bound{
				"p_sat_iapws95_Pa": {rel: 1e-8}, "p_sat_if97_Pa": {rel: 1e-8},
				"rho_sat_liquid_kg_m3": {rel: 1e-8}, "latent_heat_kJ_kg": {rel: 1e-8},
			},
		},
		{
			file:   "psychrometrics_psychrolib.csv", // ASHRAE 2017 by a library
			inputs: []string{"tdb_degC", "rh_pct", "p_Pa"},
			want: map[string]bound{
				"humidity_ratio_kg_kg": {rel: sameFormula}, "vapour_pressure_Pa": {rel: sameFormula},
				"enthalpy_J_kg": {rel: sameFormula}, "specific_volume_m3_kg": {rel: sameFormula},
				"moist_air_density_kg_m3": {rel: sameFormula}, "p_sat_Pa": {rel: sameFormula},
				// The library's iteration stops at 0.001 °C.
				"twb_degC": {abs: 0.002}, "tdew_degC": {abs: 0.002},
			},
		},
		{
			file:   "refraction.csv", // Quan & Fry 1995
			medium: "seawater",
			inputs: []string{"SP", "t_degC", "wavelength_nm"},
			want:   map[string]bound{"refractive_index": {rel: 1e-12}},
		},
		{
			file:   "refraction.csv", // brine of the same index, CRC Handbook 102nd ed.
			medium: "equal_index",
			inputs: []string{"SP"},
			want:   map[string]bound{"nacl_mass_pct": {abs: 0.06}}, // the table's own uncertainty
		},
	} {
		t.Run(tc.file, func(t *testing.T) {
			var want []refcheck.Row
			var in strings.Builder
			in.WriteString(strings.Join(tc.inputs, ",") + "\n")
			for _, row := range refcheck.Read(t, filepath.Join("testdata", tc.file)) {
				if tc.medium != "" && row.Text("medium") != tc.medium {
					continue
				}
				want = append(want, row)
				var cells []string
				for _, name := range tc.inputs {
					cells = append(cells, row.Text(name))
				}
				in.WriteString(strings.Join(cells, ",") + "\n")
			}
			out, problems, _, err := run(t, in.String())
			if err != nil || problems != nil {
				t.Fatal(err, problems)
			}
			got := table(t, out)
			if len(got) != len(want) {
				t.Fatalf("%d rows of %d", len(got), len(want))
			}
			for name, b := range tc.want {
				column := refcheck.Column{Name: name}
				for i, row := range want {
					cell := got[i][name]
					if row.Empty(name) {
						if cell != "" && name != tc.undefinedThere {
							t.Errorf("%s, row %d: got %s where the reference has nothing", name, i+1, cell)
						}
						continue
					}
					v, err := strconv.ParseFloat(cell, 64)
					if err != nil {
						t.Errorf("%s, row %d: %v", name, i+1, err)
					}
					if b.rel > 0 {
						column.Rel(row, v, row.Float(name), b.rel)
					} else {
						column.Abs(row, v, row.Float(name), b.abs)
					}
				}
				column.Report(t)
			}
		})
	}
}

// table reads CSV as maps from column to cell.
func table(t *testing.T, text string) []map[string]string {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}
