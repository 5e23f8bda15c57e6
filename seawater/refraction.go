package seawater

import (
	"fmt"
	"math"
)

// SodiumDNM is the wavelength in nm at which refractometers are marked.
const SodiumDNM = 589.3

// Coefficients of Quan & Fry 1995, Empirical equation for the index of
// refraction of seawater, Applied Optics 34(18), 3477-3480, eq. (3).
const (
	quanFryN0 = 1.31405
	quanFryN1 = 1.779e-4
	quanFryN2 = -1.05e-6
	quanFryN3 = 1.6e-8
	quanFryN4 = -2.02e-6
	quanFryN5 = 15.868
	quanFryN6 = 0.01155
	quanFryN7 = -0.00423
	quanFryN8 = -4382.0
	quanFryN9 = 1.1455e6

	minWavelengthNM = 400.0
	maxWavelengthNM = 700.0
)

// RefractiveIndex gives the refractive index of seawater relative to air at the
// surface, from Practical Salinity, °C and wavelength in nm. Stated range SP 0
// to 35, 0 to 30 °C, 400 to 700 nm; average error 1.5e-5 by its authors. Outside in salinity
// and temperature it is extrapolated over the region of the package comment;
// NaN beyond that or outside 400 to 700 nm.
func RefractiveIndex(sp, tempC, wavelengthNM float64) float64 {
	if !(sp >= 0 && sp <= maxSP) {
		return math.NaN()
	}
	fresh, perSP := quanFry(tempC, wavelengthNM)
	return fresh + perSP*sp
}

// PracticalSalinityFromRefractiveIndex is the inverse, exact because the index
// is linear in salinity. A reading below fresh water by no more than its
// rounding, 5e-5, is 0. The error says so when there is no such salinity, or when
// temperature or wavelength is outside the range of RefractiveIndex.
func PracticalSalinityFromRefractiveIndex(index, tempC, wavelengthNM float64) (float64, error) {
	fresh, perSP := quanFry(tempC, wavelengthNM)
	if math.IsNaN(fresh) {
		return 0, fmt.Errorf("refractive index at %g °C, %g nm: temperature must lie from %.2f to %.2f °C, wavelength from %g to %g nm",
			tempC, wavelengthNM, minTempC, maxTempC, minWavelengthNM, maxWavelengthNM)
	}
	saltiest := fresh + perSP*maxSP
	if !(index >= fresh-readingRounding && index <= saltiest) {
		return 0, fmt.Errorf("refractive index %g at %g °C: must lie from %.5f (fresh water) to %.5f; check the reading and its temperature",
			index, tempC, fresh, saltiest)
	}
	return max(0, (index-fresh)/perSP), nil
}

// quanFry gives the index of pure water and its rise per unit of salinity.
func quanFry(tempC, wavelengthNM float64) (fresh, perSP float64) {
	if !inRegion(0, tempC, 0) || !(wavelengthNM >= minWavelengthNM && wavelengthNM <= maxWavelengthNM) {
		return math.NaN(), math.NaN()
	}
	t, l := tempC, wavelengthNM
	fresh = quanFryN0 + quanFryN4*t*t + (quanFryN5+quanFryN7*t)/l + quanFryN8/(l*l) + quanFryN9/(l*l*l)
	perSP = quanFryN1 + quanFryN2*t + quanFryN3*t*t + quanFryN6/l
	return fresh, perSP
}
