package seawater

import (
	"fmt"
	"math"
)

// SpecificGravity gives the density of seawater at tempC over that of pure
// water at refTempC, both at the surface, from Practical Salinity and °C.
//
// A specific gravity means nothing without its two temperatures: at SP 35 it is
// 1.0264 at 25/25 °C and 1.0234 at 25/4 °C. The glass of a hydrometer and the
// buoyancy of air are not corrected for. Region and NaN as in the package
// comment.
func SpecificGravity(sp, tempC, refTempC float64) float64 {
	return Density(AbsoluteSalinity(sp), tempC, 0) / Density(0, refTempC, 0)
}

// readingRounding is half the last digit of an instrument with four decimals,
// specific gravity or refractive index: so far below fresh water a reading is
// still fresh water.
const readingRounding = 5e-5

// PracticalSalinityFromSpecificGravity is the inverse: the Practical Salinity
// whose specific gravity at tempC over refTempC is sg. A reading below fresh
// water by no more than its rounding, 5e-5, is 0. The error says so when there
// is no such salinity up to 119.4, the end of the region, or when a temperature
// lies outside it.
func PracticalSalinityFromSpecificGravity(sg, tempC, refTempC float64) (float64, error) {
	fresh, saltiest := SpecificGravity(0, tempC, refTempC), SpecificGravity(maxSP, tempC, refTempC)
	if math.IsNaN(fresh) {
		return 0, fmt.Errorf("specific gravity at %g/%g °C: both temperatures must lie from %.2f to %.2f °C",
			tempC, refTempC, minTempC, maxTempC)
	}
	if !(sg >= fresh-readingRounding && sg <= saltiest) {
		return 0, fmt.Errorf("specific gravity %g at %g/%g °C: must lie from %.5f (fresh water) to %.5f; check the reading and both temperatures",
			sg, tempC, refTempC, fresh, saltiest)
	}
	if sg <= fresh {
		return 0, nil
	}
	density := func(saGKg float64) float64 { return Density(saGKg, tempC, 0) }
	saGKg := solveRising(density, sg*Density(0, refTempC, 0), 0, maxSAGKg)
	return PracticalSalinity(saGKg), nil
}
