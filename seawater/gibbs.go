package seawater

import "math"

// Reducing quantities shared by both parts of the Gibbs function: IAPWS SR7-09
// table 1 and IAPWS R13-08 table 1.
const (
	reducingTempC        = 40.0 // K, on a difference from 0 °C
	reducingPressurePa   = 1e8
	reducingPressureDbar = reducingPressurePa / paPerDbar
	// reducingSalinity is 40/35 of reference seawater's, in kg/kg.
	reducingSalinity = referenceSAGKg / gPerKg * 40 / 35
)

// waterGibbs is the Gibbs energy of liquid water in J/kg as a polynomial in
// reduced temperature (along a row) and reduced sea pressure (down).
//
// Source: Feistel 2003, A new extended Gibbs thermodynamic potential of
// seawater, Progress in Oceanography 58, 43-114, as in IAPWS SR7-09 table 2.
var waterGibbs = surface{
	{0.101342743139674e3, 0.590578347909402e1, -0.123577859330390e5, 0.736741204151612e3, -0.148185936433658e3, 0.580259125842571e2, -0.189843846514172e2, 0.305081646487967e1},
	{0.100015695367145e6, -0.270983805184062e3, 0.145503645404680e4, -0.672507783145070e3, 0.397968445406972e3, -0.194618310617595e3, 0.635113936641785e2, -0.963108119393062e1},
	{-0.254457654203630e4, 0.776153611613101e3, -0.756558385769359e3, 0.499360390819152e3, -0.301815380621876e3, 0.120520654902025e3, -0.222897317140459e2},
	{0.284517778446287e3, -0.196512550881220e3, 0.273479662323528e3, -0.239545330654412e3, 0.152196371733841e3, -0.552723052340152e2, 0.817060541818112e1},
	{-0.333146754253611e2, 0.289796526294175e2, -0.555604063817218e2, 0.488012518593872e2, -0.263748377232802e2, 0.648190668077221e1},
	{0.420263108803084e1, -0.213290083518327e1, 0.434420671917197e1, -0.166307106208905e1},
	{-0.546428511471039},
}

// The saline part of the Gibbs energy in J/kg is, with x² = S/reducingSalinity,
//
//	x² ln x · salineLog(y) + Σ x^i · salineGibbs[i-2](y, z),  i = 2…7
//
// Source: Feistel 2008, A Gibbs function for seawater thermodynamics for -6 to
// 80 °C and salinity up to 120 g/kg, Deep-Sea Research I 55, 1639-1671, as in
// IAPWS R13-08 table 2.
var (
	salineLog = []float64{0.581281456626732e4, 0.851226734946706e3}

	salineGibbs = []surface{
		{ // x²
			{0.141627648484197e4, 0.168072408311545e3, 0.880031352997204e3, -0.225267649263401e3, 0.914260447751259e2, -0.216603240875311e2, 0.213016970847183e1},
			{-0.331049154044839e4, 0.729116529735046e3, -0.860764303783977e3, 0.694244814133268e3, -0.297728741987187e3},
			{0.384794152978599e3, -0.343956902961561e3, 0.337409530269367e3, -0.204889641964903e3, 0.747261411387560e2},
			{-0.965324320107458e2, 0.124687671116248e3, -0.178314556207638e3, 0.113561697840594e3, -0.364872919001588e2},
			{0.158408172766824e2, -0.316569643860730e2, 0.442040358308000e2, -0.111282734326413e2},
			{-0.262480156590992e1, 0.704658803315449e1, -0.792001547211682e1},
		},
		{ // x³
			{-0.243214662381794e4, -0.493407510141682e3, -0.430664675978042e2, -0.100227370861875e2, 0.875600661808945},
			{0.199459603073901e3, -0.175292041186547e3, 0.383058066002476e3, -0.460319931801257e3, 0.234565187611355e3},
			{-0.522940909281335e2, 0.831923927801819e2, -0.541917262517112e2},
			{0.680444942726459e2, -0.294830643494290e2, 0.256398487389914e2},
			{-0.341251932441282e1},
		},
		{ // x⁴
			{0.202580115603697e4, 0.543835333000098e3, -0.685572509204491e2, 0.493667694856254e2, -0.171397577419788e2, 0.249697009569508e1},
			{-0.547919133532887e2, -0.226683558512829e2},
			{-0.408193978912261e1},
			{-0.301755111971161e2},
		},
		{ // x⁵
			{-0.109166841042967e4, -0.196028306689776e3},
			{0.360284195611086e2},
		},
		{ // x⁶
			{0.374601237877840e3, 0.367571622995805e2},
		},
		{ // x⁷
			{-0.485891069025409e2},
		},
	}
)

// reduced is a state in the variables of the polynomials.
type reduced struct {
	// x2 is S/reducingSalinity and x its root; ln x stands apart because it
	// has no value in pure water.
	x, x2 float64
	y, z  float64
}

func reduce(saGKg, tempC, pressureDbar float64) reduced {
	x2 := saGKg / (gPerKg * reducingSalinity)
	return reduced{
		x:  math.Sqrt(x2),
		x2: x2,
		y:  tempC / reducingTempC,
		z:  pressureDbar / reducingPressureDbar,
	}
}

// perX2 is the polynomial saline part, or its derivative that term picks,
// divided by x². In pure water it is the limit of that quotient.
func (r reduced) perX2(term func(surface, float64, float64) float64) float64 {
	sum := 0.0
	for i := len(salineGibbs) - 1; i >= 0; i-- {
		sum = sum*r.x + term(salineGibbs[i], r.y, r.z)
	}
	return sum
}

// x2LogX is x² ln x, zero in pure water.
func (r reduced) x2LogX() float64 {
	if r.x2 == 0 {
		return 0
	}
	return r.x2 * math.Log(r.x)
}

// Saline parts alone, each in the reduced variables: multiply by reducing
// quantities for SI.

func (r reduced) salineG() float64 {
	return r.x2LogX()*horner(salineLog, r.y) + r.x2*r.perX2(surface.at)
}

func (r reduced) salineDy() float64 {
	return r.x2LogX()*salineLog[1] + r.x2*r.perX2(surface.dy)
}

// salineDyy has no logarithm: its factor is linear in temperature.
func (r reduced) salineDyy() float64 { return r.x2 * r.perX2(surface.dyy) }

// salineDz has none either: its factor does not know pressure.
func (r reduced) salineDz() float64 { return r.x2 * r.perX2(surface.dz) }

// salineWaterPotentialPerX2 is (g - S g_S)/x² of the saline part: what salt
// does to the chemical potential of water, per salt. The logarithm and the x²
// term cancel, so it is smooth down to pure water:
//
//	-salineLog/2 + Σ (1 - i/2) x^(i-2) salineGibbs[i-2],  i = 3…7
func (r reduced) salineWaterPotentialPerX2() float64 {
	sum := 0.0
	for i := len(salineGibbs) - 1; i >= 1; i-- {
		sum = sum*r.x - 0.5*float64(i)*salineGibbs[i].at(r.y, r.z)
	}
	return sum*r.x - 0.5*horner(salineLog, r.y)
}
