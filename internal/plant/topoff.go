package plant

import (
	"fmt"

	"isohaline/hydraulics"
)

// topOffLine is everything between the source and the chamber.
type topOffLine struct {
	// pumped and gravity are the flows against the lift from the reservoir's
	// surface to the tube's outlet (pumped), and against the fall the other
	// way (gravity). Both cover every level the two vessels can have.
	pumped, gravity flowCurve
	// drivenM3S is the flow of a plumbed line while it is open.
	plumbedM3S, rejectRatio float64
	refillM3S               float64
	reservoirFloorM         float64
	endM                    float64
}

// slippedTubeEndM is where a tube that has slipped hangs, above the chamber
// floor. A judgement.
const slippedTubeEndM = 0.02

func (tw *Twin) buildTopOff() error {
	t := &tw.tank.TopOff
	l := &tw.line
	l.endM = t.TubeEndElevationM
	if t.Plumbed != nil {
		l.plumbedM3S, l.rejectRatio = t.Plumbed.ProductM3S, t.Plumbed.RejectRatio
		return nil
	}
	r := t.Reservoir
	var err error
	if tw.reservoir, err = r.Shape.Vessel(); err != nil {
		return fmt.Errorf("working out the reservoir: %w", err)
	}
	l.reservoirFloorM = r.FloorElevationM
	tw.reservoirRimM3 = tw.reservoir.CapacityM3()
	tw.reservoirFullM3 = tw.reservoir.VolumeM3(r.FillHeightM)
	tw.reservoirIntakeM3 = tw.reservoir.VolumeM3(r.PumpIntakeHeightM)
	if r.LowSensor != nil {
		tw.reservoirLowM3 = tw.reservoir.VolumeM3(r.LowSensor.HeightM)
	}
	if f := r.Refill; f != nil {
		l.refillM3S, l.rejectRatio = f.Line.ProductM3S, f.Line.RejectRatio
		tw.refillShutM3 = tw.reservoir.VolumeM3(f.ShutHeightM)
		tw.refillOpenM3 = tw.reservoir.VolumeM3(f.ShutHeightM - f.OpenBelowM)
	}

	line := tube(t.Tube)
	viscosity := hydraulics.FreshWaterViscosityM2S(tw.waterC)
	top := max(r.FloorElevationM+r.Shape.HeightM, tw.chamber.RimM(), l.endM, t.TubeHighElevationM)
	bottom := min(r.FloorElevationM, 0)
	span := top - bottom
	l.gravity = newFlowCurve(0, span, func(fallM float64) float64 {
		return line.FlowM3S(fallM, viscosity)
	})
	if t.Pump != nil {
		curve, err := hydraulics.NewPumpCurve(pumpPoints(*t.Pump))
		if err != nil {
			return fmt.Errorf("working out the top-off pump: %w", err)
		}
		l.pumped = newFlowCurve(-span, span, func(liftM float64) float64 {
			return hydraulics.OperatingFlowM3S(curve, line, liftM, viscosity)
		})
	}
	return nil
}

// TopOffFlowM3S is the flow into a healthy chamber from a full reservoir.
func (tw *Twin) TopOffFlowM3S() float64 {
	t := &tw.tank.TopOff
	if t.Plumbed != nil {
		return tw.line.plumbedM3S
	}
	surfaceM := tw.line.reservoirFloorM + t.Reservoir.FillHeightM
	outletM := max(tw.line.endM, tw.nominalLevelM())
	if t.SiphonBreak && t.TubeHighElevationM > surfaceM {
		outletM = max(outletM, t.TubeHighElevationM)
	}
	if t.Pump != nil {
		return tw.line.pumped.at(outletM - surfaceM)
	}
	return tw.line.gravity.at(surfaceM - outletM)
}

// topOffFlow is the flow along the line now: positive out of the source,
// negative when the chamber siphons back into the reservoir.
func (r *run) topOffFlow(chamberM3, reservoirM3 float64) float64 {
	tw, c := r.tw, &r.cond
	t := &tw.tank.TopOff
	if c.TubeBlocked || c.HandEvery > 0 || !r.lineOpen() {
		return 0
	}
	if t.Plumbed != nil {
		return tw.line.plumbedM3S
	}
	pumping := r.pumping()
	if t.Pump != nil && !pumping && !r.linePrimed {
		return 0 // no pump, and nothing in the line
	}
	surfaceM := tw.line.reservoirFloorM + tw.reservoir.LevelM(reservoirM3)
	// An air hole takes air, and stops a siphon, only above the water.
	airHole := t.SiphonBreak && !c.SiphonBreakBlocked && t.TubeHighElevationM > surfaceM
	if t.Pump != nil && !pumping && airHole {
		return 0
	}
	endM := r.tubeEndM()
	levelM := tw.chamber.LevelM(chamberM3)
	outletM := max(endM, levelM)
	if c.TubeOut {
		// The floor is taken level with the datum or the reservoir, whichever
		// is lower.
		outletM = min(0, tw.line.reservoirFloorM)
	}
	if pumping {
		if airHole {
			outletM = max(outletM, t.TubeHighElevationM)
		}
		if !r.sourceWet {
			return 0
		}
		return tw.line.pumped.at(outletM-surfaceM) * c.TopOffPumpFrac
	}
	if t.Pump == nil {
		if fall := surfaceM - outletM; fall > 0 && r.sourceWet {
			return tw.line.gravity.at(fall)
		}
		return 0
	}
	if fall := surfaceM - outletM; fall > 0 {
		if !r.sourceWet {
			return 0
		}
		return tw.line.gravity.at(fall)
	}
	if fall := levelM - surfaceM; fall > 0 && levelM > endM && !c.TubeOut {
		switch {
		case !t.CheckValve:
			return -tw.line.gravity.at(fall)
		case c.CheckValveLeaks:
			return -leakingCheckValveFrac * tw.line.gravity.at(fall)
		}
	}
	return 0
}

// pumping says whether the pump moves water if there is any: it has power and is
// not seized. Water may siphon through one that does not.
func (r *run) pumping() bool { return r.pumpPowered && r.cond.TopOffPumpFrac > 0 }

// tubeEndM is where the tube ends now, above the datum.
func (r *run) tubeEndM() float64 {
	if r.cond.TubeSubmerged {
		return min(r.tw.line.endM, slippedTubeEndM)
	}
	return r.tw.line.endM
}

// leakingCheckValveFrac is what a leaking check valve lets back. A judgement.
const leakingCheckValveFrac = 0.1

// lineOpen says whether the shut-off valve and the float valve let water by.
func (r *run) lineOpen() bool {
	t := &r.tw.tank.TopOff
	if t.ShutoffValve {
		switch r.cond.Shutoff {
		case ValveStuckShut:
			return false
		case ValveWorks:
			if !r.valveOpen {
				return false
			}
		}
	}
	if t.FloatValve != nil {
		switch {
		case r.cond.FloatValveStuckShut:
			return false
		case r.cond.FloatValveStuckOpen:
		case !r.floatOpen:
			return false
		}
	}
	return true
}
