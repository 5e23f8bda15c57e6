package hydraulics

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// PumpPoint is the flow a pump delivers against a head.
type PumpPoint struct{ FlowM3S, HeadM float64 }

// PumpCurve is head against flow for a pump at full speed. It is linear between
// its points; that is as good as the points are, which come from a small printed
// chart.
//
// A curve of one point with head 0 is a positive-displacement pump
// (peristaltic, diaphragm): the same flow against any head, in either
// direction.
//
// A PumpCurve is an immutable value. The zero PumpCurve is a pump that does not
// turn and does not stop water either.
type PumpCurve struct {
	points []PumpPoint // flow rises, head falls
}

// NewPumpCurve returns the curve through points with rising flow and falling
// head, neither negative, or a positive-displacement pump from one point with
// head 0.
//
// Below the first point the first head holds. Beyond the last the last slope
// goes on, through zero head and into negative heads: water pushed through a
// pump faster than it runs meets resistance.
func NewPumpCurve(points []PumpPoint) (PumpCurve, error) {
	if len(points) == 0 {
		return PumpCurve{}, fmt.Errorf("pump curve: no points: give flow against head, or one flow at head 0 for a dosing pump")
	}
	for i, p := range points {
		switch {
		case !(p.FlowM3S >= 0) || math.IsInf(p.FlowM3S, 1):
			return PumpCurve{}, fmt.Errorf("pump curve point %d: flow is %g m3/s: give zero or more", i+1, p.FlowM3S)
		case !(p.HeadM >= 0) || math.IsInf(p.HeadM, 1):
			return PumpCurve{}, fmt.Errorf("pump curve point %d: head is %g m: give zero or more", i+1, p.HeadM)
		case i > 0 && p.FlowM3S <= points[i-1].FlowM3S:
			return PumpCurve{}, fmt.Errorf("pump curve point %d: flow is %g m3/s: list points by rising flow", i+1, p.FlowM3S)
		case i > 0 && p.HeadM >= points[i-1].HeadM:
			return PumpCurve{}, fmt.Errorf("pump curve point %d: head is %g m: head must fall as flow rises", i+1, p.HeadM)
		}
	}
	if len(points) == 1 && points[0].HeadM != 0 {
		return PumpCurve{}, fmt.Errorf("pump curve: one point at head %g m: give head 0 for a dosing pump, or a second point", points[0].HeadM)
	}
	return PumpCurve{points: slices.Clone(points)}, nil
}

// displaces says whether flow is forced and head follows.
func (p PumpCurve) displaces() bool { return len(p.points) == 1 }

// stands says whether the pump does not turn.
func (p PumpCurve) stands() bool { return len(p.points) == 0 }

// HeadM is the head the pump makes at a flow; negative beyond the flow it gives
// at zero head. A positive-displacement pump makes any head: +Inf below its
// flow, zero at it, -Inf beyond. A stopped rotodynamic pump makes none.
func (p PumpCurve) HeadM(flowM3S float64) float64 {
	switch {
	case p.displaces():
		excess := flowM3S - p.points[0].FlowM3S
		if excess == 0 {
			return 0
		}
		return math.Copysign(math.Inf(1), -excess)
	case p.stands():
		return 0
	case flowM3S <= p.points[0].FlowM3S:
		return p.points[0].HeadM
	}
	// The first point at or beyond the flow ends the segment; the last segment
	// goes on for ever.
	end := 1 + sort.Search(len(p.points)-2, func(i int) bool { return p.points[i+1].FlowM3S >= flowM3S })
	a, b := p.points[end-1], p.points[end]
	return a.HeadM + (b.HeadM-a.HeadM)*(flowM3S-a.FlowM3S)/(b.FlowM3S-a.FlowM3S)
}

// OperatingFlowM3S is where a pump settles on its line: the flow at which the
// head it makes equals the static head plus what the line loses.
//
// staticHeadM is how far the pump lifts: the level it delivers to, or the open
// end of the line if that is higher, less the level it draws from. Zero flow
// when that is more than the pump's shut-off head; what then runs back down the
// line is a question for Tube.FlowM3S. When it is negative a siphon helps and
// the flow is larger than the pump's own: even a stopped rotodynamic pump lets
// it through, a positive-displacement pump does not.
func OperatingFlowM3S(p PumpCurve, t Tube, staticHeadM, nuM2S float64) float64 {
	if t.BoreM <= 0 {
		return 0
	}
	if p.displaces() {
		return p.points[0].FlowM3S
	}
	if p.stands() {
		return math.Max(t.FlowM3S(-staticHeadM, nuM2S), 0)
	}
	spareM := func(flowM3S float64) float64 {
		return p.HeadM(flowM3S) - staticHeadM - t.HeadM(flowM3S, nuM2S)
	}
	// The curve falls at a slope for ever, so doubling finds an upper bound.
	most := p.points[len(p.points)-1].FlowM3S
	for spareM(most) > 0 {
		most *= 2
	}
	return fallingRoot(spareM, 0, most)
}
