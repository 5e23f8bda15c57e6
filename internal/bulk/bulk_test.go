package bulk

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"isohaline/internal/problem"
	"isohaline/seawater"
)

// run sends a table through a batch.
func run(t *testing.T, in string) (out string, problems []string, sum Summary, err error) {
	t.Helper()
	var b strings.Builder
	sum, err = Run(context.Background(), strings.NewReader(in), &b, func(p problem.Problem) { problems = append(problems, p.Error()) })
	return b.String(), problems, sum, err
}

func TestTableShape(t *testing.T) {
	const header = "SP,SA_g_kg,sg_25_25,sg_20_20,sg_20_4,sg_15_15,sg_15.5556_15.5556,sg_25_4,nacl_mass_pct\n"
	// SP 0 is pure water; the values are for the reference tables to test.
	fresh := fmt.Sprintf(",0,1,1,%v,1,1,%v,0\n", seawater.SpecificGravity(0, 20, 4), seawater.SpecificGravity(0, 25, 4))
	empty := strings.Repeat(",", 8) + "\n"
	for _, tc := range []struct{ name, in, out string }{
		{"plain", "SP\n0\n", header + "0" + fresh},
		{"no line end", "SP\n0", header + "0" + fresh},
		{"line ends of two characters", "SP\r\n0\r\n", header + "0" + fresh},
		{"byte order mark", "\uFEFFSP\n0\n", header + "0" + fresh},
		{"byte order mark before a comment", "\uFEFF# a\nSP\n0\n", "# a\n" + header + "0" + fresh},
		{"comments before the header", "# a, \"b\nSP\n0\n", "# a, \"b\n" + header + "0" + fresh},
		{"blank lines", "\n \nSP\n\n0\n\n", header + "0" + fresh},
		{"spaces", " SP \n 0 \n", header + "\" 0 \"" + fresh},
		{"quoted", "\"SP\"\n\"0\"\n", header + "0" + fresh},
		{"other columns", "\"tank, left\",SP,note\na,0,\"b, c\"\n", "\"tank, left\",SP,note," + header[3:] + "a,0,\"b, c\"" + fresh},
		{"unnamed columns", "SP,,\n0,a,b\n", "SP,,," + header[3:] + "0,a,b" + fresh},
		{"a bad row between", "SP\n0\n-1\n0\n", header + "0" + fresh + "-1" + empty + "0" + fresh},
		{"too few cells", "SP,note\n0\n", "SP,note," + header[3:] + "0," + empty},
		{"too many cells", "SP\n0,1\n", header + "0" + empty},
		{"a stray quote spoils one row", "SP,note\n0,a\"b\n0,c\n", "SP,note," + header[3:] + "," + empty + "0,c" + fresh},
	} {
		t.Run(tc.name, func(t *testing.T) {
			out, _, _, err := run(t, tc.in)
			if err != nil {
				t.Fatal(err)
			}
			if out != tc.out {
				t.Errorf("got\n%swant\n%s", out, tc.out)
			}
		})
	}
}

func TestBadRows(t *testing.T) {
	for _, tc := range []struct{ name, in, problem string }{
		{"word", "SP\nsalty\n", `line 2: SP: "salty" is not a number from 0 to 119.4`},
		{"nothing", "SP,note\n,a\n", `line 2: SP: "" is not a number from 0 to 119.4`},
		{"not a number", "SP\nNaN\n", `line 2: SP: "NaN" is not a number from 0 to 119.4`},
		{"infinite", "SP\n+Inf\n", `line 2: SP: "+Inf" is not a number from 0 to 119.4`},
		{"too much for a float", "SP\n1e999\n", `line 2: SP: "1e999" is not a number from 0 to 119.4`},
		{"decimal comma", "SP\n\"35,0\"\n", `line 2: SP: "35,0" is not a number from 0 to 119.4`},
		{"negative", "SP\n-0.1\n", `line 2: SP: "-0.1" is not a number from 0 to 119.4`},
		{"above", "SP\n119.5\n", `line 2: SP: "119.5" is not a number from 0 to 119.4`},
		{"lines count comments and blanks", "# a\n\nSP\n0\n\n-1\n", `line 6: SP: "-1" is not a number from 0 to 119.4`},
		{"cold", "SP,t_degC\n35,-12.2\n", `line 2: t_degC: "-12.2" is not a number from -12.15 to 79.85`},
		{"deep", "SP,t_degC,p_dbar\n35,5,10001\n", `line 2: p_dbar: "10001" is not a number from 0 to 10000`},
		{"ultraviolet", "SP,t_degC,wavelength_nm\n35,5,399\n", `line 2: wavelength_nm: "399" is not a number from 400 to 700`},
		{"conducts too much", "C_mS_cm,t_degC\n400,25\n",
			fmt.Sprintf(`line 2: C_mS_cm: "400" is more than seawater conducts; give 0 to %.2f at this temperature`, seawater.ConductivityFromPracticalSalinity(119.4, 25, 0))},
		{"conducts less than nothing", "C_mS_cm,t_degC\n-1,25\n", `line 2: C_mS_cm: "-1" is not a number from 0 to 1000`},
		{"ice", "t_degC\n-1\n", `line 2: t_degC: "-1" is not a number from 0 to 360`},
		{"humid", "tdb_degC,rh_pct,p_Pa\n25,101,101325\n", `line 2: rh_pct: "101" is not a number from 0 to 100`},
		{"hPa", "tdb_degC,rh_pct,p_Pa\n25,50,1013.25\n", `line 2: p_Pa: "1013.25" is not a number from 30000 to 120000`},
		{"few cells", "SP,note\n35\n", `line 2: has 1 cells under 2 columns; give one for each, with a decimal point, not a comma`},
		{"many cells", "SP\n35,0\n", `line 2: has 2 cells under 1 columns; give one for each, with a decimal point, not a comma`},
		{"open quote", "SP\n\"35\n", `line 2: is not CSV (extraneous or missing " in quoted-field); it comes out empty`},
		{"long", "SP\n" + strings.Repeat("é", 50) + "\n", `line 2: SP: "` + strings.Repeat("é", 40) + `…" is not a number from 0 to 119.4`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, problems, sum, err := run(t, tc.in)
			if err != nil {
				t.Fatal(err)
			}
			if len(problems) != 1 || problems[0] != tc.problem || sum.Bad != 1 {
				t.Errorf("got %q (%d bad), want %q", problems, sum.Bad, tc.problem)
			}
		})
	}
}

func TestRefusedTables(t *testing.T) {
	for _, tc := range []struct{ name, in, err string }{
		{"empty", "", "the table is empty; give a header line"},
		{"comments only", "# a\n", "the table is empty; give a header line"},
		{"nothing known", "salinity\n35\n", "line 1: no column to compute from; give SP"},
		{"semicolons", "SP;t_degC\n35;25\n", "separated by commas"},
		{"twice", "SP,note,SP\n", `column "SP" is there twice`},
		{"another twice", "SP,note,note\n", `column "note" is there twice`},
		{"computed", "# a\nSP,t_degC,rho_kg_m3\n", `line 2: column "rho_kg_m3" would be computed and is there already`},
		{"two salinities", "SP,C_mS_cm,t_degC\n", `column "C_mS_cm" would be computed`},
		{"no temperature", "C_mS_cm\n53\n", "add the column t_degC"},
		{"no pressure", "tdb_degC,rh_pct\n25,50\n", "add p_Pa"},
		{"no humidity", "SP,tdb_degC\n35,25\n", "add rh_pct and p_Pa"},
		{"not CSV", "\"SP\n35\n", "the header is not CSV"},
		{"endless line", "SP\n" + strings.Repeat("1", maxLineBytes+1), "line 2: is longer than 1048576 bytes"},
		{"endless header", strings.Repeat("1", maxLineBytes+1), "line 1: is longer than 1048576 bytes"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, _, _, err := run(t, tc.in)
			if err == nil || !strings.Contains(err.Error(), tc.err) {
				t.Errorf("got %v, want %q", err, tc.err)
			}
		})
	}
}

func TestBothWaterAndAir(t *testing.T) {
	out, problems, _, err := run(t, "t_degC,tdb_degC,rh_pct,p_Pa\n25,25,100,101325\n")
	if err != nil || problems != nil {
		t.Fatal(err, problems)
	}
	header, _, _ := strings.Cut(out, "\n")
	const want = "t_degC,tdb_degC,rh_pct,p_Pa," +
		"p_sat_iapws95_Pa,p_sat_if97_Pa,rho_sat_liquid_kg_m3,latent_heat_kJ_kg," +
		"humidity_ratio_kg_kg,twb_degC,tdew_degC,vapour_pressure_Pa,enthalpy_J_kg,specific_volume_m3_kg,moist_air_density_kg_m3,p_sat_Pa"
	if header != want {
		t.Errorf("header %s, want %s", header, want)
	}
}

func TestExtrapolatedRowsAreCounted(t *testing.T) {
	_, problems, sum, err := run(t, "SP,t_degC\n42,40\n42,40.1\n42.1,40\n0,-2\n0,-2.1\n200,0\n")
	if err != nil || len(problems) != 1 {
		t.Fatal(err, problems)
	}
	if want := (Summary{Rows: 6, Bad: 1, Extrapolated: 3, Fitted: FittedSeawater}); sum != want {
		t.Errorf("got %+v, want %+v", sum, want)
	}
	// 80 mS/cm at 15 °C is beyond SP 42 although the conductivity itself is no
	// more than warm seawater's.
	if _, _, sum, _ = run(t, "C_mS_cm,t_degC\n80,15\n"); sum.Extrapolated != 1 {
		t.Errorf("got %+v, want an extrapolated row", sum)
	}
}

func TestEvaluateSaysWhenItExtrapolates(t *testing.T) {
	for sp, want := range map[float64]bool{42: false, 43: true} {
		if _, extrapolated, err := Evaluate(map[string]float64{"SP": sp}); err != nil || extrapolated != want {
			t.Errorf("SP %v: extrapolated %v, %v", sp, extrapolated, err)
		}
	}
}

// What the limits let through has values, and what they refuse has none: they
// are the limits of the science behind them.
func TestLimitsAreThoseOfTheScience(t *testing.T) {
	for _, state := range []map[string]float64{
		{"SP": 0, "t_degC": -12.15, "p_dbar": 0},
		{"SP": maxSP, "t_degC": -12.15, "p_dbar": 10000},
		{"SP": maxSP, "t_degC": 79.85, "p_dbar": 10000},
		{"SP": 0, "t_degC": 79.85, "p_dbar": 0},
		{"tdb_degC": 0, "rh_pct": 100, "p_Pa": 30000},
		{"tdb_degC": 60, "rh_pct": 100, "p_Pa": 30000},
		{"tdb_degC": 60, "rh_pct": 1e-9, "p_Pa": 120000},
		{"t_degC": 0.01},
		{"t_degC": 360},
	} {
		values, _, err := Evaluate(state)
		if err != nil {
			t.Errorf("%v: %v", state, err)
		}
		for _, v := range values {
			if v.Name != "nacl_mass_pct" && written(v.Is) == "" {
				t.Errorf("%v: %s is not defined", state, v.Name)
			}
		}
	}
}

func TestEvaluateRefuses(t *testing.T) {
	for _, tc := range []struct {
		in  map[string]float64
		err string
	}{
		{nil, "no column to compute from"},
		{map[string]float64{"SP": -1}, "SP: -1 is not a number from 0 to 119.4"},
		{map[string]float64{"C_mS_cm": 50}, "add the column t_degC"},
	} {
		if _, _, err := Evaluate(tc.in); err == nil || !strings.Contains(err.Error(), tc.err) {
			t.Errorf("%v: got %v, want %q", tc.in, err, tc.err)
		}
	}
}

func TestFailingEnds(t *testing.T) {
	broken := errors.New("broken")
	none := func(problem.Problem) {}
	if _, err := Run(context.Background(), iotest.ErrReader(broken), io.Discard, none); !errors.Is(err, broken) {
		t.Errorf("reader: %v", err)
	}
	if _, err := Run(context.Background(), io.MultiReader(strings.NewReader("SP\n35\n"), iotest.ErrReader(broken)), io.Discard, none); !errors.Is(err, broken) {
		t.Errorf("reader after the header: %v", err)
	}
	if _, err := Run(context.Background(), strings.NewReader("# a\nSP\n35\n"), failing{broken}, none); !errors.Is(err, broken) {
		t.Errorf("writer: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Run(ctx, strings.NewReader("SP\n35\n"), io.Discard, none); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// endless is a table of n rows, made as it is read.
type endless struct {
	n    int
	left []byte
}

func (e *endless) Read(p []byte) (int, error) {
	if len(e.left) == 0 {
		if e.n == 0 {
			return 0, io.EOF
		}
		e.left = fmt.Appendf(nil, "%d.%d\n", e.n%42, e.n%10)
		e.n--
	}
	n := copy(p, e.left)
	e.left = e.left[n:]
	return n, nil
}

// A long table takes no more memory than a short one.
func TestMemoryDoesNotGrow(t *testing.T) {
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	const rows, look, allowed = 40_000, 5_000, 1 << 20
	before, most, seen := heap(), uint64(0), 0
	watch := writerFunc(func(p []byte) (int, error) {
		if seen++; seen%(look/100) == 0 {
			most = max(most, heap())
		}
		return len(p), nil
	})
	sum, err := Run(context.Background(), io.MultiReader(strings.NewReader("SP\n"), &endless{n: rows}), watch, func(p problem.Problem) { t.Error(p) })
	if err != nil || sum.Rows != rows {
		t.Fatal(sum, err)
	}
	if most == 0 || most > before+allowed {
		t.Errorf("heap %d bytes before, %d during", before, most)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

func BenchmarkRun(b *testing.B) {
	for _, bc := range []struct{ name, header, row string }{
		{"seawater", "SP,t_degC\n", "35,25\n"},
		{"pure water", "t_degC\n", "25\n"},
		{"air", "tdb_degC,rh_pct,p_Pa\n", "25,50,101325\n"},
	} {
		b.Run(bc.name, func(b *testing.B) {
			in := io.MultiReader(strings.NewReader(bc.header), io.LimitReader(repeated(bc.row), int64(b.N*len(bc.row))))
			sum, err := Run(context.Background(), in, io.Discard, func(p problem.Problem) { b.Fatal(p) })
			if err != nil || sum.Rows != b.N {
				b.Fatal(sum, err)
			}
		})
	}
}

// repeated is a text over and over.
type repeated string

func (r repeated) Read(p []byte) (int, error) {
	n := 0
	for len(p)-n >= len(r) {
		n += copy(p[n:], r)
	}
	if n == 0 {
		return 0, io.ErrShortBuffer
	}
	return n, nil
}
