package plant

import (
	"math"
	"time"
)

// segment is a stretch of time over which every flow is constant.
type segment struct {
	flows
	governors governors
	since     time.Duration
	until     time.Duration // flows that depend on volumes hold no longer
	at        volumes       // where the volumes stood at since
	mixed     water         // display and chamber, were they one water at since
	valid     bool
}

// governors are what decides the flows besides the volumes themselves.
type governors struct {
	pump, valve, line, source, float, refill   bool
	powered, returns, siphons, primed, lifting bool
	starved, overCrest, overEmergency, halted  bool
	mode                                       displayMode
	displayFull, chamberFull, reservoirFull    bool
	cupFull, skimmerDry                        bool
	displayDry, chamberDry, reservoirDry       bool
}

// flows is every flow of a segment, m3/s unless said otherwise, and what they
// do to the volumes.
type flows struct {
	topOff, skim, leak, reservoirLeak, refill float64
	evapDisplayKgS, evapChamberKgS            float64
	returned, overflowed                      float64
	spillDisplay, spillChamber                float64
	spillReservoir, spillCup                  float64

	rate volumes // rates of change
}

const (
	// fullWithin is how near a rim counts as full, m3.
	fullWithin = 1e-9
	// intakeWithin is how near the return pump's intake the chamber stands
	// while the pump lifts just what reaches it, m3.
	intakeWithin = 1e-6
	// A vessel is dry at dryM3 and wet again at wetAgainM3, and so is a pump's
	// intake; the skimmer stops when the return chamber is empty and starts
	// again skimAgainM3 above. The gaps keep a trickle from chattering.
	dryM3       = 1e-6
	wetAgainM3  = 1e-4
	skimAgainM3 = 1e-3
	// crossingPad carries time just past a crossing, so that rounding cannot
	// leave the water a hair short of it.
	crossingPad = time.Microsecond
	// longestSegment: slow changes are looked at again this often.
	longestSegment = 24 * time.Hour
	// shareOfVessel bounds how far a vessel may move in one segment while a
	// level-dependent flow runs, or how much of it may go over its rim.
	shareOfVessel = 0.02
	// briefly is the share of that bound below which a segment's flow need not
	// be taken at its middle.
	briefly = 0.2
)

// gap is a threshold with a gap: it turns on at low and off at high.
func gap(on *bool, volumeM3, low, high float64) {
	if volumeM3 <= low {
		*on = true
	} else if volumeM3 >= high {
		*on = false
	}
}

// look works out what governs the flows now.
func (r *run) look() governors {
	tw := r.tw
	gap(&r.chamberDry, r.chamberM3, dryM3, wetAgainM3)
	gap(&r.displayDry, r.displayM3, dryM3, wetAgainM3)
	gap(&r.reservoirDry, r.reservoirM3, dryM3, wetAgainM3)
	gap(&r.skimmerDry, r.chamberM3, tw.chamber.fixedM3+dryM3, tw.chamber.fixedM3+skimAgainM3)
	g := governors{
		pump: r.pumpPowered, valve: r.valveOpen, line: r.linePrimed, source: r.sourceWet,
		float: r.floatOpen, refill: r.refillOpen,
		powered: r.powered, returns: r.returnRuns, siphons: r.returnSiphons, primed: r.drainPrimed,
		starved: r.starved, lifting: r.lifting, mode: r.mode,
		chamberFull:   r.chamberM3 >= tw.chamberRimM3-fullWithin,
		reservoirFull: r.reservoirM3 >= tw.reservoirRimM3-fullWithin,
		overCrest:     r.displayM3 > tw.displayCrestM3,
		halted:        r.powered && r.floorStopsReturn(),
		overEmergency: r.displayM3 > r.drains.emergencyM3,
		displayFull:   r.displayM3 >= tw.displayRimM3-fullWithin,
		chamberDry:    r.chamberDry, displayDry: r.displayDry, reservoirDry: r.reservoirDry,
		skimmerDry: r.skimmerDry,
	}
	if s := tw.tank.Skimmer; s != nil {
		g.cupFull = r.cupM3 >= s.CupM3-fullWithin
	}
	return g
}

// newSegment works out the flows from now on and how long they hold.
func (r *run) newSegment(g governors) {
	now := r.volumes
	f := r.flowsAt(&g, now)
	limit := r.variation(&f)
	if !math.IsInf(limit, 1) && r.crossing(&f, now) > briefly*limit {
		half := limit / 2
		f = r.flowsAt(&g, volumes{
			displayM3:   now.displayM3 + f.rate.displayM3*half,
			chamberM3:   now.chamberM3 + f.rate.chamberM3*half,
			reservoirM3: now.reservoirM3 + f.rate.reservoirM3*half,
		})
	}
	until := longestSegment
	if limit < until.Seconds() {
		until = seconds(limit) + crossingPad
	}
	mixed := r.display
	mixed.add(r.chamber)
	r.segment = segment{flows: f, governors: g, since: r.now, until: r.now + until, at: now,
		mixed: r.tw.waterOf(&mixed), valid: true}
}

// flowsAt works out every flow for the given volumes.
func (r *run) flowsAt(g *governors, v volumes) flows {
	tw, c := r.tw, &r.cond
	var f flows
	f.topOff = r.topOffFlow(v.chamberM3, v.reservoirM3)
	if !g.chamberDry {
		f.evapChamberKgS = tw.evapChamber.kgS(r.chamber.salinityPSU()-tw.target.psu) * c.EvaporationFactor
		if s := tw.tank.Skimmer; s != nil && r.powered && !g.skimmerDry && !(g.cupFull && s.CupCutoff && !c.CupCutoffFails) {
			f.skim = s.SkimmateM3Day/secondsPerDay*c.SkimmateFactor + c.SkimmerFloodM3S
			if g.cupFull {
				f.spillCup = f.skim
			}
		}
	}
	f.rate.cupM3 = f.skim - f.spillCup
	own := -f.skim - f.evapChamberKgS*tw.fluid.waterM3Kg
	if f.topOff < 0 || !c.TubeOut {
		own += f.topOff
	}
	if tw.tank.HasSump() {
		if !g.displayDry {
			f.evapDisplayKgS = tw.evapDisplay.kgS(r.display.salinityPSU()-tw.target.psu) * c.EvaporationFactor
			f.leak = c.TankLeakM3S
		}
		r.circulate(&f, own, v)
		if g.displayFull && f.rate.displayM3 > 0 {
			f.spillDisplay, f.rate.displayM3 = f.rate.displayM3, 0
		}
	} else {
		if !g.chamberDry {
			f.leak = c.TankLeakM3S
		}
		f.rate.chamberM3 = own - f.leak
	}
	if g.chamberFull && f.rate.chamberM3 > 0 {
		f.spillChamber, f.rate.chamberM3 = f.rate.chamberM3, 0
	}
	if hasReservoir(tw.tank) {
		r.supply(&f, g)
	}
	f.rate.wetM3 = f.spillDisplay + f.spillChamber + f.spillReservoir + f.spillCup + f.leak + f.reservoirLeak
	if c.TubeOut && f.topOff > 0 {
		f.rate.wetM3 += f.topOff
	}
	return f
}

// supply is what fills and empties the reservoir.
func (r *run) supply(f *flows, g *governors) {
	c := &r.cond
	if !g.reservoirDry {
		f.reservoirLeak = c.ReservoirLeakM3S
	}
	if hasRefill(r.tw.tank) && !c.RefillStuckShut && r.powered && (r.refillOpen || c.RefillStuckOpen) {
		f.refill = r.tw.line.refillM3S
	}
	f.rate.reservoirM3 = f.refill - f.topOff - f.reservoirLeak
	if g.reservoirFull && f.rate.reservoirM3 > 0 {
		f.spillReservoir, f.rate.reservoirM3 = f.rate.reservoirM3, 0
	}
}

// circulate fills in what crosses between display and chamber. own is what the
// chamber gains by itself.
func (r *run) circulate(f *flows, own float64, v volumes) {
	displayOwn := -f.leak - f.evapDisplayKgS*r.tw.fluid.waterM3Kg
	switch {
	case r.mode == pinned:
		f.returned = r.drains.returnM3S
		f.overflowed = f.returned + displayOwn
		f.rate.chamberM3 = own + displayOwn
		return
	case r.starved:
		// The pump lifts what reaches it and no more.
		f.overflowed = r.overflowM3S(v.displayM3)
		if r.lifting {
			f.returned = max(f.overflowed+own, 0)
		}
	case r.returnRuns:
		f.returned = r.drains.returnM3S
		f.overflowed = r.overflowM3S(v.displayM3)
	default:
		f.overflowed = r.returnSiphonM3S(v.displayM3, v.chamberM3)
		if r.mode == moving {
			f.overflowed += r.overflowM3S(v.displayM3)
		}
	}
	f.rate.displayM3 = displayOwn + f.returned - f.overflowed
	f.rate.chamberM3 = own - f.returned + f.overflowed
}

// variation is how long the flows may be held before they have changed too
// much, in seconds; +Inf when none of them depends on a volume that moves.
func (r *run) variation(f *flows) float64 {
	tw := r.tw
	limit := math.Inf(1)
	bound := func(volume, rate float64) {
		if rate != 0 {
			limit = min(limit, volume/math.Abs(rate))
		}
	}
	bound(shareOfVessel*r.chamberM3, f.spillChamber)
	bound(shareOfVessel*r.displayM3, f.spillDisplay)
	bound(shareOfVessel*r.reservoirM3, f.spillReservoir)
	if f.topOff != 0 && hasReservoir(tw.tank) {
		bound(shareOfVessel*tw.reservoirRimM3, f.rate.reservoirM3)
		bound(shareOfVessel*tw.chamberRimM3, f.rate.chamberM3)
		if !r.pumping() {
			// A siphon dies away as the two surfaces meet.
			surface := tw.line.reservoirFloorM + tw.reservoir.LevelM(r.reservoirM3)
			level := tw.chamber.LevelM(r.chamberM3)
			gap := math.Abs(surface - max(level, r.tubeEndM()))
			bound(moveTimeFrac*gap*tw.reservoir.AreaM2(surface-tw.line.reservoirFloorM), f.topOff)
			bound(moveTimeFrac*gap*tw.chamber.AreaM2(level), f.topOff)
		}
	}
	if r.mode == moving && tw.tank.HasSump() && f.rate.displayM3 != 0 && !r.lifting {
		over := r.displayM3 - tw.displayCrestM3
		if f.overflowed > 0 && over > 0 {
			limit = min(limit, moveTimeFrac*over/(weirExponent*f.overflowed))
		}
		bound(moveHeadFrac*max(over, r.drains.headM3, r.drains.filmM3), f.rate.displayM3)
	}
	return limit
}

// weirExponent: flow over an edge grows with head to this power.
const weirExponent = 1.5

// nextEvent is the next instant at which anything may change.
func (r *run) nextEvent() time.Duration {
	next := min(r.nextCalendarEvent(), r.segment.until, r.watch.flipAt, r.ceiling.flipAt)
	if r.tw.setup.Guard != nil && r.powered && !r.frozen {
		next = min(next, r.guardDue)
	}
	if cuts := r.timerCuts(); cuts > r.now {
		next = min(next, cuts)
	}
	if c := r.crossing(&r.segment.flows, r.volumes); c < (next - r.now).Seconds() {
		next = min(next, r.now+seconds(c)+crossingPad)
	}
	if next <= r.now {
		next = r.now + crossingPad
	}
	return next
}

// goTo carries the volumes along their lines.
func (r *run) goTo(t time.Duration) {
	dt := (t - r.segment.since).Seconds()
	from, rate := &r.segment.at, &r.segment.rate
	r.displayM3 = from.displayM3 + rate.displayM3*dt
	r.chamberM3 = from.chamberM3 + rate.chamberM3*dt
	r.reservoirM3 = from.reservoirM3 + rate.reservoirM3*dt
	r.cupM3 = from.cupM3 + rate.cupM3*dt
	r.wetM3 = from.wetM3 + rate.wetM3*dt
	r.now = t
}

// crossing is the time in seconds until the first volume reaches something that
// matters.
func (r *run) crossing(f *flows, v volumes) float64 {
	tw := r.tw
	first := math.Inf(1)
	at := func(volume, rate, target float64) {
		if t := (target - volume) / rate; t > 0 && t < first {
			first = t
		}
	}
	if rate := f.rate.chamberM3; rate != 0 {
		rising := rate > 0
		if target, ok := r.watch.next(rising); ok {
			at(v.chamberM3, rate, target)
		}
		if target, ok := r.ceiling.next(rising); ok {
			at(v.chamberM3, rate, target)
		}
		if tw.tank.TopOff.FloatValve != nil {
			at(v.chamberM3, rate, tw.floatShutM3)
			at(v.chamberM3, rate, tw.floatOpenM3)
		}
		at(v.chamberM3, rate, tw.chamberRimM3)
		at(v.chamberM3, rate, tw.chamberIntakeM3)
		at(v.chamberM3, rate, dryM3)
		at(v.chamberM3, rate, wetAgainM3)
		at(v.chamberM3, rate, tw.chamber.fixedM3+dryM3)
		at(v.chamberM3, rate, tw.chamber.fixedM3+skimAgainM3)
	}
	if rate := f.rate.reservoirM3; rate != 0 {
		at(v.reservoirM3, rate, tw.reservoirIntakeM3)
		at(v.reservoirM3, rate, tw.reservoirIntakeM3+wetAgainM3)
		at(v.reservoirM3, rate, tw.reservoirLowM3)
		at(v.reservoirM3, rate, tw.reservoirRimM3)
		at(v.reservoirM3, rate, dryM3)
		at(v.reservoirM3, rate, wetAgainM3)
		if hasRefill(tw.tank) {
			at(v.reservoirM3, rate, tw.refillOpenM3)
			at(v.reservoirM3, rate, tw.refillShutM3)
		}
	}
	if rate := f.rate.displayM3; rate != 0 {
		d := &r.drains
		at(v.displayM3, rate, dryM3)
		at(v.displayM3, rate, wetAgainM3)
		at(v.displayM3, rate, tw.displayCrestM3)
		at(v.displayM3, rate, tw.displayRimM3)
		at(v.displayM3, rate, d.runningM3)
		at(v.displayM3, rate, d.siphonEndM3)
		at(v.displayM3, rate, d.primedM3)
		at(v.displayM3, rate, d.emergencyM3)
	}
	if s := tw.tank.Skimmer; s != nil && f.rate.cupM3 > 0 {
		at(v.cupM3, f.rate.cupM3, s.CupM3)
	}
	if s := tw.tank.FloorSensor; s != nil && f.rate.wetM3 > 0 {
		at(v.wetM3, f.rate.wetM3, s.TripM3)
	}
	return first
}
