package carbonate

// chlorinityPerSalinity is practical salinity over chlorinity in parts per
// thousand: Wooster, Lee and Dietrich (1969).
const chlorinityPerSalinity = 1.80655

// Limit of WithCalcium: five times natural seawater.
const CalciumMaxUmolKg = 50_000.0

// borateTotal is in mol/kg: Lee et al. (2010), Geochim. Cosmochim. Acta 74,
// 1801, or Uppström (1974), Deep-Sea Res. 21, 161.
func borateTotal(salinityPSU float64, ratio BorateRatio) float64 {
	const lee, uppstrom, at = 432.6e-6, 415.7e-6, 35 // mol/kg at salinity 35
	if ratio == Uppstrom1974 {
		return uppstrom * salinityPSU / at
	}
	return lee * salinityPSU / at
}

// sulfateTotal is in mol/kg: Morris and Riley (1966), Deep-Sea Res. 13, 699.
func sulfateTotal(salinityPSU float64) float64 {
	const perChlorinity, molarMass = 0.14, 96.062
	return perChlorinity / molarMass * salinityPSU / chlorinityPerSalinity
}

// fluorideTotal is in mol/kg: Riley (1965), Deep-Sea Res. 12, 219.
func fluorideTotal(salinityPSU float64) float64 {
	const perChlorinity, molarMass = 0.000067, 18.998
	return perChlorinity / molarMass * salinityPSU / chlorinityPerSalinity
}

// calciumTotal is in mol/kg: Riley and Tongudai (1967), Chem. Geol. 2, 263. The
// molar mass is the one that the field's programs have used with it since.
func calciumTotal(salinityPSU float64) float64 {
	const perChlorinity, molarMass = 0.02128, 40.087
	return perChlorinity / molarMass * salinityPSU / chlorinityPerSalinity
}

// WithCalcium returns the constants with a measured calcium concentration (0 to
// 50 000 µmol/kg) in place of natural seawater's. Only saturation states
// depend on it.
func (c Constants) WithCalcium(calciumUmolKg float64) (Constants, error) {
	if err := checkRange("calcium", calciumUmolKg, 0, CalciumMaxUmolKg, "µmol/kg"); err != nil {
		return Constants{}, err
	}
	c.CalciumTotal = calciumUmolKg / umolPerMol
	return c, nil
}
