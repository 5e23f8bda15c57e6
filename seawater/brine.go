package seawater

import (
	"fmt"
	"math"
)

// brineIndexPerPercent is how the index of NaCl brine at 20 °C and 589 nm rises
// with mass per cent: the least-squares line through the twelve rows from 0 to 6 % of CRC Handbook of
// Chemistry and Physics, 102nd ed. 2021, Concentrative properties of aqueous
// solutions. The rows are printed to 1e-4 and lie within 5e-5 of the line; a
// quadratic term would be smaller than its own error.
const (
	brineIndexPerPercent = 1.75524e-3
	maxBrinePercent      = 6.0

	brineTempC    = 20.0
	gKgPerPercent = 10.0
)

// BrineScaleReading gives what a refractometer reads in seawater of Practical
// Salinity sp when its scale, in g/kg, was made for NaCl brine and its zero set
// in pure water, at 20 °C or corrected to it. Sea salt bends light more than
// NaCl, so it reads high: 36.5 at SP 35, give or take about 0.6 (the brine table's
// rounding and the equation's error). NaN for sp outside 0 to 57.6, the end of that table.
func BrineScaleReading(sp float64) float64 {
	reading := sp * brineReadingPerSP()
	if !(reading >= 0 && reading <= maxBrinePercent*gKgPerPercent) {
		return math.NaN()
	}
	return reading
}

// PracticalSalinityFromBrineScale is the inverse: the Practical Salinity of
// seawater in which a brine refractometer reads readingGKg. The error says so
// outside 0 to 60 g/kg.
func PracticalSalinityFromBrineScale(readingGKg float64) (float64, error) {
	if !(readingGKg >= 0 && readingGKg <= maxBrinePercent*gKgPerPercent) {
		return 0, fmt.Errorf("brine-scale reading %g g/kg: must lie from 0 to %g g/kg; check the reading and its unit",
			readingGKg, maxBrinePercent*gKgPerPercent)
	}
	return readingGKg / brineReadingPerSP(), nil
}

// brineReadingPerSP is constant because both indices are linear in salt.
func brineReadingPerSP() float64 {
	_, perSP := quanFry(brineTempC, SodiumDNM)
	return perSP / brineIndexPerPercent * gKgPerPercent
}
