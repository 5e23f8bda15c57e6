package seawater

import "math"

// Constants of IAPWS R13-08 table 1. TEOS-10 keeps the CODATA gas constant of
// its time.
const (
	gasConstantJMolK    = 8.314472
	waterMolarMassKgMol = 0.018015268
)

// OsmoticCoefficient gives the osmotic coefficient of water in seawater,
// molality based: how far salt lowers the chemical potential of water, over
// what it would in an ideal solution (TEOS-10 manual eq. 2.14.1). It is about
// 0.90 at 35 g/kg; in pure water it is the limit, 1 to the 1e-7 of the fit.
// Region and NaN as in the package comment.
func OsmoticCoefficient(saGKg, tempC, pressureDbar float64) float64 {
	if !inRegion(saGKg, tempC, pressureDbar) {
		return math.NaN()
	}
	r := reduce(saGKg, tempC, pressureDbar)
	// Molality is S/((1-S) M_S), and x² is S/reducingSalinity: S cancels.
	perMolality := (1 - saGKg/gPerKg) * saltMolarMassKgMol / reducingSalinity
	return -r.salineWaterPotentialPerX2() * perMolality / (gasConstantJMolK * r.kelvin())
}

// WaterActivity gives the activity of water in seawater at the surface: the
// vapour pressure over seawater as a fraction of that over pure water at the
// same temperature, 0.981 at 35 g/kg. ln a = (mu(SA) - mu(0))/(R_w T). The
// vapour's departure from an ideal gas is left out: below 1e-4 at 35 g/kg up to
// 40 °C. Region and NaN as in the package comment.
func WaterActivity(saGKg, tempC float64) float64 {
	if !inRegion(saGKg, tempC, 0) {
		return math.NaN()
	}
	r := reduce(saGKg, tempC, 0)
	const waterGasConstantJKgK = gasConstantJMolK / waterMolarMassKgMol
	return math.Exp(r.x2 * r.salineWaterPotentialPerX2() / (waterGasConstantJKgK * r.kelvin()))
}

// latentHeat is the latent heat of evaporation in J/kg: a polynomial in reduced
// Conservative Temperature along a row and x = √(SA/reducing salinity) down.
//
// Source: McDougall & Barker 2011, Gibbs SeaWater toolbox (the official TEOS-10
// library), version 3, function latentheat_evap_CT: a fit to TEOS-10 manual
// section 3.39. Coefficients from memory, equal to the library's to rounding.
var latentHeat = surface{
	{2.499065844825125e6, -9.096800915831875e4, 1.894281502222415e1, -1.207006482532330e3, 5.731307337366114e2, -3.233571307223379e2, 1.021046205356775e2},
	{-1.544590633515099e-1, 4.589984751248335e1, -1.104989199195898e2, 1.186568375570869e1, 8.460780175632090e1, -2.389853928747630e1},
	{1.665513670736000e2, -6.631757848479068e3, 2.519335841663499e3, -1.541083032068263e3, 1.797443329095446e2},
	{1.192559661490269e3, 7.437431482069087e2, -6.399956483223386e2, 7.510134932437941e2},
	{-3.148710097513822e3, 1.062383995581363e3, -8.062279018001309e2},
	{1.213387273240204e3, 4.351585544019463e1},
	{-2.031538422351553e2},
}

// LatentHeatEvaporation gives the heat in J/kg that evaporates water from
// seawater at the surface into air. Fitted for SA 0 to 42 g/kg and 0 to 40 °C. It
// lies 0.1 % below the IAPWS-95 enthalpy difference that purewater gives: do not
// mix the two in one balance. Region and NaN as in the package comment.
func LatentHeatEvaporation(saGKg, tempC float64) float64 {
	if !inRegion(saGKg, tempC, 0) {
		return math.NaN()
	}
	x := reduce(saGKg, tempC, 0).x
	return latentHeat.at(ConservativeTemperature(saGKg, tempC, 0)/reducingTempC, x)
}
