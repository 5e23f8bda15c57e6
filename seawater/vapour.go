package seawater

import "math"

// Constants of IAPWS R13-08 table 1. TEOS-10 keeps the 2002 CODATA gas constant.
const (
	gasConstantJMolK    = 8.314472
	waterMolarMassKgMol = 0.018015268
)

// OsmoticCoefficient gives the osmotic coefficient of water in seawater,
// molality based: how far salt lowers the chemical potential of water, over
// what it would in an ideal solution (TEOS-10 manual eq. 2.14.1). It is about
// 0.90 at 35 g/kg and has the limit 1 in pure water, which is returned there.
// Region and NaN as in the package comment.
func OsmoticCoefficient(saGKg, tempC, pressureDbar float64) float64 {
	if !inRegion(saGKg, tempC, pressureDbar) {
		return math.NaN()
	}
	if saGKg == 0 {
		return 1
	}
	r := reduce(saGKg, tempC, pressureDbar)
	// Molality is S/((1-S) M_S), and x² is S/reducingSalinity: S cancels.
	perMolality := (1 - saGKg/gPerKg) * saltMolarMassKgMol / reducingSalinity
	return -r.salineWaterPotentialPerX2() * perMolality / (gasConstantJMolK * r.kelvin())
}

// WaterActivity gives the activity of water in seawater at the surface: the
// vapour pressure over seawater as a fraction of that over pure water at the
// same temperature, but for the vapour's departure from an ideal gas, which is
// below 1e-5 here. ln a = (mu(SA) - mu(0))/(R_w T). 0.981 at 35 g/kg. Region
// and NaN as in the package comment.
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
// Source: the fit by P. M. Barker to TEOS-10 manual section 3.39 that the
// official TEOS-10 library, Gibbs SeaWater toolbox version 3, calls
// latentheat_evap_CT (McDougall & Barker 2011).
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
// seawater at the surface into air. Fitted for SA 0 to 42 g/kg and 0 to 40 °C;
// there it is within 0.4 J/kg of the formula it stands for. It lies 0.1 % below
// the IAPWS-95 enthalpy difference that purewater gives: do not mix the two in
// one balance. Region and NaN as in the package comment.
func LatentHeatEvaporation(saGKg, tempC float64) float64 {
	if !inRegion(saGKg, tempC, 0) {
		return math.NaN()
	}
	x := reduce(saGKg, tempC, 0).x
	return latentHeat.at(ConservativeTemperature(saGKg, tempC, 0)/reducingTempC, x)
}
