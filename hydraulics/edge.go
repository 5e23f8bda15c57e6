package hydraulics

import "math"

// criticalFlow is the coefficient of critical flow over a broad crest,
// (2/3)^1.5 sqrt(g), 1.705 m^0.5/s: no measured number, only the energy of the
// stream (Bélanger 1849).
func criticalFlow() float64 { return math.Sqrt(8.0 / 27 * StandardGravityMS2) }

// EdgeFlowM3S is the flow over the overflow edge of a tank: critical flow over a
// broad crest, 1.705 L h^1.5. headM is the water level above the edge, measured
// away from it; edgeLengthM the wetted length. Zero at a head of zero or less.
//
// Why this one. A tank's edge is 4 to 12 mm of glass or plastic under 3 to 25 mm
// of water: thin for a broad crest, thick for a sharp one, and below the 20 to
// 30 mm where published calibrations begin. Extrapolated, those put a head
// correction of about 1 mm on h and so run water at no head at all; critical
// flow needs no correction and stops where the water does. At one flow it
// stands 1.3 to 2.1 mm higher than Rehbock's sharp crest does, which is the safe
// side: more water waits above the edge to come down.
//
// Expect the true head within about 2 mm below 10 mm, and within 15 % above: a
// judgement, from how far the formulas lie apart.
// Surface tension can hold water a millimetre or two above a clean, dry or
// greasy edge; slime, snails and teeth shorten the wetted length.
func EdgeFlowM3S(headM, edgeLengthM float64) float64 {
	if headM <= 0 || edgeLengthM <= 0 {
		return 0
	}
	return criticalFlow() * edgeLengthM * headM * math.Sqrt(headM)
}

// EdgeHeadM is the head at which an edge passes a flow: the inverse of
// EdgeFlowM3S. Zero for a flow of zero or less; +Inf where an edge without
// length should pass some.
func EdgeHeadM(flowM3S, edgeLengthM float64) float64 {
	if flowM3S <= 0 {
		return 0
	}
	root := math.Cbrt(flowM3S / (criticalFlow() * math.Max(edgeLengthM, 0)))
	return root * root
}
