package instrument

import (
	"fmt"
	"math"

	"isohaline/seawater"
)

// A mass of table salt in a kilogram of solution, and what it conducts at 20 °C:
// CRC Handbook of Chemistry and Physics, "Electrical conductivity of aqueous
// solutions" (from memory), printed to three figures.
var brineConductivity = [...]struct{ massPercent, mSCm float64 }{
	{1, 16.0}, {2, 30.2}, {5, 70.1}, {10, 126},
}

// BrineConductivityC is the temperature of those.
const BrineConductivityC = 20.0

// BrineConductivityFrac is what the table's rounding and the curve through it
// are good for, one standard deviation.
const BrineConductivityFrac = 0.01

// BrineLikeIndex is the salt in a kilogram of brine, in grams, that bends light
// as seawater of a practical salinity does, at 20 °C: package seawater says how
// (Quan and Fry 1995 against the CRC Handbook's brine). Good to 0.6 g.
// The error is outside psu 0 to 57.
func BrineLikeIndex(psu float64) (gramsPerKg float64, err error) {
	if grams := seawater.BrineScaleReading(psu); !math.IsNaN(grams) {
		return grams, nil
	}
	return 0, fmt.Errorf("salinity %g PSU must lie from 0 to 57", psu)
}

// BrineLikeConductivity is the salt in a kilogram of brine, in grams, that
// conducts as seawater of a practical salinity does, both at 20 °C. The error is
// outside psu 11 to 90, the ends of the table.
//
// Between the table's rows conductivity over mass falls in a straight line
// against the root of the mass: Kohlrausch's law.
func BrineLikeConductivity(psu float64) (gramsPerKg float64, err error) {
	want := seawater.ConductivityFromPracticalSalinity(psu, BrineConductivityC, 0)
	rows := brineConductivity[:]
	if !(want >= rows[0].mSCm && want <= rows[len(rows)-1].mSCm) {
		return 0, fmt.Errorf("salinity %g PSU conducts %.3g mS/cm at %g °C: it must lie from %g to %g mS/cm",
			psu, want, BrineConductivityC, rows[0].mSCm, rows[len(rows)-1].mSCm)
	}
	lo, hi := rows[0].massPercent, rows[len(rows)-1].massPercent
	for range 60 { // halves the way each time: to the last bit
		middle := (lo + hi) / 2
		if brineMSCm(middle) < want {
			lo = middle
		} else {
			hi = middle
		}
	}
	const gramsPerPercent = 10
	return lo * gramsPerPercent, nil
}

func brineMSCm(massPercent float64) float64 {
	rows := brineConductivity[:]
	i := 1
	for i < len(rows)-1 && massPercent > rows[i].massPercent {
		i++
	}
	a, b := rows[i-1], rows[i]
	rootA, rootB := math.Sqrt(a.massPercent), math.Sqrt(b.massPercent)
	share := (math.Sqrt(massPercent) - rootA) / (rootB - rootA)
	perPercent := (1-share)*a.mSCm/a.massPercent + share*b.mSCm/b.massPercent
	return perPercent * massPercent
}

// PotassiumChlorideGramsPerKg is the potassium chloride in a kilogram of
// solution that conducts as seawater of practical salinity 35 does at 15 °C and
// one atmosphere: the definition of the practical scale (UNESCO 1981, Technical
// Papers in Marine Science 36).
const PotassiumChlorideGramsPerKg = 32.4356

// InWater turns grams in a kilogram of solution into grams to a kilogram of
// water.
func InWater(gramsPerKgSolution float64) float64 {
	return gramsPerKgSolution / (1 - gramsPerKgSolution/1000)
}
