package carbonate_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/carbonate"
)

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
		after, err := carbonate.After(tank, carbonate.Water{MassKg: pure, TempC: temp}, pCO2, carbonate.Options{})
		if err != nil {
			t.Fatal(err)
		}
		w.relative("DIC before", before.DICUmolKg, r.number(t, "start_DIC_umol_per_kg"), 1e-8)
		w.absolute("pH before", after.Before.PHTotal, r.number(t, "start_pH_total"), 1e-6)
		w.relative("salinity", after.Mixed.SalinityPSU, r.number(t, "mixed_salinity"), 1e-8)
		w.relative("TA", after.Mixed.TAUmolKg, r.number(t, "mixed_TA_umol_per_kg"), 1e-8)
		w.relative("DIC", after.Mixed.DICUmolKg, r.number(t, "mixed_DIC_umol_per_kg"), 1e-8)
		w.absolute("closed pH", after.Closed.PHTotal, r.number(t, "closed_pH_total"), 1e-6)
		w.relative("closed pCO2", after.Closed.PCO2Uatm, r.number(t, "closed_pCO2_uatm"), 1e-6)
		w.relative("closed aragonite", after.Closed.OmegaAragonite, r.number(t, "closed_omega_aragonite"), 1e-6)
		w.absolute("settled pH", after.Settled.PHTotal, r.number(t, "reequilibrated_pH_total"), 1e-6)
		w.relative("settled DIC", after.Settled.DICUmolKg, r.number(t, "reequilibrated_DIC_umol_per_kg"), 1e-6)
		w.relative("settled aragonite", after.Settled.OmegaAragonite, r.number(t, "reequilibrated_omega_aragonite"), 1e-6)

		startDKH := carbonate.DKHFromUmolKg(tank.TAUmolKg, densityEOS80(tank.SalinityPSU, temp))
		mixedDKH := carbonate.DKHFromUmolKg(after.Mixed.TAUmolKg, densityEOS80(after.Mixed.SalinityPSU, temp))
		w.relative("dKH before", startDKH, r.number(t, "start_alkalinity_dKH"), 1e-6)
		w.relative("dKH", mixedDKH, r.number(t, "mixed_alkalinity_dKH"), 1e-6)

		// The trap: the sign depends on gas exchange.
		if pure > 0 && !(after.Closed.PHTotal > after.Before.PHTotal && after.Settled.PHTotal < after.Before.PHTotal) {
			t.Errorf("diluted by %v: pH %v, closed %v, settled %v", pure, after.Before.PHTotal, after.Closed.PHTotal, after.Settled.PHTotal)
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

// TestEvaporationIsUndoneByPureWater.
func TestEvaporationIsUndoneByPureWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tank := drawWater(t, "tank")
		lost := tank.MassKg * rapid.Float64Range(0, 0.2).Draw(t, "share")
		concentrated, err := carbonate.Evaporate(tank, lost)
		if err != nil {
			t.Skip("beyond salinity 50")
		}
		back, err := carbonate.Mix(concentrated, carbonate.Water{MassKg: lost, TempC: tank.TempC})
		if err != nil {
			t.Fatal(err)
		}
		want := amounts(tank)
		for i, got := range amounts(back) {
			if math.Abs(got-want[i]) > 1e-13*math.Abs(want[i]) {
				t.Fatalf("amount %d: got %v, want %v", i, got, want[i])
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
		if _, err := carbonate.Evaporate(w, 0); err == nil {
			t.Errorf("Evaporate(%+v, 0): got no error", w)
		}
	}
	if _, err := carbonate.Mix(carbonate.Water{}, carbonate.Water{}); err == nil {
		t.Error("mixing nothing with nothing: got no error")
	}
	for _, kg := range []float64{-1, 100, 101, math.NaN()} {
		if got, err := carbonate.Evaporate(sea, kg); err == nil {
			t.Errorf("Evaporate(sea, %v): got %+v and no error", kg, got)
		}
	}
	if _, err := carbonate.After(sea, sea, -1, carbonate.Options{}); err == nil {
		t.Error("a room with pCO2 -1: got no error")
	}
}
