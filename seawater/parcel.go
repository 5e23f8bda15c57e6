package seawater

import "math"

// SpecificVolumes gives the volume in m³ that each kilogram of water and of
// salt takes up in a parcel near Practical Salinity refSP at tempC and the
// surface, so that
//
//	V = m_water waterM3Kg + m_salt saltM3Kg
//
// A balance of water and salt then is a balance of volume too: litres that
// leave and litres that return add up without a density in between. waterM3Kg
// is that of pure water; saltM3Kg is chosen so that density is exactly TEOS-10's
// at refSP. For a refSP of 33 to 37 at 15 to 32 °C it stays within 0.02 % from
// SA 0 to 42 g/kg; for one of 20 to 42, within 0.05 %. It is not the partial
// volume of chemistry: that changes with salinity. Region and NaN as in the
// package comment.
func SpecificVolumes(refSP, tempC float64) (waterM3Kg, saltM3Kg float64) {
	saGKg := AbsoluteSalinity(refSP)
	if !inRegion(saGKg, tempC, 0) {
		return math.NaN(), math.NaN()
	}
	// v(S) = v(0) + S (saltM3Kg - v(0)), and the saline part of v holds S as a
	// factor, so nothing cancels and refSP 0 has its limit.
	r := reduce(saGKg, tempC, 0)
	waterM3Kg = waterGibbs.dz(r.y, r.z) / reducingPressurePa
	saltM3Kg = waterM3Kg + r.perX2(surface.dz)/(reducingPressurePa*reducingSalinity)
	return waterM3Kg, saltM3Kg
}
