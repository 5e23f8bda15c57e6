package plant

import (
	"math"

	"isohaline/hydraulics"
)

// displayMode is how the display's level is found.
type displayMode uint8

const (
	// pinned: the return pump runs and the weir passes its flow, so the
	// display stands still and the chamber shows every litre.
	pinned displayMode = iota
	// moving: the display is running down, filling up, or fuller than its
	// drain can empty; its level is integrated.
	moving
	// still: the return pump is off and the display has drained to its crest.
	still
)

const (
	// pinnedWithin is how near to its running level, in shares of the head's
	// volume, the display counts as arrived.
	pinnedWithin = 3e-3
	// filmM is the head at which a weir stops running: below it surface
	// tension holds the water. A judgement.
	filmM = 2e-4
	// primingFrac is the share of the return flow that a drain which is not
	// yet running full lets by. A judgement.
	primingFrac = 0.5
	// moveTimeFrac and moveHeadFrac bound a segment while the display moves: a share
	// of the level's own time constant, and of its head.
	moveTimeFrac = 0.4
	moveHeadFrac = 0.2
)

// drains is the display's drain under the present conditions.
type drains struct {
	returnM3S     float64 // return pump's flow while it runs
	capacityM3S   float64 // of the main drain
	runningM3     float64 // display volume at which drain and pump balance; +Inf: never
	headM3        float64 // running volume above the crest
	primedM3      float64 // display volume at which the drain runs full
	emergencyM3   float64 // volume at the emergency crest; +Inf: none
	siphonEndM3   float64 // volume at which the return line takes air
	filmM3        float64 // volume of the film left on the crest
	crestM, highM float64 // crest and emergency crest above the floor
}

func (tw *Twin) drainsUnder(c *Conditions) drains {
	o, ret := tw.tank.Overflow, tw.tank.Return
	d := drains{
		returnM3S:   tw.returnFlowM3S * c.ReturnPumpFrac,
		capacityM3S: tw.drainCapacityM3S * c.DrainFrac,
		emergencyM3: math.Inf(1),
		crestM:      o.CrestHeightM,
		highM:       math.Inf(1),
	}
	if o.EmergencyHeightM > 0 && !c.EmergencyDrainBlocked {
		d.emergencyM3, d.highM = tw.display.VolumeM3(o.EmergencyHeightM), o.EmergencyHeightM
	}
	d.runningM3 = tw.runningDisplayM3(*c, d.returnM3S)
	d.headM3 = tw.display.VolumeM3(o.CrestHeightM+hydraulics.EdgeHeadM(d.returnM3S, tw.edgeLengthM)) - tw.displayCrestM3
	d.primedM3 = d.runningM3
	if o.PrimingHeadM > 0 && !math.IsInf(d.runningM3, 1) {
		d.primedM3 = tw.display.VolumeM3(tw.display.LevelM(d.runningM3) + o.PrimingHeadM)
	}
	d.filmM3 = tw.display.VolumeM3(o.CrestHeightM+filmM) - tw.displayCrestM3
	end := ret.OutletHeightM
	if !c.ReturnSiphonBreakBlocked {
		end = max(end, ret.SiphonBreakHeightM)
	}
	d.siphonEndM3 = tw.display.VolumeM3(end)
	return d
}

// runningDisplayM3 is the display's volume when drain and return pump balance;
// +Inf when the drains cannot carry the flow below the rim.
func (tw *Twin) runningDisplayM3(c Conditions, flowM3S float64) float64 {
	o := tw.tank.Overflow
	capacity := tw.drainCapacityM3S * c.DrainFrac
	level := o.CrestHeightM + hydraulics.EdgeHeadM(min(flowM3S, capacity), tw.edgeLengthM)
	if rest := flowM3S - capacity; rest > 0 {
		if o.EmergencyHeightM == 0 || c.EmergencyDrainBlocked || rest > tw.drainCapacityM3S {
			return math.Inf(1)
		}
		level = o.EmergencyHeightM + hydraulics.EdgeHeadM(rest, tw.edgeLengthM)
	}
	if level >= tw.tank.Display.Shape.HeightM {
		return math.Inf(1)
	}
	return tw.display.VolumeM3(level)
}

// overflowM3S is what leaves the display over crest and emergency crest.
func (r *run) overflowM3S(displayM3 float64) float64 {
	d := &r.drains
	if displayM3 <= r.tw.displayCrestM3 {
		return 0
	}
	level := r.tw.display.LevelM(displayM3)
	capacity := d.capacityM3S
	if !r.drainPrimed {
		capacity = min(capacity, primingFrac*d.returnM3S)
	}
	flow := min(hydraulics.EdgeFlowM3S(level-d.crestM, r.tw.edgeLengthM), capacity)
	if level > d.highM {
		flow += min(hydraulics.EdgeFlowM3S(level-d.highM, r.tw.edgeLengthM), r.tw.drainCapacityM3S)
	}
	return flow
}

// returnSiphonM3S is what runs back through the return line after it stopped.
func (r *run) returnSiphonM3S(displayM3, chamberM3 float64) float64 {
	if !r.returnSiphons || displayM3 <= r.drains.siphonEndM3 {
		return 0
	}
	fall := r.tw.tank.Display.FloorElevationM + r.tw.display.LevelM(displayM3) -
		r.tw.chamber.LevelM(chamberM3)
	if fall <= 0 {
		return 0
	}
	return r.tw.backSiphon.at(fall)
}

// settleModes moves between the regimes of display and chamber after an event.
func (r *run) settleModes() {
	if !r.tw.tank.HasSump() {
		return
	}
	tw, d := r.tw, &r.drains
	if !r.returnRuns {
		r.starved, r.lifting = false, false
		if r.returnSiphons && r.displayM3 <= d.siphonEndM3 {
			r.returnSiphons = false
		}
		if r.displayM3 <= tw.displayCrestM3+d.filmM3 {
			r.mode = still
			r.drainPrimed = tw.tank.Overflow.PrimingHeadM == 0
		} else {
			r.mode = moving
		}
		return
	}
	if !r.drainPrimed && r.displayM3 >= d.primedM3 {
		r.drainPrimed = true
	}
	arrived := math.Abs(r.displayM3-d.runningM3) <= pinnedWithin*d.headM3
	switch gaining := r.segment.rate.displayM3+r.segment.rate.chamberM3 > 0; {
	case r.starved && gaining && r.displayM3 >= d.runningM3-pinnedWithin*d.headM3:
		r.starved = false
	case !r.starved && r.chamberM3 <= tw.chamberIntakeM3 && !gaining:
		r.starved = true
	}
	r.lifting = r.starved && r.chamberM3 >= tw.chamberIntakeM3-intakeWithin
	switch {
	case r.starved:
		r.mode = moving
	case arrived && r.drainPrimed:
		r.mode = pinned
	default:
		r.mode = moving
	}
}
