package tankfile

import (
	"fmt"

	"isohaline/internal/units"
)

// lengths is how messages write a length: files are written in metric units.
const lengths = units.Metric

// pouredInto is the vessel that the top-off pours into.
type pouredInto struct {
	name string // "the sump" or "the display"
	rimM float64
}

func (c checker) pouredInto() pouredInto {
	if c.s.HasSump() {
		return pouredInto{"the sump", c.s.Sump.HeightM}
	}
	return pouredInto{"the display", c.s.Display.Shape.HeightM}
}

func (c checker) topOff() {
	t := &c.s.TopOff
	vessel := c.pouredInto()
	c.sensors(vessel)
	if t.Pump != nil {
		c.pump("top-off.pump", t.Pump)
	}
	c.tube(vessel)
	if v := t.FloatValve; v != nil {
		c.below("top-off.float valve.shuts at", v.ShutElevationM, vessel.rimM, "the rim of "+vessel.name, "lower the valve")
		c.below("top-off.float valve.opens below", v.OpenBelowM, v.ShutElevationM, "the level at which it shuts,", "correct the difference")
	}
	c.source()
	c.doser()
	c.runTimer()
	if t.Reservoir != nil {
		c.shape("top-off.reservoir", &t.Reservoir.Shape)
		c.reservoir()
	}
}

func (c checker) sensors(vessel pouredInto) {
	t := &c.s.TopOff
	const watch, ceiling = "top-off.watch.height", "top-off.ceiling.height"
	if t.Watch != nil {
		c.below(watch, t.Watch.ElevationM, vessel.rimM, "the rim of "+vessel.name, "a sensor must lie inside the chamber it watches")
		if r := c.s.Return; r != nil && r.IntakeElevationM < vessel.rimM && t.Watch.ElevationM <= r.IntakeElevationM {
			c.report(watch, fmt.Sprintf("is not above the return pump's intake at %s: the pump would draw air first", length(r.IntakeElevationM)), "raise the sensor")
		}
	}
	if t.Ceiling == nil {
		return
	}
	c.below(ceiling, t.Ceiling.ElevationM, vessel.rimM, "the rim of "+vessel.name, "a sensor must lie inside the chamber it watches")
	if t.Watch == nil {
		return
	}
	switch gap := t.Ceiling.ElevationM - t.Watch.ElevationM; {
	case gap <= 0:
		c.report(ceiling, fmt.Sprintf("is not above the watch sensor at %s", length(t.Watch.ElevationM)), "raise the ceiling sensor or lower the watch sensor")
	case gap <= (t.Ceiling.HysteresisM+t.Watch.HysteresisM)/2:
		c.warn(ceiling, "is so near the watch sensor that their switching bands overlap", "set them further apart than their hystereses")
	}
}

func (c checker) tube(vessel pouredInto) {
	t := &c.s.TopOff
	const end, high = "top-off.tube.end", "top-off.tube.high point"
	if t.TubeEndElevationM < 0 {
		c.report(end, "lies below the floor of "+vessel.name, "correct the elevation: it counts from that floor")
	}
	highest := vessel.rimM + aboveRim
	c.below(end, t.TubeEndElevationM, highest, "the reach of "+vessel.name+", half a metre above its rim,", "lower the end: water must land in "+vessel.name)
	if t.TubeHighElevationM < t.TubeEndElevationM {
		c.report(high, fmt.Sprintf("lies below the tube's end at %s", length(t.TubeEndElevationM)), "give the highest point of the whole tube")
	}
	if t.Ceiling != nil && t.TubeEndElevationM <= t.Ceiling.ElevationM {
		c.warn(end, fmt.Sprintf("can come under water: the ceiling sensor lies at %s", length(t.Ceiling.ElevationM)),
			"end the tube above it, or salt water may siphon back into the source")
	}
	needed := t.TubeHighElevationM - t.TubeEndElevationM
	if r := t.Reservoir; r != nil {
		intake := r.FloorElevationM + r.PumpIntakeHeightM
		if t.TubeHighElevationM < intake && needed >= 0 {
			c.report(high, fmt.Sprintf("lies below the reservoir pump's intake at %s", length(intake)), "give the highest point of the whole tube")
		}
		needed += t.TubeHighElevationM - intake
	}
	if t.Tube.LengthM < needed {
		c.report("top-off.tube.length", fmt.Sprintf("is shorter than the %s from the source over the high point to the end", length(needed)), "correct the length or the elevations")
	}
}

// source checks that the water comes from exactly one place.
func (c checker) source() {
	t := &c.s.TopOff
	switch {
	case t.Reservoir == nil && t.Plumbed == nil:
		c.report("top-off", "has no source", `add "reservoir:" (a bounded source) or "plumbed:" (an endless one)`)
	case t.Reservoir != nil && t.Plumbed != nil:
		c.report("top-off.plumbed", "is a second source beside the reservoir", `keep one; a line that refills the reservoir is its "refill:"`)
	case t.Reservoir != nil && t.Pump == nil:
		c.report("top-off.pump", "is missing", "a reservoir needs its pump")
	case t.Plumbed != nil && t.Pump != nil:
		c.report("top-off.pump", "has no place in a plumbed line, which brings its own pressure", "remove it")
	}
}

// doser checks that something decides when water flows.
func (c checker) doser() {
	t := &c.s.TopOff
	controlled := c.s.Controller != nil
	switch {
	case controlled && t.Watch == nil:
		c.report("top-off.watch", "is missing", "the controller needs the sensor that it doses by")
	case !controlled && t.Watch != nil:
		c.report("top-off.watch", "has no controller to act on it", `add "controller: {}", or remove the sensor`)
	}
	if controlled {
		if t.Plumbed != nil && t.Reservoir == nil && !t.ShutoffValve {
			c.report("top-off.shut-off valve", "is what a controller needs to stop a plumbed line", `fit one and write "shut-off valve: yes"`)
		}
		return
	}
	if t.Ceiling != nil {
		c.report("top-off.ceiling", "has no controller to act on it", `add "controller: {}", or remove the sensor`)
	}
	switch {
	case t.Pump != nil:
		c.report("top-off.pump", "has no controller to switch it", `add "controller: {}"`)
	case t.Plumbed != nil && t.FloatValve == nil:
		c.report("top-off.plumbed", "would flow without end: there is neither a float valve nor a controller", `add "float valve:" or "controller: {}"`)
	}
}

func (c checker) runTimer() {
	t := &c.s.TopOff
	const path = "top-off.run timer"
	switch control := c.s.Controller; {
	case t.RunTimerS == 0:
	case t.Pump == nil:
		c.report(path, "has no pump whose supply it could cut", "remove it: a plumbed line needs a shut-off valve")
	case control != nil && control.RunHardCapS >= t.RunTimerS:
		c.report(path, "cuts in before the controller's own run limit", "make it longer than controller.run hard cap")
	}
}

func (c checker) reservoir() {
	t := &c.s.TopOff
	r := t.Reservoir
	const path = "top-off.reservoir"
	c.below(path+".filled to", r.FillHeightM, r.Shape.HeightM, "its rim", "fill it less or correct the height")
	intakeFits := c.below(path+".pump intake", r.PumpIntakeHeightM, r.FillHeightM, "the level it is filled to,", "lower the pump or fill it more")
	if low := r.LowSensor; low != nil {
		c.below(path+".low sensor", low.HeightM, r.FillHeightM, "the level it is filled to,", "lower the sensor")
		if intakeFits && low.HeightM <= r.PumpIntakeHeightM {
			c.report(path+".low sensor", fmt.Sprintf("is not above the pump's intake at %s", length(r.PumpIntakeHeightM)), "raise the sensor, so that it stops the pump before it draws air")
		}
	}
	if c.has(path+".lime strength") && !r.LimeWater {
		c.report(path+".lime strength", "is for lime water, and the reservoir holds none", `add "lime water: yes", or remove it`)
	}
	highestM := r.FillHeightM
	if f := r.Refill; f != nil {
		c.below(path+".refill.shuts at", f.ShutHeightM, r.Shape.HeightM, "the reservoir's rim", "lower the valve")
		if intakeFits && f.ShutHeightM-f.OpenBelowM <= r.PumpIntakeHeightM {
			c.report(path+".refill.opens below", "opens the valve only below the pump's intake", "raise the valve or make the difference smaller")
		}
		highestM = max(highestM, f.ShutHeightM)
	}
	stopped := t.SiphonBreak || t.ShutoffValve || t.FloatValve != nil
	if surface := r.FloorElevationM + highestM; surface > t.TubeEndElevationM && !stopped {
		c.warn("top-off.tube.end", fmt.Sprintf("lies below the water in the reservoir, at %s, and nothing stops a siphon: once started, it can empty the reservoir", length(surface)),
			"end the tube above that water, or fit an air hole at the high point or a shut-off valve")
	}
}
