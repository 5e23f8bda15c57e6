package plant

import (
	"math"
	"time"
)

// flows is every flow of a segment, m3/s unless said otherwise, and what they
// do to the volumes.
type flows struct {
	topOff, skim, leak, reservoirLeak, refill float64
	evapDisplayKgS, evapChamberKgS            float64
	returned, overflowed                      float64
	spillDisplay, spillChamber                float64
	spillReservoir, spillCup                  float64

	display, chamber, reservoir, cup float64 // rates of change
}

const (
	// fullWithin is how near a rim counts as full, m3.
	fullWithin = 1e-9
	// crossingPad carries time just past a crossing, so that rounding cannot
	// leave the water a hair short of it.
	crossingPad = time.Microsecond
	// longest segment: slow changes are looked at again this often.
	longestSegment = 24 * time.Hour
	// shareOfVessel bounds how far a vessel may move in one segment while a
	// level-dependent flow runs.
	shareOfVessel = 0.02
)

// flowsAt works out every flow for the given volumes.
func (r *run) flowsAt(displayM3, chamberM3, reservoirM3 float64) flows {
	tw, c := r.tw, &r.cond
	var f flows
	f.topOff = r.topOffFlow(chamberM3, reservoirM3)
	chamberPSU := r.chamber.salinityPSU()
	f.evapChamberKgS = tw.evapChamber.kgS(chamberPSU-tw.targetPSU) * c.EvaporationFactor
	if s := tw.site.Skimmer; s != nil && r.powered {
		f.skim = s.SkimmateM3Day/secondsPerDay*c.SkimmateFactor + c.SkimmerFloodM3S
		if full := r.cupM3 >= s.CupM3-fullWithin; full {
			if s.CupCutoff && !c.CupCutoffFails {
				f.skim = 0
			}
			f.spillCup = f.skim
		}
	}
	f.cup = f.skim - f.spillCup
	own := -f.skim - f.evapChamberKgS*tw.fluid.waterM3Kg
	if f.topOff < 0 || !c.TubeOut {
		own += f.topOff
	}
	if tw.site.HasSump() {
		f.evapDisplayKgS = tw.evapDisplay.kgS(r.display.salinityPSU()-tw.targetPSU) * c.EvaporationFactor
		if displayM3 > fullWithin {
			f.leak = c.TankLeakM3S
		}
		r.circulate(&f, own, displayM3, chamberM3)
	} else {
		if chamberM3 > fullWithin {
			f.leak = c.TankLeakM3S
		}
		f.chamber = own - f.leak
	}
	if chamberM3 >= tw.chamberRimM3-fullWithin && f.chamber > 0 {
		f.spillChamber, f.chamber = f.chamber, 0
	}

	if hasReservoir(tw.site) {
		if reservoirM3 > fullWithin {
			f.reservoirLeak = c.ReservoirLeakM3S
		}
		if hasRefill(tw.site) && !c.RefillStuckShut && r.powered && (r.refillOpen || c.RefillStuckOpen) {
			f.refill = tw.line.refillM3S
		}
		f.reservoir = f.refill - f.topOff - f.reservoirLeak
		if reservoirM3 >= tw.reservoirRimM3-fullWithin && f.reservoir > 0 {
			f.spillReservoir, f.reservoir = f.reservoir, 0
		}
	}
	return f
}

// circulate fills in what crosses between display and chamber. own is what the
// chamber gains by itself.
func (r *run) circulate(f *flows, own, displayM3, chamberM3 float64) {
	tw, d := r.tw, &r.drains
	displayOwn := -f.leak - f.evapDisplayKgS*tw.fluid.waterM3Kg
	switch {
	case r.mode == pinned:
		f.returned = d.returnM3S
		f.overflowed = d.returnM3S + displayOwn
	case r.starved:
		// The pump lifts what reaches it and no more.
		f.overflowed = r.overflowM3S(displayM3)
		if arriving := f.overflowed + own; arriving > 0 && chamberM3 >= tw.chamberIntakeM3-fullWithin {
			f.returned = min(arriving, d.returnM3S)
		}
	case r.returnRuns:
		f.returned = d.returnM3S
		f.overflowed = r.overflowM3S(displayM3)
	default:
		f.overflowed = r.returnSiphonM3S(displayM3, chamberM3)
		if r.mode == moving {
			f.overflowed += r.overflowM3S(displayM3)
		}
	}
	f.display = displayOwn + f.returned - f.overflowed
	f.chamber = own - f.returned + f.overflowed
	if r.mode == pinned {
		f.display = 0
	}
	if displayM3 >= tw.displayRimM3-fullWithin && f.display > 0 {
		f.spillDisplay, f.display = f.display, 0
	}
}

// segment works out the flows from now on and how long they last.
func (r *run) segment() float64 {
	f := r.flowsAt(r.displayM3, r.chamberM3, r.reservoirM3)
	limit := r.variation(&f)
	if !math.IsInf(limit, 1) {
		half := limit / 2
		f = r.flowsAt(r.displayM3+f.display*half, r.chamberM3+f.chamber*half, r.reservoirM3+f.reservoir*half)
	}
	r.flow = f
	until := r.nextScheduled()
	if r.tw.setup.Guard != nil && r.powered && !r.frozen {
		until = min(until, r.guardDue)
	}
	until = min(until, r.watch.flipAt, r.ceiling.flipAt, r.now+longestSegment)
	if c := min(r.crossing(&f), limit); c < (until - r.now).Seconds() {
		until = min(until, r.now+seconds(c)+crossingPad)
	}
	step := until - r.now
	if step <= 0 {
		step = crossingPad
	}
	r.now += step
	return step.Seconds()
}

// variation is how long the flows may be held before they have changed too
// much; +Inf when none of them depends on a volume that moves.
func (r *run) variation(f *flows) float64 {
	tw := r.tw
	limit := math.Inf(1)
	bound := func(volume, rate float64) {
		if rate != 0 {
			limit = min(limit, volume/math.Abs(rate))
		}
	}
	if f.topOff != 0 && hasReservoir(tw.site) {
		bound(shareOfVessel*tw.reservoirRimM3, f.reservoir)
		bound(shareOfVessel*tw.chamberRimM3, f.chamber)
		if !r.pumpPowered {
			// A siphon dies away as the two surfaces meet.
			surface := tw.line.reservoirFloorM + tw.reservoir.LevelM(r.reservoirM3)
			level := tw.chamber.LevelM(r.chamberM3)
			gap := math.Abs(surface - max(level, r.tubeEndM()))
			bound(moveTimeFrac*gap*tw.reservoir.AreaM2(surface-tw.line.reservoirFloorM), f.topOff)
			bound(moveTimeFrac*gap*tw.chamber.AreaM2(level), f.topOff)
		}
	}
	if tw.site.HasSump() && r.mode == moving && f.display != 0 && !(r.starved && f.returned > 0) {
		over := r.displayM3 - tw.displayCrestM3
		if f.overflowed > 0 && over > 0 {
			limit = min(limit, moveTimeFrac*over/(weirExponent*f.overflowed))
		}
		bound(moveHeadFrac*max(over, r.drains.headM3), f.display)
	}
	return limit
}

// weirExponent: flow over an edge grows with head to this power.
const weirExponent = 1.5

// crossing is the time until the first volume reaches something that matters.
func (r *run) crossing(f *flows) float64 {
	tw := r.tw
	first := math.Inf(1)
	at := func(volume, rate, target float64) {
		if t := (target - volume) / rate; t > 0 && t < first {
			first = t
		}
	}
	if rate := f.chamber; rate != 0 {
		rising := rate > 0
		if target, ok := r.watch.next(rising); ok && tw.site.TopOff.Watch != nil {
			at(r.chamberM3, rate, target)
		}
		if target, ok := r.ceiling.next(rising); ok && tw.site.TopOff.Ceiling != nil {
			at(r.chamberM3, rate, target)
		}
		if tw.site.TopOff.FloatValve != nil {
			at(r.chamberM3, rate, tw.floatShutM3)
			at(r.chamberM3, rate, tw.floatOpenM3)
		}
		at(r.chamberM3, rate, tw.chamberRimM3)
		if r.returnRuns {
			at(r.chamberM3, rate, tw.chamberIntakeM3)
		}
		if !rising {
			at(r.chamberM3, rate, 0)
		}
	}
	if rate := f.reservoir; rate != 0 {
		at(r.reservoirM3, rate, tw.reservoirIntakeM3)
		at(r.reservoirM3, rate, tw.reservoirLowM3)
		at(r.reservoirM3, rate, tw.reservoirRimM3)
		if hasRefill(tw.site) {
			at(r.reservoirM3, rate, tw.refillOpenM3)
			at(r.reservoirM3, rate, tw.refillShutM3)
		}
	}
	if rate := f.display; rate != 0 {
		at(r.displayM3, rate, tw.displayCrestM3)
		at(r.displayM3, rate, tw.displayRimM3)
		at(r.displayM3, rate, r.drains.runningM3)
		at(r.displayM3, rate, r.drains.siphonEndM3)
		at(r.displayM3, rate, r.drains.primedM3)
		at(r.displayM3, rate, r.drains.emergencyM3)
	}
	if s := tw.site.Skimmer; s != nil && f.cup > 0 {
		at(r.cupM3, f.cup, s.CupM3)
	}
	if s := tw.site.FloorSensor; s != nil {
		if rate := f.toFloor(r.cond.TubeOut); rate > 0 {
			at(r.floorTotalM3(), rate, s.TripM3)
		}
	}
	return first
}

// toFloor is all that reaches the floor.
func (f *flows) toFloor(tubeOut bool) float64 {
	rate := f.spillDisplay + f.spillChamber + f.spillReservoir + f.spillCup + f.leak + f.reservoirLeak
	if tubeOut && f.topOff > 0 {
		rate += f.topOff
	}
	return rate
}

// advance moves water and salt for dt seconds.
func (r *run) advance(dt float64) {
	f, b := &r.flow, &r.out.Books
	hasSump := r.tw.site.HasSump()

	// The source.
	switch {
	case f.topOff > 0:
		var water parcel
		if r.tw.site.TopOff.Plumbed != nil {
			water = r.tw.fluid.parcelOf(f.topOff*dt, 0)
			b.enter(water)
			r.out.drawMains(f.topOff*dt, r.tw.line.rejectRatio)
		} else {
			water = r.reservoir.drawM3(f.topOff*dt, r.reservoirM3)
		}
		if r.cond.TubeOut {
			r.wetFloor(FromTube, water)
		} else {
			r.chamber.add(water)
			r.out.TopOffM3 += f.topOff * dt
		}
	case f.topOff < 0:
		r.reservoir.add(r.chamber.drawM3(-f.topOff*dt, r.chamberM3))
	}
	if f.refill > 0 {
		water := r.tw.fluid.parcelOf(f.refill*dt, 0)
		b.enter(water)
		r.out.drawMains(f.refill*dt, r.tw.line.rejectRatio)
		r.reservoir.add(water)
	}
	if f.reservoirLeak > 0 {
		r.wetFloor(FromReservoir, r.reservoir.drawM3(f.reservoirLeak*dt, r.reservoirM3))
	}
	if f.spillReservoir > 0 {
		r.wetFloor(FromReservoir, r.reservoir.drawM3(f.spillReservoir*dt, r.reservoirM3))
	}

	// The tank's own losses.
	difference := 0.0
	if hasSump {
		difference = r.display.saltKg/r.displayM3 - r.chamber.saltKg/r.chamberM3
		r.evaporate(&r.display, f.evapDisplayKgS*dt)
		r.wetFloor(FromLeak, r.display.drawM3(f.leak*dt, r.displayM3))
		if f.spillDisplay > 0 {
			r.wetFloor(FromDisplay, r.display.drawM3(f.spillDisplay*dt, r.displayM3))
		}
	} else {
		r.wetFloor(FromLeak, r.chamber.drawM3(f.leak*dt, r.chamberM3))
	}
	r.evaporate(&r.chamber, f.evapChamberKgS*dt)
	if f.skim > 0 {
		skimmate := r.chamber.drawM3(f.skim*dt, r.chamberM3)
		r.wetFloor(FromSkimmer, skimmate.take(f.spillCup/f.skim))
		r.cup.add(skimmate)
		r.cupM3 += f.cup * dt
	}
	if f.spillChamber > 0 {
		r.wetFloor(FromSump, r.chamber.drawM3(f.spillChamber*dt, r.chamberM3))
	}
	if hasSump {
		r.exchange(dt, difference)
	}
	r.measure()
}

// exchange carries water and salt between display and chamber.
func (r *run) exchange(dt, differenceBefore float64) {
	f, fl := &r.flow, r.tw.fluid
	if net := (f.returned - f.overflowed) * dt; net > 0 {
		r.display.add(r.chamber.drawM3(net, fl.volumeM3(r.chamber)))
	} else if net < 0 {
		r.chamber.add(r.display.drawM3(-net, fl.volumeM3(r.display)))
	}
	both := min(f.returned, f.overflowed)
	displayM3, chamberM3 := fl.volumeM3(r.display), fl.volumeM3(r.chamber)
	if both <= 0 || displayM3 <= 0 || chamberM3 <= 0 {
		return
	}
	// The concentrations differ by d, d' = sources - k d: the closed solution
	// over dt, with the sources' share taken from what they did just now.
	perM3 := 1/displayM3 + 1/chamberM3
	after := r.display.saltKg/displayM3 - r.chamber.saltKg/chamberM3
	x := both * perM3 * dt
	decay := math.Exp(-x)
	held := 1 - x/2 // (1 - exp(-x))/x for small x
	if x > smallDecay {
		held = (1 - decay) / x
	}
	target := differenceBefore*decay + (after-differenceBefore)*held
	saltKg := (target - after) / perM3
	saltKg = min(max(saltKg, -r.display.saltKg), r.chamber.saltKg)
	waterKg := saltKg * fl.saltM3Kg / fl.waterM3Kg
	r.display.add(parcel{waterKg: -waterKg, saltKg: saltKg})
	r.chamber.add(parcel{waterKg: waterKg, saltKg: -saltKg})
}

// smallDecay is where the series of (1-exp(-x))/x takes over.
const smallDecay = 1e-6

// evaporate takes fresh water, as much as there is.
func (r *run) evaporate(p *parcel, kg float64) {
	kg = min(kg, p.waterKg)
	p.waterKg -= kg
	r.out.EvaporatedM3 += kg * r.tw.fluid.waterM3Kg
	r.out.Books.leave(parcel{waterKg: kg})
}

// wetFloor puts water on the floor.
func (r *run) wetFloor(from Origin, p parcel) {
	if p == (parcel{}) {
		return
	}
	r.floor[from].add(p)
	r.floorM3[from] += r.tw.fluid.volumeM3(p)
}

// emptyCup is what a person does with the skimmate at a visit.
func (r *run) emptyCup() parcel {
	p := r.cup
	r.cup, r.cupM3 = parcel{}, 0
	return p
}
