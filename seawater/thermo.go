package seawater

import "math"

// ctHeatCapacityJKgK turns potential enthalpy into Conservative Temperature:
// TEOS-10 manual eq. (3.3.3).
const ctHeatCapacityJKgK = 3991.86795711963

// Density gives the in-situ density of seawater in kg/m³ from Absolute Salinity
// in g/kg, temperature in °C and sea pressure in dbar: 1/g_p (TEOS-10 manual
// eq. 2.8.1). Standard uncertainty at atmospheric pressure about 4e-6 (TEOS-10's
// own estimate, from memory). Region and NaN as in the package comment.
func Density(saGKg, tempC, pressureDbar float64) float64 {
	return 1 / specificVolume(saGKg, tempC, pressureDbar)
}

// specificVolume is g_p in m³/kg.
func specificVolume(saGKg, tempC, pressureDbar float64) float64 {
	if !inRegion(saGKg, tempC, pressureDbar) {
		return math.NaN()
	}
	r := reduce(saGKg, tempC, pressureDbar)
	return (waterGibbs.dz(r.y, r.z) + r.salineDz()) / reducingPressurePa
}

// HeatCapacity gives the isobaric specific heat capacity in J/(kg K): -T g_TT
// (TEOS-10 manual eq. 2.20.1). Region and NaN as in the package comment.
func HeatCapacity(saGKg, tempC, pressureDbar float64) float64 {
	if !inRegion(saGKg, tempC, pressureDbar) {
		return math.NaN()
	}
	return heatCapacity(reduce(saGKg, tempC, pressureDbar))
}

func heatCapacity(r reduced) float64 {
	gTT := (waterGibbs.dyy(r.y, r.z) + r.salineDyy()) / (reducingTempC * reducingTempC)
	return -r.kelvin() * gTT
}

func (r reduced) kelvin() float64 { return kelvinAtZeroC + reducingTempC*r.y }

// entropy is -g_T in J/(kg K).
func entropy(r reduced) float64 {
	return -(waterGibbs.dy(r.y, r.z) + r.salineDy()) / reducingTempC
}

// enthalpy is g - T g_T in J/kg.
func enthalpy(r reduced) float64 {
	return waterGibbs.at(r.y, r.z) + r.salineG() + r.kelvin()*entropy(r)
}

// ConservativeTemperature gives, in °C, the measure of heat content that
// mixing conserves: the enthalpy the parcel would have at the surface over a
// fixed heat capacity (TEOS-10 manual eq. 3.3.1). Region and NaN as in the
// package comment.
func ConservativeTemperature(saGKg, tempC, pressureDbar float64) float64 {
	if !inRegion(saGKg, tempC, pressureDbar) {
		return math.NaN()
	}
	return enthalpy(atSurface(reduce(saGKg, tempC, pressureDbar))) / ctHeatCapacityJKgK
}

// atSurface moves a state to the surface without exchange of heat or salt:
// Newton's method on entropy. Temperature moves by a few kelvin and entropy is
// nearly linear over that, so four steps reach rounding.
func atSurface(r reduced) reduced {
	if r.z == 0 {
		return r
	}
	const steps = 4
	kept := entropy(r)
	r.z = 0
	for range steps {
		r.y -= (entropy(r) - kept) * r.kelvin() / (heatCapacity(r) * reducingTempC)
	}
	return r
}
