package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// Scenario is what happens to a twin.
type Scenario struct {
	// Conditions hold from the onset on. The state at the onset is a healthy
	// system just after a visit.
	Conditions Conditions
	// Later replaces the conditions at later times, in order: weather that
	// turns, a fault that grows, a repair.
	Later []Later
	// Length is how long the run goes on after the onset.
	Length time.Duration
	// StopAt ends the run early at a class; NoHarm: never.
	StopAt Class
	// Trace, if set, is called after every segment.
	Trace func(Sample)
	// EveryCycle goes through every fill one by one, where otherwise a steady
	// rhythm of fills is summed up. Trace implies it.
	EveryCycle bool
}

// Later is conditions that begin some time after the onset. Interruptions in
// them count from then; a bucket or a salted reservoir that was there before is
// not repeated.
type Later struct {
	After      time.Duration
	Conditions Conditions
}

// Result is a run seen twice: until a person comes who mends things, and to its
// end as if nobody did.
type Result struct {
	Attended, Alone Outcome
	FoundBy         Finder
	// FoundAt is since the onset; NotReached for Nobody.
	FoundAt time.Duration
}

// Finder is what brings a person who mends things.
type Finder uint8

const (
	Nobody Finder = iota
	ByAlarm
	ByVisit
)

// Sample is the state at the end of a segment, for drawing.
type Sample struct {
	SinceOnset                       time.Duration
	ChamberM, DisplayM, ReservoirM3  float64
	SalinityPSU, ChamberPSU, FloorM3 float64
	AlkalinityDKH                    float64
	// PHClosed is the animals' water as if it had met no air since a day
	// before, PHSettled once it has found its balance with the room's. NaN where
	// there is no saying, as in a tank that has all but dried out.
	PHClosed, PHSettled                 float64
	TopOffM3S                           float64
	WatchWet, CeilingWet, ReturnRunning bool
	Phase                               guard.Phase
	Reason                              guard.Reason
}

// SpinUp is how long the system runs healthy before the onset: long enough to
// learn its first fill.
const SpinUp = 36 * time.Hour

// run is one simulation: a plain value, so a run that reached the onset can be
// copied and sent into many faults.
type run struct {
	tw       *Twin
	cond     Conditions
	settings guard.Settings
	drains   drains

	now, onset, end time.Duration
	since           time.Duration // when the present conditions began
	later           []Later
	onsetDone       bool
	calendar        calendar

	// The masses stand as they were at the segment's start; the volumes are
	// carried along to now.
	display, chamber, reservoir, cup parcel
	floor                            [originCount]parcel
	volumes
	floorM3 [originCount]float64 // at the segment's start, by origin

	watch, ceiling contact
	powered        bool
	returnRuns     bool
	returnSiphons  bool
	drainPrimed    bool
	starved        bool // the chamber is at the return pump's intake ...
	lifting        bool // ... and the pump lifts just what reaches it
	mode           displayMode
	supplied       bool          // the controller's side of the pump's supply
	suppliedSince  time.Duration // when that began
	pumpPowered    bool
	valveOpen      bool
	linePrimed     bool // the top-off line is full of water
	sourceWet      bool // the reservoir's water reaches the pump
	floatOpen      bool
	refillOpen     bool
	skimmerDry     bool
	displayDry     bool
	chamberDry     bool
	reservoirDry   bool

	guardState guard.State
	guardIn    guard.Inputs
	guardOut   guard.Outputs
	guardDue   time.Duration
	guardStale bool
	frozen     bool    // a hung controller: its outputs stay as they are
	gaugeM     float64 // what a stuck level gauge goes on saying

	trace     func(Sample)
	segment   segment
	rhythm    rhythm
	signature signature
	out       Outcome
	hour      recent
	day       recent
	// How far pH has been worked out; see rankOf.
	settled, closed reach
	result          Result
}

// volumes are the volumes at one instant, m3. floorM3 is all that is on the
// floor.
type volumes struct{ displayM3, chamberM3, reservoirM3, cupM3, wetM3 float64 }

// Onset is the system run healthy from its first fill to the onset of whatever
// comes next. It is worked out once and shared by every scenario.
type Onset struct{ r run }

// SpinUp brings the twin to the onset.
func (tw *Twin) SpinUp() *Onset {
	r := run{tw: tw, cond: Healthy(), onset: SpinUp, end: SpinUp}
	if tw.setup.Guard != nil {
		r.settings = *tw.setup.Guard
	}
	s := tw.tank
	r.powered, r.returnRuns, r.drainPrimed = true, s.HasSump(), true
	r.calendar = emptyCalendar
	r.chamber = tw.fluid.parcelOf(tw.chamber.VolumeM3(tw.nominalLevelM()), tw.sea)
	if s.HasSump() {
		r.drains = tw.drainsUnder(&r.cond)
		displayM3 := r.drains.runningM3
		if math.IsInf(displayM3, 1) {
			displayM3 = tw.displayRimM3
		}
		r.display = tw.fluid.parcelOf(displayM3, tw.sea)
	}
	r.reservoir = tw.fluid.parcelOf(tw.reservoirFullM3, tw.topOffWater)
	r.measure()
	r.watch.begin(true)
	r.ceiling.begin(false)
	r.fitSensors()
	r.beginOutcome(-SpinUp)
	r.bootGuard(guard.State{})
	r.openBooks()
	r.loop(Scenario{})
	return &Onset{r: r}
}

// Run carries a scenario from the onset to its end.
func (o *Onset) Run(sc Scenario) Result {
	r := o.r
	r.end = r.onset + sc.Length
	r.later, r.trace = sc.Later, sc.Trace
	r.begin(sc.Conditions)
	r.loop(sc)
	r.result.Alone = r.finish()
	if r.result.FoundBy == Nobody {
		r.result.Attended = r.result.Alone
	}
	return r.result
}

// begin is the onset: a visit has just ended and the conditions change.
func (r *run) begin(c Conditions) {
	tw := r.tw
	r.onsetDone = true
	// What it spilled with nothing wrong stays on the floor and counts.
	r.cup = parcel{}
	r.fillReservoir()
	r.measure()
	r.beginOutcome(0)
	r.openBooks()
	r.result = Result{FoundAt: NotReached}
	r.segment = segment{}
	r.rhythm = rhythm{dkh: r.animals().dkh, steadySince: r.now - day}
	r.calendar.begin(tw.tank, r.onset)
	r.change(c)
}

// change lets new conditions begin.
func (r *run) change(c Conditions) {
	tw, before := r.tw, r.cond
	r.cond, r.since = c, r.now
	if c.ReservoirSalted && !before.ReservoirSalted {
		r.out.Books.leave(r.reservoir)
		r.reservoir = tw.fluid.parcelOf(r.reservoirM3, tw.sea)
		r.out.Books.enter(r.reservoir)
	}
	if c.LimeStirred && !before.LimeStirred {
		slurry := parcel{alkMol: r.reservoirM3 * limeStirredGL * limeMolPerG * litresPerM3}
		r.reservoir.add(slurry)
		r.out.Books.enter(slurry)
	}
	if c.BucketM3 > 0 && c.BucketM3 != before.BucketM3 {
		bucket := tw.fluid.parcelOf(c.BucketM3, mix{})
		r.out.Books.enter(bucket)
		if tw.tank.HasSump() {
			r.display.add(bucket)
		} else {
			r.chamber.add(bucket)
		}
	}
	r.measure()
	r.jolted()
	r.gaugeM = tw.chamber.LevelM(r.chamberM3)
	if tw.setup.Guard != nil {
		r.settings = *tw.setup.Guard
	}
	if c.RunLimitDisabled {
		r.settings.HardCap = guard.Never
		r.settings.FirstFillLimit = guard.Never
		r.settings.RunLimitFloor = guard.Never
	}
	if c.BudgetDisabled {
		r.settings.DailyBudget = guard.Never
	}
	if tw.tank.HasSump() {
		r.drains = tw.drainsUnder(&r.cond)
		r.mode = moving
	}
	r.fitSensors()
	switch {
	case c.Controller == HungOff:
		r.frozen, r.guardOut.Pump, r.guardOut.Valve = true, false, false
	case c.Controller != HungOn || before.Controller != HungOn:
		r.frozen = false
	}
	r.calendar.reboot = never
	if c.Controller == Rebooting {
		r.calendar.reboot = r.now + RebootPeriod
	}
	r.calendar.hand = never
	if c.HandEvery > 0 {
		r.calendar.hand = r.now + c.HandEvery
	}
	r.guardStale = true
	if c.Held {
		r.guardIn.Request = guard.Hold
	}
}

// segmentsPerDay bounds a run, so that a flow that chatters cannot hang the
// check: a hundred times what the busiest fault needs.
const segmentsPerDay = 200_000

// loop is the whole twin: do what is due, let the controls look, and where
// anything that governs the flows has changed, bring the masses along and work
// the flows out again; then go to the next event.
func (r *run) loop(sc Scenario) {
	most := segmentsPerDay * int(1+(r.end-r.now)/day)
	for turns := 0; r.now < r.end; turns++ {
		if turns > most {
			r.out.Unfinished = true
			return
		}
		if r.turn(sc) {
			return
		}
	}
	r.settle()
}

// turn goes on to the next event. It says whether the scenario ends before that.
func (r *run) turn(sc Scenario) (ended bool) {
	r.followCalendar()
	r.readSensors()
	r.control()
	r.settleModes()
	if g := r.look(); g != r.segment.governors || r.now >= r.segment.until || !r.segment.valid {
		wasPumping := r.segment.governors.pump
		r.settle()
		if sc.StopAt != NoHarm && r.out.ReachedAt[sc.StopAt] != never {
			return true
		}
		if g.pump && !wasPumping && sc.Trace == nil && !sc.EveryCycle {
			r.keepTime()
		}
		r.newSegment(g)
	}
	r.goTo(r.nextEvent())
	return false
}

// settle ends the segment: masses, outcome and volumes stand at now.
func (r *run) settle() {
	if dt := (r.now - r.segment.since).Seconds(); r.segment.valid && dt > 0 {
		before := r.standing()
		r.advance(dt)
		r.observe(before)
		if r.trace != nil {
			r.trace(r.sample())
		}
	}
	r.segment.valid = false
	r.segment.since = r.now
}

// animals is the water that the animals are in.
func (r *run) animals() water {
	if r.tw.tank.HasSump() {
		return r.tw.waterOf(&r.display)
	}
	return r.tw.waterOf(&r.chamber)
}

// measure brings the volumes up to date with the masses.
func (r *run) measure() {
	f := r.tw.fluid
	r.chamberM3 = f.volumeM3(r.chamber)
	r.reservoirM3 = f.volumeM3(r.reservoir)
	r.displayM3 = f.volumeM3(r.display)
	r.cupM3 = f.volumeM3(r.cup)
	r.wetM3 = 0
	for i, p := range r.floor {
		r.floorM3[i] = f.volumeM3(p)
		r.wetM3 += r.floorM3[i]
	}
}

func (r *run) sample() Sample {
	animals := r.animals()
	closed, settled, ok := r.tw.chemistry.states(animals, r.day.ago(r.now-r.onset, animals))
	if !ok {
		closed.PHTotal, settled.PHTotal = math.NaN(), math.NaN()
	}
	s := Sample{
		SinceOnset: r.now - r.onset, ChamberM: r.tw.chamber.LevelM(r.chamberM3),
		ReservoirM3: r.reservoirM3, SalinityPSU: animals.psu, ChamberPSU: r.chamber.salinityPSU(),
		AlkalinityDKH: animals.dkh, PHClosed: closed.PHTotal, PHSettled: settled.PHTotal,
		FloorM3: r.wetM3, TopOffM3S: r.segment.flows.topOff,
		WatchWet: r.watch.wet, CeilingWet: r.ceiling.wet,
		ReturnRunning: r.returnRuns, Phase: r.guardState.Phase, Reason: r.guardOut.Reason,
	}
	if r.tw.tank.HasSump() {
		s.DisplayM = r.tw.display.LevelM(r.displayM3)
	}
	return s
}
