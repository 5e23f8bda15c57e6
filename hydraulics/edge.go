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

// Weir is an overflow: an edge and the drain behind it.
type Weir struct {
	// EdgeLengthM is the wetted length of the edge.
	EdgeLengthM float64
	// DrainCapacityM3S is the most the drain carries: 0 when it is blocked,
	// +Inf when it never limits.
	DrainCapacityM3S float64
}

// FlowM3S is what passes at a head over the edge: what the edge lets over, up to
// what the drain takes.
func (w Weir) FlowM3S(headM float64) float64 {
	return math.Min(EdgeFlowM3S(headM, w.EdgeLengthM), w.DrainCapacityM3S)
}

// HeadM is the head at which a flow passes. +Inf when the drain cannot carry it:
// the water rises until it finds another way out.
func (w Weir) HeadM(flowM3S float64) float64 {
	if flowM3S > w.DrainCapacityM3S {
		return math.Inf(1)
	}
	return EdgeHeadM(flowM3S, w.EdgeLengthM)
}

// Standpipe is a vertical pipe whose open rim is the overflow edge.
type Standpipe struct {
	// BoreM is the inside diameter at the rim.
	BoreM float64
	// DrainCapacityM3S is the most the pipe below carries, as for Weir.
	DrainCapacityM3S float64
}

// edge is the rim as a straight edge. Water converges on it from all round,
// which at heads small against the bore changes little.
func (s Standpipe) edge() Weir { return Weir{math.Pi * s.BoreM, s.DrainCapacityM3S} }

// FlowM3S is what passes at a head over the rim. The rim is a circular edge
// until its mouth drowns, at a head of about 0.4 bores; from there it is an
// orifice. A pipe that fills and pulls a siphon passes more, unsteadily: do not
// count on it.
func (s Standpipe) FlowM3S(headM float64) float64 {
	return math.Min(s.edge().FlowM3S(headM), OrificeFlowM3S(headM, boreAreaM2(s.BoreM)))
}

// HeadM is the head at which a flow passes; +Inf beyond the drain's capacity.
func (s Standpipe) HeadM(flowM3S float64) float64 {
	return math.Max(s.edge().HeadM(flowM3S), OrificeHeadM(flowM3S, boreAreaM2(s.BoreM)))
}

// orificeDischarge is the discharge coefficient of a sharp-edged opening,
// Kirchhoff's (1869) free-streamline value.
const orificeDischarge = math.Pi / (math.Pi + 2)

// OrificeFlowM3S is the flow through a sharp-edged opening under a head,
// 0.611 A sqrt(2 g h). Zero at a head of zero or less.
func OrificeFlowM3S(headM, areaM2 float64) float64 {
	if headM <= 0 {
		return 0
	}
	return orificeDischarge * areaM2 * math.Sqrt(2*StandardGravityMS2*headM)
}

// OrificeHeadM is the head that drives a flow through a sharp-edged opening: the
// inverse of OrificeFlowM3S.
func OrificeHeadM(flowM3S, areaM2 float64) float64 {
	if flowM3S <= 0 {
		return 0
	}
	v := flowM3S / (orificeDischarge * areaM2)
	return v * v / (2 * StandardGravityMS2)
}
