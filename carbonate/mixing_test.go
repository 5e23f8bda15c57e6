package carbonate_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/carbonate"
)

// aftermath is a tank before an addition, mixed with it within minutes, and
// settled with a room at a pCO2.
type aftermath struct {
	mixed                   carbonate.Water
	before, closed, settled carbonate.State
}

func after(t *testing.T, tank, added carbonate.Water, roomPCO2Uatm float64) (a aftermath) {
	t.Helper()
	mixed, err := carbonate.Mix(tank, added)
	if err != nil {
		t.Fatal(err)
	}
	state := func(w carbonate.Water, second carbonate.Known) carbonate.State {
		c, err := w.Constants(carbonate.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return solve(t, c, carbonate.TA(w.TAUmolKg), second)
	}
	return aftermath{mixed, state(tank, carbonate.DIC(tank.DICUmolKg)), state(mixed, carbonate.DIC(mixed.DICUmolKg)), state(mixed, carbonate.PCO2(roomPCO2Uatm))}
}

// TestDilutionAgainstLibrary: seawater diluted by pure water, PyCO2SYS v1.8.3.4
// and EOS-80, before gas exchange and in equilibrium with the starting pCO2.
func TestDilutionAgainstLibrary(t *testing.T) {
	w := newWorst(t)
	for _, r := range table(t, "mixing_dilution.csv") {
		pure := r.number(t, "pure_water_mass_fraction_of_mixture")
		temp, pCO2 := r.number(t, "temperature_degC"), r.number(t, "start_pCO2_uatm")
		start := constantsAt(t, r.number(t, "start_salinity"), temp, carbonate.Options{})
		before := solve(t, start, carbonate.TA(r.number(t, "start_TA_umol_per_kg")), carbonate.PCO2(pCO2))
		tank := carbonate.Water{
			MassKg: 1 - pure, SalinityPSU: start.SalinityPSU, TempC: temp,
			TAUmolKg: before.TAUmolKg, DICUmolKg: before.DICUmolKg,
			CalciumUmolKg: start.CalciumTotal * 1e6,
		}
		after := after(t, tank, carbonate.Water{MassKg: pure, TempC: temp}, pCO2)
		w.relative("DIC before", before.DICUmolKg, r.number(t, "start_DIC_umol_per_kg"), 1e-8)
		w.absolute("pH before", after.before.PHTotal, r.number(t, "start_pH_total"), 1e-6)
		w.relative("salinity", after.mixed.SalinityPSU, r.number(t, "mixed_salinity"), 1e-8)
		w.relative("TA", after.mixed.TAUmolKg, r.number(t, "mixed_TA_umol_per_kg"), 1e-8)
		w.relative("DIC", after.mixed.DICUmolKg, r.number(t, "mixed_DIC_umol_per_kg"), 1e-8)
		w.absolute("closed pH", after.closed.PHTotal, r.number(t, "closed_pH_total"), 1e-6)
		w.relative("closed pCO2", after.closed.PCO2Uatm, r.number(t, "closed_pCO2_uatm"), 1e-6)
		w.relative("closed aragonite", after.closed.OmegaAragonite, r.number(t, "closed_omega_aragonite"), 1e-6)
		w.absolute("settled pH", after.settled.PHTotal, r.number(t, "reequilibrated_pH_total"), 1e-6)
		w.relative("settled DIC", after.settled.DICUmolKg, r.number(t, "reequilibrated_DIC_umol_per_kg"), 1e-6)
		w.relative("settled aragonite", after.settled.OmegaAragonite, r.number(t, "reequilibrated_omega_aragonite"), 1e-6)

		startDKH := carbonate.DKHFromUmolKg(tank.TAUmolKg, densityEOS80(tank.SalinityPSU, temp))
		mixedDKH := carbonate.DKHFromUmolKg(after.mixed.TAUmolKg, densityEOS80(after.mixed.SalinityPSU, temp))
		w.relative("dKH before", startDKH, r.number(t, "start_alkalinity_dKH"), 1e-6)
		w.relative("dKH", mixedDKH, r.number(t, "mixed_alkalinity_dKH"), 1e-6)

		// The trap: the sign depends on gas exchange.
		if pure > 0 && !(after.closed.PHTotal > after.before.PHTotal && after.settled.PHTotal < after.before.PHTotal) {
			t.Errorf("diluted by %v: pH %v, closed %v, settled %v", pure, after.before.PHTotal, after.closed.PHTotal, after.settled.PHTotal)
		}
	}
}

// TestTopOffAlkalinityDrop: pure water for a given fall in dKH, found by root
// search on conservative mixing and EOS-80. Six digits are printed.
func TestTopOffAlkalinityDrop(t *testing.T) {
	w := newWorst(t)
	for _, r := range table(t, "topoff_alkalinity_drop.csv") {
		pure := r.number(t, "pure_water_mass_fraction_of_mixture")
		startDKH := r.number(t, "start_alkalinity_dKH")
		ta := carbonate.UmolKgFromDKH(startDKH, densityEOS80(35, 25))
		w.relative("TA before", ta, r.number(t, "start_TA_umol_per_kg"), 1e-5)
		mixed, err := carbonate.Mix(
			carbonate.Water{MassKg: 1 - pure, SalinityPSU: 35, TempC: 25, TAUmolKg: ta},
			carbonate.Water{MassKg: pure, TempC: 25})
		if err != nil {
			t.Fatal(err)
		}
		drop := startDKH - carbonate.DKHFromUmolKg(mixed.TAUmolKg, densityEOS80(mixed.SalinityPSU, 25))
		w.relative("drop", drop, r.number(t, "alkalinity_drop_dKH"), 1e-5)
		w.relative("salinity", mixed.SalinityPSU, r.number(t, "mixed_salinity"), 1e-5)
	}
}

func drawWater(t *rapid.T, name string) carbonate.Water {
	return carbonate.Water{
		MassKg:          rapid.Float64Range(0.001, 1000).Draw(t, name+" mass"),
		SalinityPSU:     rapid.Float64Range(0, 50).Draw(t, name+" salinity"),
		TempC:           rapid.Float64Range(0, 45).Draw(t, name+" temp"),
		TAUmolKg:        rapid.Float64Range(-1000, 45_000).Draw(t, name+" TA"),
		DICUmolKg:       rapid.Float64Range(0, 10_000).Draw(t, name+" DIC"),
		CalciumUmolKg:   rapid.Float64Range(0, 25_000).Draw(t, name+" Ca"),
		MagnesiumUmolKg: rapid.Float64Range(0, 100_000).Draw(t, name+" Mg"),
	}
}

// amounts are what a water holds in all: mass, salt, heat and moles.
func amounts(w carbonate.Water) [7]float64 {
	return [7]float64{w.MassKg, w.MassKg * w.SalinityPSU, w.MassKg * w.TempC, w.MassKg * w.TAUmolKg,
		w.MassKg * w.DICUmolKg, w.MassKg * w.CalciumUmolKg, w.MassKg * w.MagnesiumUmolKg}
}

// TestMixConserves, in any order and grouping.
func TestMixConserves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mix := func(a, b carbonate.Water) carbonate.Water {
			m, err := carbonate.Mix(a, b)
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		a, b, c := drawWater(t, "a"), drawWater(t, "b"), drawWater(t, "c")
		in := [3][7]float64{amounts(a), amounts(b), amounts(c)}
		for _, mixed := range []carbonate.Water{mix(mix(a, b), c), mix(a, mix(b, c)), mix(c, mix(b, a))} {
			for i, got := range amounts(mixed) {
				want := in[0][i] + in[1][i] + in[2][i]
				scale := math.Abs(in[0][i]) + math.Abs(in[1][i]) + math.Abs(in[2][i])
				if math.Abs(got-want) > 1e-13*scale {
					t.Fatalf("amount %d: got %v, want %v", i, got, want)
				}
			}
		}
	})
}

func TestMixingRefuses(t *testing.T) {
	sea := carbonate.Water{MassKg: 100, SalinityPSU: 35, TempC: 25, TAUmolKg: 2300, DICUmolKg: 2000, CalciumUmolKg: 10_300}
	with := func(change func(*carbonate.Water)) carbonate.Water {
		w := sea
		change(&w)
		return w
	}
	bad := []carbonate.Water{
		with(func(w *carbonate.Water) { w.MassKg = -1 }),
		with(func(w *carbonate.Water) { w.SalinityPSU = 51 }),
		with(func(w *carbonate.Water) { w.TempC = math.NaN() }),
		with(func(w *carbonate.Water) { w.TAUmolKg = 60_000 }),
		with(func(w *carbonate.Water) { w.DICUmolKg = -1 }),
		with(func(w *carbonate.Water) { w.CalciumUmolKg = -1 }),
		with(func(w *carbonate.Water) { w.MagnesiumUmolKg = math.Inf(1) }),
	}
	for _, w := range bad {
		if _, err := carbonate.Mix(w, sea); err == nil {
			t.Errorf("Mix(%+v, sea): got no error", w)
		}
		if _, err := carbonate.Mix(sea, w); err == nil {
			t.Errorf("Mix(sea, %+v): got no error", w)
		}
	}
	if _, err := carbonate.Mix(carbonate.Water{}, carbonate.Water{}); err == nil {
		t.Error("mixing nothing with nothing: got no error")
	}
}
