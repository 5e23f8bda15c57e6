package bulk

import (
	"math"
	"strconv"
	"strings"
	"testing"
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
		keep   func(row map[string]string) bool // nil: every row
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
			keep:   func(row map[string]string) bool { return row["medium"] == "seawater" },
			inputs: []string{"SP", "t_degC", "wavelength_nm"},
			want:   map[string]bound{"refractive_index": {rel: 1e-12}},
		},
		{
			file:   "refraction.csv", // brine of the same index, CRC Handbook 102nd ed.
			keep:   func(row map[string]string) bool { return row["medium"] == "equal_index" },
			inputs: []string{"SP"},
			want:   map[string]bound{"nacl_mass_pct": {abs: 0.06}}, // the table's own uncertainty
		},
	} {
		t.Run(tc.file, func(t *testing.T) {
			var want []map[string]string
			var in strings.Builder
			in.WriteString(strings.Join(tc.inputs, ",") + "\n")
			for _, row := range reference(t, tc.file) {
				if tc.keep != nil && !tc.keep(row) {
					continue
				}
				want = append(want, row)
				for i, name := range tc.inputs {
					if i > 0 {
						in.WriteByte(',')
					}
					in.WriteString(row[name])
				}
				in.WriteByte('\n')
			}
			out, problems, _, err := run(t, in.String())
			if err != nil || problems != nil {
				t.Fatal(err, problems)
			}
			got := table(t, strings.NewReader(out))
			if len(got) != len(want) || len(want) == 0 {
				t.Fatalf("%d rows of %d", len(got), len(want))
			}
			for name, b := range tc.want {
				compared, worst := 0, 0.0
				for i := range want {
					if want[i][name] == "" {
						if got[i][name] != "" && name != tc.undefinedThere {
							t.Errorf("%s, row %d: got %s where the reference has nothing", name, i+1, got[i][name])
						}
						continue
					}
					compared++
					g, w := number(t, got[i][name]), number(t, want[i][name])
					off, allowed := math.Abs(g-w), b.abs
					if b.rel > 0 {
						allowed = b.rel * math.Abs(w)
					}
					worst = max(worst, off/max(allowed, math.SmallestNonzeroFloat64))
					if !(off <= allowed) {
						t.Errorf("%s, row %d: got %v, want %v within %v", name, i+1, g, w, b)
					}
				}
				if compared == 0 {
					t.Errorf("%s: nothing compared", name)
				}
				t.Logf("%s: %d rows, worst at %.2g of its bound", name, compared, worst)
			}
		})
	}
}

func number(t *testing.T, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
