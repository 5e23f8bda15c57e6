package plant

import (
	"math"
	"time"

	"isohaline/hydraulics"
	"isohaline/internal/guard"
)

// fixedStep is the same tank integrated the plain way: explicit Euler with a
// constant step, every flow worked out again at each, the guard asked at each.
// It shares the twin's geometry, tables and fault conditions and nothing of its
// event machinery: no regimes, no crossings, no closed solutions. It is the
// yardstick for both the answers and the speed.
type fixedStep struct {
	tw       *Twin
	cond     Conditions
	settings guard.Settings
	step     time.Duration

	now, onset                       time.Duration
	nextVisit, nextChange            time.Duration
	display, chamber, reservoir, cup parcel
	floorM3                          float64
	watch, ceiling                   fixedContact
	state                            guard.State
	out                              guard.Outputs
	topOffM3, evaporatedM3           float64
	lowPSU, highPSU, lowM3, highM3   float64
	lowDKH, highDKH                  float64
	drains                           drains
	request                          guard.Request
	returnWas                        bool
	drainPrimed, siphonOpen          bool
}

// fixedContact answers after its response time, counted in steps.
type fixedContact struct {
	levels       contactLevels
	responseS    float64
	water, wet   bool
	contraryForS float64
	stuck        Stuck
}

func (c *fixedContact) follow(chamberM3, dt float64) {
	switch c.stuck {
	case StuckDry:
		c.wet = false
		return
	case StuckWet:
		c.wet = true
		return
	case Jammed:
		return
	}
	if chamberM3 >= c.levels.wetM3 {
		c.water = true
	} else if chamberM3 <= c.levels.dryM3 {
		c.water = false
	}
	if c.water == c.wet {
		c.contraryForS = 0
		return
	}
	if c.contraryForS += dt; c.contraryForS >= c.responseS {
		c.wet, c.contraryForS = c.water, 0
	}
}

func newFixedStep(tw *Twin, step time.Duration) *fixedStep {
	f := &fixedStep{tw: tw, step: step, settings: *tw.setup.Guard, onset: SpinUp, cond: Healthy()}
	f.chamber = tw.fluid.parcelOf(tw.chamber.VolumeM3(tw.nominalLevelM()), tw.sea)
	if tw.tank.HasSump() {
		f.drains = tw.drainsUnder(&f.cond)
		f.display = tw.fluid.parcelOf(f.drains.runningM3, tw.sea)
	}
	f.reservoir = tw.fluid.parcelOf(tw.reservoirFullM3, tw.topOffWater)
	f.nextVisit, f.nextChange = never, never
	f.returnWas, f.drainPrimed = tw.tank.HasSump(), true
	f.fit()
	f.watch.water, f.watch.wet = true, true
	f.state = guard.Boot(&f.settings, guard.State{}, 0)
	return f
}

func (f *fixedStep) fit() {
	t, at := &f.tw.tank.TopOff, f.tw.setup.Levels
	fit := func(c *fixedContact, s SensorFault, elevationM, hysteresisM, responseS float64) {
		c.levels, c.responseS, c.stuck = f.tw.contactAt(elevationM+s.ShiftM, hysteresisM), responseS+s.SlowS, s.Stuck
	}
	fit(&f.watch, f.cond.Watch, at.WatchM, t.Watch.HysteresisM, t.Watch.ResponseS)
	if t.Ceiling != nil {
		fit(&f.ceiling, f.cond.Ceiling, at.CeilingM, t.Ceiling.HysteresisM, t.Ceiling.ResponseS)
	}
}

// run goes to the onset, changes the conditions, and goes on for a time.
func (f *fixedStep) run(c Conditions, length time.Duration) {
	f.until(f.onset)
	f.cond = c
	f.fit()
	if f.tw.tank.HasSump() {
		f.drains = f.tw.drainsUnder(&f.cond)
	}
	f.reservoir = f.tw.fluid.parcelOf(f.tw.reservoirFullM3, f.tw.topOffWater)
	f.cup = parcel{}
	if c.Held {
		f.request = guard.Hold
	}
	f.topOffM3, f.evaporatedM3 = 0, 0
	f.lowPSU, f.highPSU, f.lowM3, f.highM3 = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	f.lowDKH, f.highDKH = math.Inf(1), math.Inf(-1)
	if c.LimeStirred {
		f.reservoir.alkMol += limeStirredGL * 1000 * limeMolPerG * f.tw.reservoirFullM3
	}
	f.nextVisit = f.onset + days(f.tw.tank.People.DaysBetweenVisits)
	if w := f.tw.tank.WaterChange; w != nil {
		f.nextChange = f.onset + days(w.EveryDays)
	}
	f.until(f.onset + length)
}

func (f *fixedStep) until(end time.Duration) {
	for f.now < end {
		f.once()
		f.now += f.step
	}
}

// once is one step: look, decide, move water.
func (f *fixedStep) once() {
	tw, s, fl := f.tw, f.tw.tank, f.tw.fluid
	dt := f.step.Seconds()
	since := f.now - f.onset
	if f.now < f.onset {
		since = -1
	}
	if f.now >= f.nextVisit {
		missing := tw.reservoirFullM3 - fl.volumeM3(f.reservoir)
		f.reservoir.add(fl.parcelOf(missing, tw.topOffWater))
		f.cup = parcel{}
		f.nextVisit += days(s.People.DaysBetweenVisits)
	}
	displayM3, chamberM3, reservoirM3 := fl.volumeM3(f.display), fl.volumeM3(f.chamber), fl.volumeM3(f.reservoir)
	if f.now >= f.nextChange {
		share := s.WaterChange.VolumeM3 / (displayM3 + chamberM3)
		f.chamber.take(share)
		f.chamber.add(fl.parcelOf(share*chamberM3, tw.newWater))
		f.display.take(share)
		f.display.add(fl.parcelOf(share*displayM3, tw.newWater))
		f.nextChange += days(s.WaterChange.EveryDays)
	}

	powered := !f.cond.PowerOff.activeAt(since)
	returns := s.HasSump() && powered && !f.cond.ReturnOff.activeAt(since)
	f.watch.follow(chamberM3, dt)
	f.ceiling.follow(chamberM3, dt)
	in := guard.Inputs{
		Watch: contactOf(true, f.watch.wet), Ceiling: contactOf(s.TopOff.Ceiling != nil, f.ceiling.wet),
		Floor:      contactOf(s.FloorSensor != nil, s.FloorSensor != nil && f.floorM3 >= s.FloorSensor.TripM3),
		ReturnPump: contactOf(s.TopOff.ReturnSensed && s.HasSump(), returns),
		ReservoirLow: contactOf(s.TopOff.Reservoir.LowSensor != nil,
			reservoirM3 > tw.reservoirLowM3),
		LevelMM: math.NaN(), Request: f.request,
	}
	f.request = guard.NoRequest
	f.state, f.out = guard.Step(&f.settings, f.state, in, f.now)
	pump := powered && (f.out.Pump || f.cond.RelayWelded)

	// Flows.
	wet := reservoirM3 > tw.reservoirIntakeM3
	topOff := 0.0
	if pump && wet {
		outletM := max(tw.line.endM, tw.chamber.LevelM(chamberM3))
		surfaceM := tw.line.reservoirFloorM + tw.reservoir.LevelM(reservoirM3)
		if high := s.TopOff.TubeHighElevationM; s.TopOff.SiphonBreak && high > surfaceM {
			outletM = max(outletM, high)
		}
		topOff = tw.line.pumped.at(outletM-surfaceM) * f.cond.TopOffPumpFrac
	}
	psu := f.chamber.salinityPSU()
	evapChamber := tw.evapChamber.kgS(psu-tw.target.psu) * f.cond.EvaporationFactor * dt
	evapDisplay := 0.0
	skim := 0.0
	if s.Skimmer != nil && powered && fl.volumeM3(f.cup) < s.Skimmer.CupM3 {
		skim = s.Skimmer.SkimmateM3Day / secondsPerDay * dt * f.cond.SkimmateFactor
	}
	returned, overflowed := 0.0, 0.0
	if s.HasSump() {
		evapDisplay = tw.evapDisplay.kgS(f.display.salinityPSU()-tw.target.psu) * f.cond.EvaporationFactor * dt
		returned, overflowed = f.circulation(returns, displayM3, chamberM3, dt)
	}

	// Water and salt.
	water := fl.draw(&f.reservoir, topOff*dt)
	f.chamber.add(water)
	f.topOffM3 += topOff * dt
	up, down := fl.draw(&f.chamber, returned), fl.draw(&f.display, overflowed)
	f.display.add(up)
	f.chamber.add(down)
	f.cup.add(fl.draw(&f.chamber, skim))
	leak := fl.draw(&f.display, f.cond.TankLeakM3S*dt)
	f.floorM3 += fl.volumeM3(leak)
	f.chamber.waterKg -= evapChamber
	f.display.waterKg -= evapDisplay
	if over := fl.volumeM3(f.chamber) - tw.chamberRimM3; over > 0 {
		f.floorM3 += over
		fl.draw(&f.chamber, over)
	}
	f.evaporatedM3 += (evapChamber + evapDisplay) * fl.waterM3Kg

	animals, animalsM3 := &f.chamber, chamberM3
	if s.HasSump() {
		animals, animalsM3 = &f.display, displayM3
	}
	if animals.alkMol > tw.uptakeEndsMolM3*animalsM3 {
		animals.alkMol -= tw.uptakeMolS * dt
	}
	now := tw.waterOf(animals)
	f.lowPSU, f.highPSU = min(f.lowPSU, now.psu), max(f.highPSU, now.psu)
	f.lowDKH, f.highDKH = min(f.lowDKH, now.dkh), max(f.highDKH, now.dkh)
	f.lowM3, f.highM3 = min(f.lowM3, chamberM3), max(f.highM3, chamberM3)
}

// circulation is what crosses in a step, by the laws of weir and pump alone.
func (f *fixedStep) circulation(returns bool, displayM3, chamberM3, dt float64) (returned, overflowed float64) {
	tw, d, o := f.tw, &f.drains, f.tw.tank.Overflow
	if returns {
		f.siphonOpen = false
		if displayM3 >= d.primedM3 {
			f.drainPrimed = true
		}
		returned = min(d.returnM3S*dt, max(chamberM3-tw.chamberIntakeM3, 0))
	} else {
		if f.returnWas {
			f.siphonOpen = true
		}
		if displayM3 <= tw.displayCrestM3+d.filmM3 {
			f.drainPrimed = o.PrimingHeadM == 0
		}
	}
	f.returnWas = returns
	level := tw.display.LevelM(displayM3)
	capacity := d.capacityM3S
	if !f.drainPrimed {
		capacity = min(capacity, primingFrac*d.returnM3S)
	}
	flow := min(hydraulics.EdgeFlowM3S(level-o.CrestHeightM, o.EdgeLengthM), capacity)
	if level > d.highM {
		flow += min(hydraulics.EdgeFlowM3S(level-d.highM, o.EdgeLengthM), tw.drainCapacityM3S)
	}
	overflowed = min(flow*dt, max(displayM3-tw.displayCrestM3, 0))
	if f.siphonOpen && displayM3 > d.siphonEndM3 {
		fall := tw.tank.Display.FloorElevationM + level - tw.chamber.LevelM(chamberM3)
		overflowed += min(tw.backSiphon.at(fall)*dt, displayM3-d.siphonEndM3)
	}
	return returned, overflowed
}
