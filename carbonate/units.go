package carbonate

// IUPAC abridged standard atomic weights 2021, g/mol.
const (
	massH, massO   = 1.008, 15.999
	massMg, massCa = 24.305, 40.078

	massCaO  = massCa + massO
	massLime = massCa + 2*(massO+massH) // Ca(OH)2
)

// umolPerLPerDKH: one degree of German carbonate hardness is 10 mg/L of CaO by
// definition, and each mole of CaO takes up two of acid.
const umolPerLPerDKH = 2 * 10 / massCaO * 1000

const litresPerM3 = 1000

// DKHFromUmolKg is alkalinity in µmol/kg as dKH in water of a density in kg/m³.
func DKHFromUmolKg(umolKg, densityKgM3 float64) float64 {
	return umolKg * densityKgM3 / litresPerM3 / umolPerLPerDKH
}

// UmolKgFromDKH is the inverse of DKHFromUmolKg.
func UmolKgFromDKH(dKH, densityKgM3 float64) float64 {
	return dKH * umolPerLPerDKH / (densityKgM3 / litresPerM3)
}

// CalciumUmolKg is calcium in mg/L as µmol/kg in water of a density in kg/m³.
func CalciumUmolKg(mgL, densityKgM3 float64) float64 {
	return molarUmolKg(mgL, massCa, densityKgM3)
}

// CalciumMgL is the inverse of CalciumUmolKg.
func CalciumMgL(umolKg, densityKgM3 float64) float64 {
	return massMgL(umolKg, massCa, densityKgM3)
}

// MagnesiumUmolKg is magnesium in mg/L as µmol/kg in water of a density in kg/m³.
func MagnesiumUmolKg(mgL, densityKgM3 float64) float64 {
	return molarUmolKg(mgL, massMg, densityKgM3)
}

func molarUmolKg(mgL, molarMass, densityKgM3 float64) float64 {
	return mgL / molarMass * 1000 / (densityKgM3 / litresPerM3)
}

func massMgL(umolKg, molarMass, densityKgM3 float64) float64 {
	return umolKg * (densityKgM3 / litresPerM3) * molarMass / 1000
}
