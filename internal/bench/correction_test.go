package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/carbonate"
	"isohaline/internal/bench/salts"
)

// TestGramsByHand: a degree in 100 L takes 3.0 g of sodium bicarbonate or 1.9 g
// of sodium carbonate; 10 mg/L of calcium in 100 L 3.67 g of the dihydrate (molar
// masses of the CRC Handbook, 100 L times a table, by hand).
func TestGramsByHand(t *testing.T) {
	for _, c := range []struct {
		q    Correction
		name string
		want float64
	}{
		{Correction{TargetAlkalinityDKH: ptr(9)}, "alkalinity-grams", 10 / 56.077 * 2 * 84.007 / 1000 * 100},
		{Correction{TargetAlkalinityDKH: ptr(9), AlkalinityFrom: "sodium-carbonate"}, "alkalinity-grams", 10 / 56.077 * 105.989 / 1000 * 100},
		{Correction{TargetCalciumMgL: ptr(430)}, "calcium-grams", 10 / 40.078 * 147.015 / 1000 * 100},
		{Correction{TargetCalciumMgL: ptr(430), CalciumFrom: "calcium-chloride-anhydrous"}, "calcium-grams", 10 / 40.078 * 110.984 / 1000 * 100},
		{Correction{TargetMagnesiumMgL: ptr(1350)}, "magnesium-grams", 50 / 24.305 * 203.302 / 1000 * 100},
		{Correction{TargetMagnesiumMgL: ptr(1350), MagnesiumFrom: "magnesium-sulfate-heptahydrate"}, "magnesium-grams", 50 / 24.305 * 246.474 / 1000 * 100},
	} {
		c.q.Water = reef()
		c.q.Water.VolumeL, c.q.Water.CalciumMgL, c.q.Water.MagnesiumMgL = 100, ptr(420), ptr(1300)
		near(t, c.name, value(t, ask(t, &c.q), c.name), c.want, 1e-4*c.want)
	}
}

// TestCorrectionsLand: the plan's grams, dissolved in a little water and mixed
// into the tank day by day, bring it to the target: to the 0.3 % by which the
// salts and their water stretch the volume, which the plan leaves out.
func TestCorrectionsLand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Correction{Water: reef()}
		q.Water.VolumeL = rapid.Float64Range(20, 5000).Draw(t, "volume")
		q.Water.CalciumMgL, q.Water.MagnesiumMgL = ptr(rapid.Float64Range(350, 420).Draw(t, "calcium")), ptr(rapid.Float64Range(1150, 1300).Draw(t, "magnesium"))
		q.TargetAlkalinityDKH, q.TargetCalciumMgL, q.TargetMagnesiumMgL = ptr(rapid.Float64Range(8, 11).Draw(t, "to")), ptr(440), ptr(1380)
		q.AlkalinityFrom = rapid.SampledFrom([]string{"", "sodium-carbonate"}).Draw(t, "salt")
		q.MagnesiumFrom = rapid.SampledFrom([]string{"", "magnesium-sulfate-heptahydrate"}).Draw(t, "salt")
		if err := check(&q); err != nil {
			t.Fatal(err)
		}
		courses, _ := q.courses()
		tank, err := q.Water.dissolved()
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range courses {
			for range k.days {
				molKg := k.dailyG / k.salt.GramsPerMol
				stock := carbonate.Water{MassKg: 0.001 * q.Water.VolumeL, TempC: 25, SalinityPSU: 35}
				perKg := molKg / stock.MassKg * umolPerMol
				// A stock solution is out of the range of Mix: half a dozen
				// portions of a weaker one are the same.
				for range portions {
					weak := stock
					weak.TAUmolKg, weak.DICUmolKg = k.salt.Alkalinity()*perKg/portions, k.salt.Carbon()*perKg/portions
					weak.CalciumUmolKg, weak.MagnesiumUmolKg = k.salt.Calcium*perKg/portions, k.salt.Magnesium*perKg/portions
					if tank, err = pour(tank, weak); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
		density := densityKgM3(35, 25)
		stretch := tank.MassKg / q.Water.massKg()
		near(t, "alkalinity", carbonate.DKHFromUmolKg(tank.TAUmolKg, density)*stretch, *q.TargetAlkalinityDKH, 1e-9)
		near(t, "calcium", carbonate.CalciumMgL(tank.CalciumUmolKg, density)*stretch, 440, 1e-7)
		near(t, "magnesium", tank.MagnesiumUmolKg*density/1e6*24.305*stretch, 1380, 1e-7)
	})
}

const portions = 100

// pour is Mix by hand, without its limits.
func pour(a, b carbonate.Water) (carbonate.Water, error) {
	mass := a.MassKg + b.MassKg
	mean := func(x, y float64) float64 { return (x*a.MassKg + y*b.MassKg) / mass }
	return carbonate.Water{MassKg: mass, SalinityPSU: mean(a.SalinityPSU, b.SalinityPSU), TempC: mean(a.TempC, b.TempC),
		TAUmolKg: mean(a.TAUmolKg, b.TAUmolKg), DICUmolKg: mean(a.DICUmolKg, b.DICUmolKg),
		CalciumUmolKg: mean(a.CalciumUmolKg, b.CalciumUmolKg), MagnesiumUmolKg: mean(a.MagnesiumUmolKg, b.MagnesiumUmolKg)}, nil
}

// TestAddedIonsAreNeutral: a plan adds no charge, to 1e-9 of what it adds, and no
// more salinity than the mass of the ions.
func TestAddedIonsAreNeutral(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Correction{Water: reef(), TargetAlkalinityDKH: ptr(rapid.Float64Range(8, 14).Draw(t, "dKH")),
			TargetCalciumMgL: ptr(rapid.Float64Range(420, 600).Draw(t, "calcium")), TargetMagnesiumMgL: ptr(rapid.Float64Range(1300, 1800).Draw(t, "magnesium")),
			MagnesiumFrom: rapid.SampledFrom([]string{"magnesium-chloride-hexahydrate", "magnesium-sulfate-heptahydrate"}).Draw(t, "salt")}
		q.Water.CalciumMgL, q.Water.MagnesiumMgL = ptr(400), ptr(1250)
		courses, _ := q.courses()
		ions := q.added(courses)
		near(t, "charge", ions.Charge(), 0, 1e-9*(ions.Sodium+ions.Chloride+1e-3))
		grams := 0.0
		for _, k := range courses {
			grams += k.totalG() * (1 - float64(k.salt.Hydrate)*18.015/k.salt.GramsPerMol)
		}
		near(t, "mass", ions.Grams()*q.Water.massKg(), grams, 1e-9*grams)
		a := ask(t, &q)
		near(t, "salinity", value(t, a, "salinity-rise"), grams/q.Water.massKg()*35/35.16504, 1e-9)
	})
}

// TestRateHolds: no day moves anything faster than its rate, and the last day
// stands at the target.
func TestRateHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(0.1, 3).Draw(t, "rate")
		q := Correction{Water: reef(), TargetAlkalinityDKH: ptr(rapid.Float64Range(8.001, 15).Draw(t, "to")), RateAlkalinityDKHDay: &rate}
		courses, _ := q.courses()
		k := courses[0]
		for day := range k.days {
			if step := k.at(day+1) - k.at(day); step > rate*(1+1e-6) {
				t.Fatalf("day %d moves %v", day, step)
			}
		}
		near(t, "end", k.at(k.days), k.to, 1e-12)
		if k.days > 1 && (k.to-k.from)/float64(k.days-1) < rate*(1-1e-6) {
			t.Errorf("%d days where %d would do", k.days, k.days-1)
		}
	})
}

// TestBicarbonateAgainstCarbonate: at once the first lowers pH a little and the
// second raises it; settled with the room both raise it alike, for equal
// alkalinity.
func TestBicarbonateAgainstCarbonate(t *testing.T) {
	q := Correction{Water: reef(), TargetAlkalinityDKH: ptr(9)}
	bicarbonate := ask(t, &q)
	q.AlkalinityFrom = "sodium-carbonate"
	carbonateA := ask(t, &q)
	if at := value(t, bicarbonate, "pH-closed"); at >= 0 || at < -0.1 {
		t.Errorf("bicarbonate moves pH by %v", at)
	}
	if at := value(t, carbonateA, "pH-closed"); at <= 0.05 || at > 0.5 {
		t.Errorf("carbonate moves pH by %v", at)
	}
	near(t, "settled", value(t, bicarbonate, "pH-settled"), value(t, carbonateA, "pH-settled"), 1e-9)
	if a := ask(t, &Correction{Water: reef(), TargetAlkalinityDKH: ptr(7), UseAlkalinityDKHDay: 0.5}); value(t, a, "alkalinity-days-falling") != 2 {
		t.Errorf("%+v", a.Figures)
	}
}

// TestSeaIonsBalance: the reference composition's ions that salts change, with
// those that they do not (potassium 0.0102077,
// strontium 2 x 0.0000907, less bromide 0.0008421, borate 0.0001008, fluoride
// 0.0000683, hydroxide 0.0000080, all from Millero et al. 2008 table 4, from
// memory) carry no charge.
func TestSeaIonsBalance(t *testing.T) {
	rest := 0.0102077 + 2*0.0000907 - 0.0008421 - 0.0001008 - 0.0000683 - 0.0000080
	if charge := salts.Seawater().Charge() + rest; math.Abs(charge) > 1e-6 {
		t.Errorf("charge %v eq/kg", charge)
	}
}
