package hydraulics

import "math"

// Roughness of common tube walls: absolute roughness for Tube.RoughnessM. It
// hardly matters below Re of about 1e5, where top-off and return lines run.
const (
	// RoughnessSmoothM is drawn tubing, glass and plastic (Moody 1944).
	RoughnessSmoothM = 1.5e-6
)

// Tube is a round line that runs full: a top-off tube, a return line, a siphon.
// No field may be negative. A bore of zero passes nothing.
type Tube struct {
	LengthM, BoreM float64
	// MinorLossK sums entry, bend, valve and exit losses in velocity heads of
	// the bore: 0.5 for a sharp entry and 1 for the exit are nearly always there.
	MinorLossK float64
	// RoughnessM is the wall's absolute roughness; 0 is a smooth wall.
	RoughnessM float64
}

// VolumeM3 is the water that the filled line holds.
func (t Tube) VolumeM3() float64 { return t.LengthM * boreAreaM2(t.BoreM) }

// HeadM is the head lost at a flow, (f L/d + K) v²/2g, with Darcy's f from
// DarcyFriction. Negative flow loses negative head: the line is the same both
// ways. nuM2S is the kinematic viscosity and must be positive.
func (t Tube) HeadM(flowM3S, nuM2S float64) float64 {
	if flowM3S == 0 {
		return 0
	}
	if t.BoreM <= 0 {
		return math.Copysign(math.Inf(1), flowM3S)
	}
	headM := t.MinorLossK * velocityHeadM(flowM3S, t.BoreM)
	if t.LengthM > 0 {
		f := DarcyFriction(Reynolds(flowM3S, t.BoreM, nuM2S), t.RoughnessM/t.BoreM)
		headM += DarcyHeadM(f, t, flowM3S)
	}
	return math.Copysign(headM, flowM3S)
}

// FlowM3S is the flow under a head: the difference in level between the two
// water surfaces it joins, or between a surface and an open end. It is how fast
// a siphon runs, too, as long as its highest point stays filled: no water
// column hangs more than about 10 m, and air comes out of solution well before.
// Negative head drives negative flow. +Inf for a line without any resistance.
func (t Tube) FlowM3S(headM, nuM2S float64) float64 {
	if headM == 0 || t.BoreM <= 0 {
		return 0
	}
	pull := math.Abs(headM)
	// Fittings alone, or laminar friction alone, would pass more than the whole
	// line does: both are upper bounds.
	areaM2 := boreAreaM2(t.BoreM)
	fittingsM3S := areaM2 * math.Sqrt(2*StandardGravityMS2*pull/t.MinorLossK)
	laminarM3S := pull * StandardGravityMS2 * areaM2 * t.BoreM * t.BoreM / (32 * nuM2S * t.LengthM)
	most := math.Min(fittingsM3S, laminarM3S)
	if math.IsInf(most, 1) || math.IsNaN(most) {
		return math.Copysign(most, headM)
	}
	flow := fallingRoot(func(q float64) float64 { return pull - t.HeadM(q, nuM2S) }, 0, most)
	return math.Copysign(flow, headM)
}
