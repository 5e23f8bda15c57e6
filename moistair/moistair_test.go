package moistair_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"isohaline/internal/refcheck"
	. "isohaline/moistair"
)

// TestAgainstPsychrolib: an independent library of the same handbook's
// equations. Its wet bulb and dew point stop iterating at 0.001 °C.
func TestAgainstPsychrolib(t *testing.T) {
	columns := []struct {
		name               string
		got                func(a Air) float64
		relative, absolute float64
	}{
		{"p_sat_Pa", func(a Air) float64 { return SaturationPressurePa(a.TempC) }, 1e-9, 0},
		{"vapour_pressure_Pa", Air.VapourPressurePa, 1e-9, 0},
		{"humidity_ratio_kg_kg", Air.HumidityRatio, 1e-9, 0},
		{"enthalpy_J_kg", Air.EnthalpyJKg, 1e-9, 0},
		{"specific_volume_m3_kg", Air.SpecificVolumeM3Kg, 1e-9, 0},
		{"moist_air_density_kg_m3", Air.DensityKgM3, 1e-9, 0},
		{"twb_degC", Air.WetBulbC, 0, 0.002},
		{"tdew_degC", Air.DewPointC, 0, 0.002},
	}
	worst := make([]float64, len(columns))
	for _, row := range refcheck.Table(t, "testdata/psychrometrics_psychrolib.csv") {
		a := Air{number(t, row["tdb_degC"]), number(t, row["rh_pct"]) / 100, number(t, row["p_Pa"])}
		for i, c := range columns {
			want := number(t, row[c.name])
			off := math.Abs(c.got(a) - want)
			if off > c.relative*math.Abs(want)+c.absolute {
				t.Errorf("%+v: %s is %.12g, want %.12g", a, c.name, c.got(a), want)
			}
			if c.absolute == 0 {
				off /= math.Abs(want)
			}
			worst[i] = math.Max(worst[i], off)
		}
	}
	for i, c := range columns {
		t.Logf("%-24s worst %.1e", c.name, worst[i])
	}
}

func TestStandardPressure(t *testing.T) {
	for _, row := range refcheck.Table(t, "testdata/standard_pressure_psychrolib.csv") {
		z, want := number(t, row["elevation_m"]), number(t, row["pressure_Pa"])
		if got := PressureAtElevationPa(z); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("%g m: %g Pa, want %g", z, got, want)
		}
	}
	// U.S. Standard Atmosphere 1976, table I (from memory): 1000 and 3000 m.
	for z, want := range map[float64]float64{1000: 89875, 3000: 70109} {
		t.Logf("%g m: %.0f Pa, U.S. Standard Atmosphere %.0f (from memory)", z, PressureAtElevationPa(z), want)
	}
}

// TestSaturationAgainstIAPWS: the reference formulation for water, 1 to 40 °C.
// Hyland and Wexler's fit is older than it; 0.03 % is documented.
func TestSaturationAgainstIAPWS(t *testing.T) {
	worst, rows := 0.0, 0
	for _, row := range refcheck.Table(t, "testdata/vapour_pressure_iapws.csv") {
		if row["p_sat_iapws95_Pa"] == "" {
			continue // below the triple point
		}
		tempC, want := number(t, row["t_degC"]), number(t, row["p_sat_iapws95_Pa"])
		off := math.Abs(SaturationPressurePa(tempC)/want - 1)
		worst, rows = math.Max(worst, off), rows+1
		if off > 3e-4 {
			t.Errorf("%g °C: %g Pa, want %g", tempC, SaturationPressurePa(tempC), want)
		}
	}
	t.Logf("%d rows, worst %.4f %%", rows, 100*worst)
}

// TestSaturationRises, also across the change from ice to water.
func TestSaturationRises(t *testing.T) {
	for tempC := -100.0; tempC < 200; tempC += 0.005 {
		if a, b := SaturationPressurePa(tempC), SaturationPressurePa(tempC+0.005); !(b > a) {
			t.Fatalf("from %g to %g °C: %g to %g Pa", tempC, tempC+0.005, a, b)
		}
	}
}

func anyAir(t *rapid.T) Air {
	return Air{
		TempC:      rapid.Float64Range(-10, 50).Draw(t, "temp"),
		RHFrac:     rapid.Float64Range(0.01, 1).Draw(t, "RH"),
		PressurePa: rapid.Float64Range(70e3, 105e3).Draw(t, "pressure"),
	}
}

// TestOneVapourThreeMeasures: humidity, dew point and wet bulb are the same
// vapour, so each leads back to it.
func TestOneVapourThreeMeasures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := anyAir(t)
		vapour := a.VapourPressurePa()
		if back := SaturationPressurePa(a.DewPointC()); math.Abs(back/vapour-1) > 1e-6 {
			t.Fatalf("%+v: dew point gives back %g Pa of %g", a, back, vapour)
		}
		if back := vapour / SaturationPressurePa(a.TempC); math.Abs(back-a.RHFrac) > 1e-12 {
			t.Fatalf("%+v: humidity comes back as %g", a, back)
		}
		dew, wet := a.DewPointC(), a.WetBulbC()
		if !(dew <= wet+1e-9 && wet <= a.TempC) {
			t.Fatalf("%+v: want dew point %g <= wet bulb %g <= air", a, dew, wet)
		}
		// An adiabatic mixer: the enthalpy gained is that of the water added, at
		// the wet bulb's temperature (eq. 32).
		if wet > 0.1 {
			saturated := Air{wet, 1, a.PressurePa}
			gained := saturated.EnthalpyJKg() - a.EnthalpyJKg()
			water := (saturated.HumidityRatio() - a.HumidityRatio()) * 4186 * wet
			if math.Abs(gained-water) > 5 {
				t.Fatalf("%+v: enthalpy gained %g J/kg, water's %g", a, gained, water)
			}
		}
	})
}

func TestAtTheEdges(t *testing.T) {
	room := Air{24, 0.5, 101325}
	nan := math.NaN()
	for _, row := range []struct {
		name      string
		got, want float64
	}{
		{"no vapour has no dew point", DewPointC(0), math.Inf(-1)},
		{"saturated air is its own wet bulb", Air{24, 1, 101325}.WetBulbC(), 24},
		{"so is mist", Air{24, 1.2, 101325}.WetBulbC(), 24},
		{"all vapour", HumidityRatio(1000, 1000), math.Inf(1)},
		{"coldest dew point", DewPointC(1e-9), -100},
		{"hottest dew point", DewPointC(1e9), 200},
	} {
		if row.got != row.want && math.Abs(row.got-row.want) > 1e-9 {
			t.Errorf("%s: got %g, want %g", row.name, row.got, row.want)
		}
	}
	for i, got := range []float64{
		SaturationPressurePa(-300), SaturationPressurePa(nan), DewPointC(nan), HumidityRatio(2, 1), PressureAtElevationPa(50e3),
		Air{nan, 0.5, 1e5}.WetBulbC(), Air{20, nan, 1e5}.WetBulbC(), Air{20, 0.5, nan}.WetBulbC(),
	} {
		if !math.IsNaN(got) {
			t.Errorf("case %d: got %g, want NaN", i, got)
		}
	}
	if dry := (Air{30, 0, 101325}).WetBulbC(); !(dry > 5 && dry < 15) {
		t.Errorf("bone-dry air at 30 °C has a wet bulb of %g °C, want about 10", dry)
	}
	if room.DensityKgM3() >= (Air{24, 0.1, 101325}).DensityKgM3() {
		t.Error("moist air must be lighter than dry")
	}
}

// Whether the glass sweats, and how far a fan can cool the tank.
func ExampleAir() {
	room := Air{TempC: 24, RHFrac: 0.5, PressurePa: PressureAtElevationPa(40)}
	fmt.Printf("%.0f Pa, dew point %.1f °C, wet bulb %.1f °C\n", room.VapourPressurePa(), room.DewPointC(), room.WetBulbC())
	// Output: 1493 Pa, dew point 12.9 °C, wet bulb 17.1 °C
}

func BenchmarkSaturationPressure(b *testing.B) {
	for b.Loop() {
		SaturationPressurePa(25.5)
	}
}

func BenchmarkWetBulb(b *testing.B) {
	a := Air{24, 0.5, 101325}
	b.ReportAllocs()
	for b.Loop() {
		a.WetBulbC()
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
