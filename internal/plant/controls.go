package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// contact is a level switch in the chamber.
type contact struct {
	levels   contactLevels
	response time.Duration
	water    bool          // what is true
	wet      bool          // what it says
	flipAt   time.Duration // when it will say what is true; never: it does
	stuck    bool
}

// begin is a switch that agrees with the water. One that is never fitted stays
// as it begins.
func (c *contact) begin(wet bool) {
	*c = contact{water: wet, wet: wet, flipAt: never, stuck: true}
}

// follow brings the switch up to date and says whether its reading changed.
func (c *contact) follow(chamberM3 float64, now time.Duration) bool {
	if c.stuck {
		return false
	}
	water := c.water
	if chamberM3 >= c.levels.wetM3 {
		water = true
	} else if chamberM3 <= c.levels.dryM3 {
		water = false
	}
	if water != c.water {
		c.water = water
		if water == c.wet {
			c.flipAt = never
		} else {
			c.flipAt = now + c.response
		}
	}
	if now >= c.flipAt {
		c.wet, c.flipAt = c.water, never
		return true
	}
	return false
}

// next is the chamber volume at which the water at the switch changes while
// the volume goes the given way.
func (c *contact) next(rising bool) (float64, bool) {
	switch {
	case c.stuck:
		return 0, false
	case rising && !c.water:
		return c.levels.wetM3, true
	case !rising && c.water:
		return c.levels.dryM3, true
	}
	return 0, false
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// fitSensors sets the switches as the tank and the conditions have them.
func (r *run) fitSensors() {
	fit := func(c *contact, fault SensorFault, elevationM float64, hysteresisM, responseS float64) {
		c.levels = r.tw.contactAt(elevationM+fault.ShiftM, hysteresisM)
		c.response = seconds(responseS + fault.SlowS)
		if c.stuck { // it may have missed the water while it was
			c.stuck, c.water, c.flipAt = false, c.wet, never
		}
		switch fault.Stuck {
		case StuckDry:
			c.wet, c.stuck = false, true
		case StuckWet:
			c.wet, c.stuck = true, true
		case Jammed:
			c.stuck = true
		}
		if c.stuck {
			c.flipAt = never
		}
	}
	t, at := &r.tw.tank.TopOff, r.tw.setup.Levels
	if s := t.Watch; s != nil {
		fit(&r.watch, r.cond.Watch, at.WatchM, s.HysteresisM, s.ResponseS)
	}
	if s := t.Ceiling; s != nil {
		fit(&r.ceiling, r.cond.Ceiling, at.CeilingM, s.HysteresisM, s.ResponseS)
	}
}

// readSensors lets every switch and float follow the water.
func (r *run) readSensors() {
	tw := r.tw
	watch, ceiling := r.watch.follow(r.chamberM3, r.now), r.ceiling.follow(r.chamberM3, r.now)
	if watch || ceiling {
		r.guardStale = true
	}
	if tw.tank.TopOff.FloatValve != nil {
		if r.chamberM3 >= tw.floatShutM3 {
			r.floatOpen = false
		} else if r.chamberM3 <= tw.floatOpenM3 {
			r.floatOpen = true
		}
	}
	if hasRefill(tw.tank) {
		if r.reservoirM3 >= tw.refillShutM3 {
			r.refillOpen = false
		} else if r.reservoirM3 <= tw.refillOpenM3 {
			r.refillOpen = true
		}
	}
}

func contactOf(fitted, wet bool) guard.Contact {
	switch {
	case !fitted:
		return guard.Absent
	case wet:
		return guard.Wet
	}
	return guard.Dry
}

func (r *run) bootGuard(saved guard.State) {
	if r.tw.setup.Guard == nil {
		return
	}
	r.guardState = guard.Boot(&r.settings, saved, r.now)
	r.guardOut = guard.Outputs{}
	r.guardStale = true
}

// control lets the guard look at its inputs, if there is anything new to see
// or a timer is due, and carries its outputs to the wiring.
func (r *run) control() {
	if r.tw.setup.Guard != nil && r.powered && !r.frozen {
		r.stepGuard()
	}
	supplied := r.powered && (r.guardOut.Pump || r.cond.RelayWelded) && hasPump(r.tw.tank)
	if supplied && !r.supplied {
		r.suppliedSince = r.now
	}
	r.supplied = supplied
	cut := r.now >= r.timerCuts()
	if cut && r.out.RunTimerAt == never {
		r.out.RunTimerAt = r.now - r.onset
	}
	r.pumpPowered = supplied && !cut
	r.valveOpen = r.powered && r.guardOut.Valve
	dry := !r.sourceWet
	gap(&dry, r.reservoirM3, r.tw.reservoirIntakeM3, r.tw.reservoirIntakeM3+wetAgainM3)
	r.sourceWet = !dry
	if r.pumpPowered && r.sourceWet {
		r.linePrimed = true
	}
}

// timerCuts is when the run timer cuts the present run off, never if there is
// none or its relay does not open.
func (r *run) timerCuts() time.Duration {
	t := r.tw.tank.TopOff.RunTimerS
	if t == 0 || r.cond.RunTimerStuck || !r.supplied {
		return never
	}
	return r.suppliedSince + seconds(t)
}

// stepGuard lets the guard look, if there is anything new to see or a timer is
// due.
func (r *run) stepGuard() {
	t := &r.tw.tank.TopOff
	floor := contactOf(r.tw.tank.FloorSensor != nil, r.floorWet())
	low := r.reservoirContact()
	if !r.guardStale && floor == r.guardIn.Floor && low == r.guardIn.ReservoirLow && r.now < r.guardDue {
		return
	}
	in := guard.Inputs{
		Watch:        contactOf(t.Watch != nil, r.watch.wet),
		Ceiling:      contactOf(t.Ceiling != nil, r.ceiling.wet),
		Floor:        floor,
		ReservoirLow: low,
		ReturnPump: contactOf(t.ReturnSensed && r.tw.tank.HasSump(),
			r.returnRuns || r.cond.ReturnSenseStuck),
		LevelMM: math.NaN(),
		Request: r.guardIn.Request,
	}
	if t.LevelGauge {
		levelM := r.tw.chamber.LevelM(r.chamberM3)
		if r.cond.LevelGaugeStuck {
			levelM = r.gaugeM
		}
		in.LevelMM = levelM * mmPerM
	}
	r.guardState, r.guardOut = guard.Step(&r.settings, r.guardState, in, r.now)
	in.Request = guard.NoRequest
	r.guardIn = in
	r.guardDue = guard.Deadline(&r.settings, r.guardState, in)
	r.guardStale = false
	r.hear()
	if r.cond.Controller == HungOn && r.guardOut.Pump {
		r.frozen = true
	}
}

const mmPerM = 1000

func (r *run) floorWet() bool {
	s := r.tw.tank.FloorSensor
	return s != nil && !r.cond.FloorSensorDead && r.wetM3 >= s.TripM3
}

func (r *run) reservoirContact() guard.Contact {
	fitted := hasReservoir(r.tw.tank) && r.tw.tank.TopOff.Reservoir.LowSensor != nil
	return contactOf(fitted, r.cond.ReservoirLowStuck || r.reservoirM3 > r.tw.reservoirLowM3)
}
