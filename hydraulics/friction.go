package hydraulics

import "math"

const (
	// ReynoldsLaminarEnd and ReynoldsTurbulentStart bound the transition band
	// (Moody 1944, Trans. ASME 66, 671, and every handbook after it).
	ReynoldsLaminarEnd     = 2300.0
	ReynoldsTurbulentStart = 4000.0

	// darcyLaminar is f·Re in laminar flow (Hagen–Poiseuille).
	darcyLaminar = 64.0
)

// Reynolds is the Reynolds number of a flow through a full round bore,
// 4 Q/(pi d nu). Negative flow gives the number of its magnitude.
func Reynolds(flowM3S, boreM, nuM2S float64) float64 {
	return 4 * math.Abs(flowM3S) / (math.Pi * boreM * nuM2S)
}

// DarcyFriction is the Darcy friction factor (four times Fanning's) at a
// Reynolds number and a relative roughness, the wall's roughness over the bore.
//
//	Re <= 2300           64/Re
//	2300 < Re < 4000     a smooth blend of the two
//	Re >= 4000           Colebrook (1939)
//
// In the transition band real flow switches between the two regimes and no
// formula is right. The blend weighs laminar and turbulent factor by 3x²-2x³ of
// the way across the band: the factor and its slope are continuous and head
// loss still rises with flow, so a root search over flow has one answer. A
// fully turbulent or laminar assumption in the band can differ from it by tens
// of percent, and so can nature.
//
// +Inf at Re = 0 (the head loss is still zero there). Relative roughness above
// 0.05, outside Moody's chart, is taken as given.
func DarcyFriction(reynolds, relativeRoughness float64) float64 {
	switch {
	case reynolds <= ReynoldsLaminarEnd:
		return darcyLaminar / reynolds
	case reynolds >= ReynoldsTurbulentStart:
		return Colebrook(reynolds, relativeRoughness)
	}
	x := (reynolds - ReynoldsLaminarEnd) / (ReynoldsTurbulentStart - ReynoldsLaminarEnd)
	turbulent := x * x * (3 - 2*x)
	return (1-turbulent)*darcyLaminar/reynolds + turbulent*Colebrook(reynolds, relativeRoughness)
}

// Colebrook is the turbulent Darcy factor: the root of
//
//	1/sqrt(f) = -2 log10(e/(3.7 d) + 2.51/(Re sqrt(f)))
//
// (Colebrook 1939, J. Inst. Civil Engineers 11, 133), solved to the precision
// of a double. Meant for Re of 4000 to 1e8 and relative roughness of 0 to 0.05.
// It can be evaluated down to Re of about 100; below, or for a roughness above
// 3.7, where the equation loses its meaning, the result is NaN.
func Colebrook(reynolds, relativeRoughness float64) float64 {
	// With x = 1/sqrt(f) the equation is x + 2 log10(rough + smooth x) = 0,
	// whose left side rises and is concave, so Newton's method cannot miss once
	// it stands left of the root, and its first step takes it there.
	rough, smooth := relativeRoughness/3.7, 2.51/reynolds
	x := 1 / math.Sqrt(Haaland(reynolds, relativeRoughness))
	for range 20 {
		arg := rough + smooth*x
		step := (x + 2*math.Log10(arg)) / (1 + 2/math.Ln10*smooth/arg)
		x -= step
		if math.Abs(step) < 1e-14*x {
			break
		}
	}
	if !(x > 0) {
		return math.NaN()
	}
	return 1 / (x * x)
}

// Haaland is the explicit turbulent Darcy factor of Haaland (1983, J. Fluids
// Engineering 105, 89), within about 2 % of Colebrook.
func Haaland(reynolds, relativeRoughness float64) float64 {
	x := -1.8 * math.Log10(math.Pow(relativeRoughness/3.7, 1.11)+6.9/reynolds)
	return 1 / (x * x)
}

// DarcyHeadM is the friction head of a full round line at a given Darcy factor,
// f L/d v²/2g (Darcy–Weisbach), as a positive number.
func DarcyHeadM(friction float64, t Tube, flowM3S float64) float64 {
	return friction * t.LengthM / t.BoreM * velocityHeadM(flowM3S, t.BoreM)
}

// velocityHeadM is v²/2g of a flow through a full round bore.
func velocityHeadM(flowM3S, boreM float64) float64 {
	v := flowM3S / boreAreaM2(boreM)
	return v * v / (2 * StandardGravityMS2)
}

func boreAreaM2(boreM float64) float64 { return math.Pi / 4 * boreM * boreM }
