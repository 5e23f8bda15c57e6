package seawater

import "math"

// Reference-composition constants: Millero, Feistel, Wright & McDougall 2008,
// The composition of Standard Seawater and the definition of the
// Reference-Composition Salinity Scale, Deep-Sea Research I 55, 50-72.
const (
	// referenceSAGKg is the Absolute Salinity of reference seawater at SP 35.
	referenceSAGKg = 35.16504
	referenceSP    = 35.0
	gKgPerPSU      = referenceSAGKg / referenceSP
	// saltMolarMassKgMol is the mole-weighted mean molar mass of sea salt.
	saltMolarMassKgMol = 0.0314038218
)

// Region of IAPWS R13-08: where its saline part is defined at all.
const (
	maxSAGKg        = 120.0
	minTempC        = 261.0 - kelvinAtZeroC
	maxTempC        = 353.0 - kelvinAtZeroC
	minPressureDbar = -atmospherePa / paPerDbar // absolute zero pressure
	maxPressureDbar = 10000.0
	maxSP           = maxSAGKg / gKgPerPSU
)

const (
	kelvinAtZeroC = 273.15
	atmospherePa  = 101325.0
	paPerDbar     = 1e4
	gPerKg        = 1e3
)

// AbsoluteSalinity gives the Absolute Salinity in g/kg of water of reference
// composition with Practical Salinity sp: (35.16504/35) sp (Millero et al.
// 2008). NaN for sp below 0 or above 119.4, the 120 g/kg of the region.
func AbsoluteSalinity(sp float64) float64 {
	if !(sp >= 0 && sp <= maxSP) {
		return math.NaN()
	}
	return gKgPerPSU * sp
}

// PracticalSalinity is the inverse of AbsoluteSalinity; NaN for saGKg outside 0
// to 120.
func PracticalSalinity(saGKg float64) float64 {
	if !(saGKg >= 0 && saGKg <= maxSAGKg) {
		return math.NaN()
	}
	return saGKg / gKgPerPSU
}

// inRegion says whether a state lies in the region of IAPWS R13-08. It is false
// where any argument is NaN.
func inRegion(saGKg, tempC, pressureDbar float64) bool {
	return saGKg >= 0 && saGKg <= maxSAGKg &&
		tempC >= minTempC && tempC <= maxTempC &&
		pressureDbar >= minPressureDbar && pressureDbar <= maxPressureDbar
}
