// Package hydraulics moves water between vessels: how much a vessel holds, what
// a line passes under a head, where a pump settles on its line, how high water
// stands over an edge and how much comes down when the pump stops.
//
// # Units and signs
//
// SI throughout: metres, square and cubic metres, cubic metres a second. A head
// is a height of the flowing water itself, so no density appears. Elevations
// grow upward; flow is positive in the direction in which a positive head
// drives it.
//
// # The four questions
//
//	vessel, err := hydraulics.NewPrism(0.72, 0.60)          // what does it hold?
//	line := hydraulics.Tube{LengthM: 2.2, BoreM: 0.022, MinorLossK: 6}
//	nu := hydraulics.SeawaterViscosityM2S(35, 25)
//	flow := hydraulics.OperatingFlowM3S(pump, line, 1.1, nu) // what does the pump move?
//	head := hydraulics.EdgeHeadM(flow, 0.40)                 // how high over the edge?
//	down := hydraulics.DrainDown{Display: vessel, ...}       // and when it stops?
//
// # How far to trust it
//
// Friction in a clean tube of known bore is good to about 5 %. Fittings,
// biofilm, a hose bent round a corner and a pump's printed curve are not: a
// real top-off or return line is known to about 20 % (a judgement) until its flow
// has been measured. Heads of a few millimetres over an edge are known to a millimetre
// or two (see EdgeFlowM3S). Sizes that keep water off a floor deserve a margin
// that covers these, and local plumbing codes come first.
//
// Everything is a pure function of its arguments, allocates nothing after
// construction and may be called from many goroutines at once. Nothing panics:
// an argument that is NaN gives NaN, and the other edges are stated at each
// function.
package hydraulics

// StandardGravityMS2 is the standard acceleration of free fall, exact by
// definition (3rd CGPM, 1901).
const StandardGravityMS2 = 9.80665
