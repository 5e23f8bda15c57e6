package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/seawater"
)

// TestExchangeLands: a tank simulated by mass of salt, day by day, ends at the
// target to 1e-9 and moves no faster than the rate.
func TestExchangeLands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := SalinityMove{VolumeL: rapid.Float64Range(10, 1e5).Draw(t, "volume"), TempC: rapid.Float64Range(18, 30).Draw(t, "temp"),
			SalinityPSU: rapid.Float64Range(28, 42).Draw(t, "from"), TargetPSU: rapid.Float64Range(28, 42).Draw(t, "to"), RatePSUDay: ptr(rapid.Float64Range(0.2, 3).Draw(t, "rate"))}
		if q.TargetPSU > q.SalinityPSU {
			q.SupplyPSU = ptr(q.TargetPSU + rapid.Float64Range(1, 40).Draw(t, "supply"))
		}
		p, err := q.plan()
		if err != nil {
			t.Fatal(err)
		}
		water := q.VolumeL * densityKgM3(q.SalinityPSU, q.TempC) / litresPerM3
		salt, before := water*q.SalinityPSU, q.SalinityPSU
		for _, kg := range p.dailyKg {
			salt += kg * (p.supply - salt/water)
			if step := math.Abs(salt/water - before); step > *q.RatePSUDay*(1+1e-6) {
				t.Fatalf("a day moves %v", step)
			}
			before = salt / water
		}
		near(t, "salinity", salt/water, q.TargetPSU, 1e-9)
	})
}

// TestTopOffLands: the litres of salt water and the days of topping off with it,
// by mass.
func TestTopOffLands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := SalinityMove{VolumeL: 400, TempC: 25, SalinityPSU: rapid.Float64Range(28, 34).Draw(t, "from"), TargetPSU: 35, Way: "top-off",
			EvaporationLitresDay: rapid.Float64Range(3, 40).Draw(t, "evaporation"), SupplyPSU: ptr(rapid.Float64Range(10, 60).Draw(t, "supply"))}
		a := ask(t, &q)
		water := 400 * densityKgM3(q.SalinityPSU, 25) / litresPerM3
		kg := value(t, a, "top-off-litres") * densityKgM3(*q.SupplyPSU, 25) / litresPerM3
		near(t, "salinity", q.SalinityPSU+kg**q.SupplyPSU/water, 35, 1e-9)
		share, days := value(t, a, "top-off-share")/percent, value(t, a, "top-off-days")
		near(t, "evaporated meanwhile", days*share*q.EvaporationLitresDay*densityKgM3(0, 25)/litresPerM3, kg, 1e-9*kg)
		if rate := (35 - q.SalinityPSU) / days; share > 1+1e-12 || rate > 1+1e-9 {
			t.Errorf("share %v, rate %v", share, rate)
		}
	})
}

// TestOtherWays: dry salt and waiting, by mass of salt.
func TestOtherWays(t *testing.T) {
	q := SalinityMove{VolumeL: 400, TempC: 25, SalinityPSU: 33, TargetPSU: 35, Way: "top-off", EvaporationLitresDay: 4}
	a := ask(t, &q)
	water := 400 * densityKgM3(33, 25) / litresPerM3
	salt := water * seawater.AbsoluteSalinity(33)
	grams := value(t, a, "dry-salt-grams")
	near(t, "dry salt", seawater.PracticalSalinity((salt+grams)/(water+grams/1000)), 35, 1e-9)
	lostKg := value(t, a, "wait-litres") * densityKgM3(0, 25) / litresPerM3
	near(t, "waiting", seawater.PracticalSalinity(salt/(water-lostKg)), 35, 1e-9)
	near(t, "days of waiting", value(t, a, "wait-days")*4, value(t, a, "wait-litres"), 1e-9)
}
