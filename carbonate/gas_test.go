package carbonate_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/carbonate"
)

var still = carbonate.GasExchange{TransferVelocityMS: 6e-6, DepthM: 0.5, RoomPCO2Uatm: 420}

func exchange(t testing.TB, c carbonate.Constants, start carbonate.State, gas carbonate.GasExchange, elapsedS float64) carbonate.State {
	t.Helper()
	s, err := c.Exchange(start, gas, elapsedS)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestExchangeEndsAtEquilibrium: the library's states in equilibrium with the
// air (PyCO2SYS v1.8.3.4) are where gas exchange ends.
func TestExchangeEndsAtEquilibrium(t *testing.T) {
	w := newWorst(t)
	for _, r := range table(t, "mixing_dilution.csv") {
		c := constantsAt(t, r.number(t, "mixed_salinity"), r.number(t, "temperature_degC"), carbonate.Options{})
		mixed := solve(t, c, carbonate.TA(r.number(t, "mixed_TA_umol_per_kg")), carbonate.DIC(r.number(t, "mixed_DIC_umol_per_kg")))
		gas := still
		gas.RoomPCO2Uatm = r.number(t, "start_pCO2_uatm")
		year := exchange(t, c, mixed, gas, 365*86_400)
		w.absolute("pH after a year", year.PHTotal, r.number(t, "reequilibrated_pH_total"), 1e-6)
	}
}

// TestExchangeOverTime: the beginning, the end and what lies between, each by
// another argument than the integration.
func TestExchangeOverTime(t *testing.T) {
	c := constantsAt(t, 35, 25, carbonate.Options{})
	w := newWorst(t)

	// In the first second, the flux is that of the start.
	high := solve(t, c, carbonate.TA(2600), carbonate.PH(8.6))
	settled := solve(t, c, carbonate.TA(2600), carbonate.PCO2(still.RoomPCO2Uatm))
	first := exchange(t, c, high, still, 1)
	flux := still.TransferVelocityMS / still.DepthM * (settled.CO2UmolKg - high.CO2UmolKg)
	w.relative("first second", first.DICUmolKg-high.DICUmolKg, flux, 1e-4)

	// A small departure dies away by 1/e in the equilibration time.
	near := solve(t, c, carbonate.TA(2600), carbonate.DIC(settled.DICUmolKg*(1-1e-5)))
	// Depth over velocity, times the carbon that must move for each CO2 that
	// does (Sarmiento and Gruber 2006, Ocean Biogeochemical Dynamics, 3.3).
	tau := still.DepthM / still.TransferVelocityMS * settled.DICUmolKg / (settled.RevelleFactor * settled.CO2UmolKg)
	later := exchange(t, c, near, still, tau)
	w.relative("1/e", (later.DICUmolKg-settled.DICUmolKg)/(near.DICUmolKg-settled.DICUmolKg), 1/math.E, 1e-4)

	// Infinity and an age are the same.
	if got := exchange(t, c, high, still, math.Inf(1)); got != settled {
		t.Errorf("at infinity: got %+v, want %+v", got, settled)
	}
	if got := exchange(t, c, high, still, 1e300); got != settled {
		t.Errorf("after 1e300 s: got %+v, want %+v", got, settled)
	}
	if got := exchange(t, c, high, still, 0); got.DICUmolKg != high.DICUmolKg {
		t.Errorf("after no time: got %+v, want %+v", got, high)
	}

	// Fine fixed steps of another method (Euler, extrapolated) agree.
	const hours = 48 * 3600.0
	euler := func(steps int) float64 {
		dic := high.DICUmolKg
		for range steps {
			s := solve(t, c, carbonate.TA(2600), carbonate.DIC(dic))
			dic += hours / float64(steps) * still.TransferVelocityMS / still.DepthM * (settled.CO2UmolKg - s.CO2UmolKg)
		}
		return dic
	}
	want := 2*euler(4000) - euler(2000)
	w.relative("two days", exchange(t, c, high, still, hours).DICUmolKg, want, 1e-7)
}

// TestExchangeComposes: two spells are one longer spell, whatever the water,
// and neither overshoots the equilibrium.
func TestExchangeComposes(t *testing.T) {
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		c, err := carbonate.At(rapid.Float64Range(5, 45).Draw(t, "salinity"), rapid.Float64Range(5, 35).Draw(t, "temp"), carbonate.Options{})
		if err != nil {
			t.Fatal(err)
		}
		gas := carbonate.GasExchange{
			TransferVelocityMS: rapid.Float64Range(1e-6, 1e-3).Draw(t, "k"),
			DepthM:             rapid.Float64Range(0.1, 2).Draw(t, "depth"),
			RoomPCO2Uatm:       rapid.Float64Range(300, 5000).Draw(t, "room"),
		}
		start, err := c.Solve(
			carbonate.TA(rapid.Float64Range(200, 10_000).Draw(t, "TA")),
			carbonate.DIC(rapid.Float64Range(0, 10_000).Draw(t, "DIC")))
		if err != nil {
			t.Skip("outside the domain")
		}
		settled, err := c.Solve(carbonate.TA(start.TAUmolKg), carbonate.PCO2(gas.RoomPCO2Uatm))
		if err != nil {
			t.Fatal(err)
		}
		first, second := rapid.Float64Range(1, 1e6).Draw(t, "first"), rapid.Float64Range(1, 1e6).Draw(t, "second")
		at := func(from carbonate.State, elapsedS float64) carbonate.State {
			s, err := c.Exchange(from, gas, elapsedS)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		middle := at(start, first)
		twice, once := at(middle, second), at(start, first+second)
		way := math.Abs(settled.DICUmolKg - start.DICUmolKg)
		off := math.Abs(twice.DICUmolKg-once.DICUmolKg) / math.Max(way, 1e-6)
		worst = math.Max(worst, off)
		if !(off <= 1e-5) {
			t.Fatalf("in two spells %v, in one %v, of a way of %v", twice.DICUmolKg, once.DICUmolKg, way)
		}
		if left := (settled.DICUmolKg - once.DICUmolKg) / (settled.DICUmolKg - start.DICUmolKg); way > 1e-6 && (left < -1e-8 || left > 1) {
			t.Fatalf("%v of the way is left", left)
		}
	})
	t.Logf("worst difference %.1e of the way", worst)
}

func TestGasRefuses(t *testing.T) {
	c := constantsAt(t, 35, 25, carbonate.Options{})
	start := solve(t, c, carbonate.TA(2300), carbonate.DIC(2000))
	nan := math.NaN()
	for _, gas := range []carbonate.GasExchange{
		{},
		{TransferVelocityMS: 1, DepthM: 0.5, RoomPCO2Uatm: 420},
		{TransferVelocityMS: 1e-5, DepthM: 0, RoomPCO2Uatm: 420},
		{TransferVelocityMS: 1e-5, DepthM: 0.5, RoomPCO2Uatm: 0},
		{TransferVelocityMS: nan, DepthM: 0.5, RoomPCO2Uatm: 420},
	} {
		if _, err := c.Exchange(start, gas, 1); err == nil {
			t.Errorf("Exchange with %+v: got no error", gas)
		}
	}
	for _, elapsed := range []float64{-1, nan} {
		if _, err := c.Exchange(start, still, elapsed); err == nil {
			t.Errorf("Exchange for %v s: got no error", elapsed)
		}
	}
	if _, err := c.Exchange(carbonate.State{TAUmolKg: nan}, still, 1); err == nil {
		t.Error("Exchange from NaN: got no error")
	}
}

// FuzzExchange: whatever goes in, there is a finite state or an error.
func FuzzExchange(f *testing.F) {
	f.Add(2300.0, 2000.0, 6e-6, 0.5, 420.0, 3600.0)
	f.Add(50_000.0, 0.0, 1e-2, 1e-3, 10.0, 1e300)
	f.Add(-5000.0, 20_000.0, 1e-8, 20.0, 1e5, 1e12)
	f.Add(0.0, 0.0, 1e-3, 1.0, 400.0, math.Inf(1))
	f.Fuzz(func(t *testing.T, ta, dic, velocity, depth, room, elapsedS float64) {
		c := constantsAt(t, 35, 25, carbonate.Options{})
		s, err := c.Exchange(
			carbonate.State{TAUmolKg: ta, DICUmolKg: dic},
			carbonate.GasExchange{TransferVelocityMS: velocity, DepthM: depth, RoomPCO2Uatm: room},
			elapsedS)
		if err != nil {
			return
		}
		if !(s.PHTotal >= carbonate.PHMin && s.PHTotal <= carbonate.PHMax) || !(s.PCO2Uatm >= 0) || s.TAUmolKg != ta {
			t.Fatalf("got %+v", s)
		}
		lo, hi := math.Min(dic, s.DICUmolKg), math.Max(dic, s.DICUmolKg)
		if settled, err := c.Solve(carbonate.TA(ta), carbonate.PCO2(room)); err == nil {
			slack := 1e-6 * (1 + hi)
			if end := settled.DICUmolKg; lo < math.Min(dic, end)-slack || hi > math.Max(dic, end)+slack {
				t.Fatalf("DIC went from %v to %v, past the equilibrium %v", dic, s.DICUmolKg, end)
			}
		}
	})
}

func BenchmarkExchangeDay(b *testing.B) {
	c := constantsAt(b, 35, 25, carbonate.Options{})
	start := solve(b, c, carbonate.TA(2600), carbonate.PH(8.6))
	quick := still
	quick.TransferVelocityMS = 1e-4
	b.ReportAllocs()
	for b.Loop() {
		exchange(b, c, start, quick, 86_400)
	}
}
