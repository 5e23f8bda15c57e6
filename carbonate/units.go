package carbonate

import (
	"fmt"
	"math"
)

// AlkalinityUnit is a unit that alkalinity is read or sold in.
type AlkalinityUnit uint8

const (
	UmolPerKg   AlkalinityUnit = iota // µmol per kg of water, oceanography
	UmolPerL                          // µmol per litre
	MeqPerL                           // meq per litre
	DKH                               // German degrees of carbonate hardness
	MgPerLCaCO3                       // mg per litre as calcium carbonate
)

func (u AlkalinityUnit) String() string {
	switch u {
	case UmolPerKg:
		return "µmol/kg"
	case UmolPerL:
		return "µmol/L"
	case MeqPerL:
		return "meq/L"
	case DKH:
		return "dKH"
	case MgPerLCaCO3:
		return "mg/L CaCO3"
	}
	return fmt.Sprintf("alkalinity unit %d", uint8(u))
}

// IUPAC abridged standard atomic weights 2021, g/mol.
const (
	massH, massC, massO = 1.008, 12.011, 15.999
	massMg, massCa      = 24.305, 40.078

	massCaO   = massCa + massO
	massCaCO3 = massCa + massC + 3*massO
	massLime  = massCa + 2*(massO+massH) // Ca(OH)2
)

// One degree of German carbonate hardness is 10 mg/L of CaO by definition, and
// each mole of CaO or CaCO3 takes up two of acid.
const (
	umolPerLPerDKH     = 2 * 10 / massCaO * 1000
	umolPerLPerMgCaCO3 = 2 / massCaCO3 * 1000
	umolPerLPerMeq     = 1000
)

// Density limits of the conversions: from hot fresh water to brine.
const DensityMinKgM3, DensityMaxKgM3 = 950.0, 1250.0

// ConvertAlkalinity takes an alkalinity from one unit to another. The water's
// density, 950 to 1250 kg/m³, is needed because µmol/kg counts mass and the
// other units count volume; between those others it cancels.
func ConvertAlkalinity(value float64, from, to AlkalinityUnit, densityKgM3 float64) (float64, error) {
	if err := checkRange("density", densityKgM3, DensityMinKgM3, DensityMaxKgM3, "kg/m³"); err != nil {
		return 0, err
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, fmt.Errorf("alkalinity %v %v is no number: give a finite reading", value, from)
	}
	factorFrom, err := from.umolPerL(densityKgM3)
	if err != nil {
		return 0, err
	}
	factorTo, err := to.umolPerL(densityKgM3)
	if err != nil {
		return 0, err
	}
	return value * factorFrom / factorTo, nil
}

// umolPerL is one of a unit in µmol per litre.
func (u AlkalinityUnit) umolPerL(densityKgM3 float64) (float64, error) {
	switch u {
	case UmolPerKg:
		return densityKgM3 / litresPerM3, nil
	case UmolPerL:
		return 1, nil
	case MeqPerL:
		return umolPerLPerMeq, nil
	case DKH:
		return umolPerLPerDKH, nil
	case MgPerLCaCO3:
		return umolPerLPerMgCaCO3, nil
	}
	return 0, fmt.Errorf("%v is none of µmol/kg, µmol/L, meq/L, dKH, mg/L CaCO3", u)
}

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

// MagnesiumMgL is the inverse of MagnesiumUmolKg.
func MagnesiumMgL(umolKg, densityKgM3 float64) float64 {
	return massMgL(umolKg, massMg, densityKgM3)
}

func molarUmolKg(mgL, molarMass, densityKgM3 float64) float64 {
	return mgL / molarMass * 1000 / (densityKgM3 / litresPerM3)
}

func massMgL(umolKg, molarMass, densityKgM3 float64) float64 {
	return umolKg * (densityKgM3 / litresPerM3) * molarMass / 1000
}
