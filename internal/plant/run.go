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
	// Length is how long the run goes on after the onset.
	Length time.Duration
	// Trace, if set, is called after every segment.
	Trace func(Sample)
}

// Sample is the state at the end of a segment, for drawing.
type Sample struct {
	SinceOnset                          time.Duration
	ChamberM, DisplayM, ReservoirM3     float64
	SalinityPSU, ChamberPSU, FloorM3    float64
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
	nextVisit       time.Duration
	nextChange      time.Duration
	nextReboot      time.Duration
	onsetDone       bool

	display, chamber, reservoir       parcel
	displayM3, chamberM3, reservoirM3 float64
	cup                               parcel
	cupM3                             float64
	floor                             [originCount]parcel
	floorM3                           [originCount]float64

	watch, ceiling contact
	returnRuns     bool
	powered        bool
	starved        bool
	returnSiphons  bool
	drainPrimed    bool
	mode           displayMode

	guardState  guard.State
	guardIn     guard.Inputs
	guardOut    guard.Outputs
	guardDue    time.Duration
	guardStale  bool
	frozen      bool
	pumpPowered bool
	valveOpen   bool
	linePrimed  bool
	floatOpen   bool
	refillOpen  bool

	flow flows
	out  Outcome
	hour hourWindow
}

// Onset runs the system healthy from its first fill to the onset of whatever
// comes next. It is worked out once and shared by every scenario.
type Onset struct{ r run }

// SpinUp brings the twin to the onset.
func (tw *Twin) SpinUp() *Onset {
	r := run{tw: tw, cond: Healthy(), onset: SpinUp, end: SpinUp}
	if tw.setup.Guard != nil {
		r.settings = *tw.setup.Guard
	}
	s := tw.site
	r.powered, r.returnRuns, r.drainPrimed = true, s.HasSump(), true
	r.nextVisit, r.nextChange, r.nextReboot = never, never, never
	r.chamberM3 = tw.chamber.VolumeM3(tw.nominalLevelM())
	r.chamber = tw.fluid.parcelOf(r.chamberM3, tw.targetPSU)
	if s.HasSump() {
		r.drains = tw.drainsUnder(&r.cond)
		r.displayM3 = r.drains.runningM3
		if math.IsInf(r.displayM3, 1) {
			r.displayM3 = tw.displayRimM3
		}
		r.display = tw.fluid.parcelOf(r.displayM3, tw.targetPSU)
	}
	r.reservoirM3 = tw.reservoirFullM3
	r.reservoir = tw.fluid.parcelOf(r.reservoirM3, 0)
	r.floatOpen = false
	r.watch.begin(true)
	r.ceiling.begin(false)
	r.fitSensors()
	r.hour.reset(tw.targetPSU)
	r.out.begin(tw.targetPSU)
	r.bootGuard(guard.State{})
	r.openBooks()
	r.loop(nil)
	return &Onset{r: r}
}

// Run carries a scenario from the onset to its end.
func (o *Onset) Run(sc Scenario) Outcome {
	r := o.r
	r.end = r.onset + sc.Length
	r.begin(sc.Conditions)
	r.loop(sc.Trace)
	return r.finish()
}

// begin is the onset: a visit has just ended and the conditions change.
func (r *run) begin(c Conditions) {
	tw := r.tw
	r.cond = c
	r.onsetDone = true
	r.out.begin(r.animalsPSU())
	r.hour.reset(r.animalsPSU())
	r.floor, r.floorM3 = [originCount]parcel{}, [originCount]float64{}
	r.emptyCup()
	r.fillReservoir()
	r.openBooks()
	if c.ReservoirSalted {
		r.out.Books.leave(r.reservoir)
		r.reservoir = tw.fluid.parcelOf(r.reservoirM3, tw.site.Water.SalinityPSU)
		r.out.Books.enter(r.reservoir)
	}
	if d := tw.site.People.DaysBetweenVisits; d > 0 {
		r.nextVisit = r.onset + days(d)
	}
	if w := tw.site.WaterChange; w != nil {
		r.nextChange = r.onset + days(w.EveryDays)
	}
	if c.RunLimitDisabled {
		r.settings.HardCap = guard.Never
		r.settings.FirstFillLimit = guard.Never
		r.settings.RunLimitFloor = guard.Never
	}
	if c.BudgetDisabled {
		r.settings.DailyBudget = guard.Never
	}
	if tw.site.HasSump() {
		r.drains = tw.drainsUnder(&r.cond)
		r.mode = moving
	}
	if c.BucketM3 > 0 {
		bucket := tw.fluid.parcelOf(c.BucketM3, 0)
		r.out.Books.enter(bucket)
		if tw.site.HasSump() {
			r.display.add(bucket)
		} else {
			r.chamber.add(bucket)
		}
		r.measure()
	}
	r.fitSensors()
	if c.Controller == Rebooting {
		r.nextReboot = r.onset + RebootPeriod
	}
	if c.Controller == HungOff {
		r.frozen = true
	}
	r.guardStale = true
	r.guardIn.Request = guard.NoRequest
	if c.Held {
		r.guardIn.Request = guard.Hold
	}
}

func days(d float64) time.Duration { return time.Duration(d * float64(day)) }

// loop is the whole twin: settle what changed, work out the flows, go to the
// next event.
func (r *run) loop(trace func(Sample)) {
	for r.now < r.end {
		r.schedule()
		r.readSensors()
		r.control()
		r.settleModes()
		dt := r.segment()
		r.advance(dt)
		r.observe(dt)
		if trace != nil {
			trace(r.sample())
		}
	}
}

// schedule does what is due at this instant by the calendar.
func (r *run) schedule() {
	since := r.now - r.onset
	if !r.onsetDone {
		since = -1
	}
	powered := !r.cond.PowerOff.activeAt(since)
	if powered && !r.powered {
		r.powered = true
		if r.tw.setup.Guard != nil {
			r.frozen = false
			r.cond.Controller = Running
			r.bootGuard(r.guardState)
		}
	}
	r.powered = powered
	if r.now >= r.nextReboot {
		r.bootGuard(r.guardState)
		r.nextReboot += RebootPeriod
	}
	returnRuns := r.tw.site.HasSump() && powered && !r.cond.ReturnOff.activeAt(since) && !r.floorStopsReturn()
	if returnRuns != r.returnRuns {
		r.returnRuns = returnRuns
		r.guardStale = true
		r.returnSiphons = !returnRuns
		r.mode = moving
	}
	if r.now >= r.nextVisit {
		r.fillReservoir()
		r.out.Books.leave(r.emptyCup())
		r.nextVisit += days(r.tw.site.People.DaysBetweenVisits)
	}
	if r.now >= r.nextChange {
		r.changeWater()
		r.nextChange += days(r.tw.site.WaterChange.EveryDays)
	}
}

func (r *run) floorStopsReturn() bool {
	c := r.tw.site.Controller
	return c != nil && c.StopsReturnOnFloor && r.guardIn.Floor == guard.Wet && !r.frozen
}

// nextScheduled is the next instant at which schedule has something to do.
func (r *run) nextScheduled() time.Duration {
	t := min(r.end, r.nextVisit, r.nextChange, r.nextReboot)
	if r.onsetDone && (r.cond.PowerOff.On != 0 || r.cond.ReturnOff.On != 0) {
		since := r.now - r.onset
		if n := r.cond.PowerOff.nextChange(since); n != never {
			t = min(t, r.onset+n)
		}
		if n := r.cond.ReturnOff.nextChange(since); n != never {
			t = min(t, r.onset+n)
		}
	}
	return t
}

// fillReservoir is what a person does at a visit.
func (r *run) fillReservoir() {
	if !hasReservoir(r.tw.site) || hasRefill(r.tw.site) || r.cond.ReservoirForgotten {
		return
	}
	if missing := r.tw.reservoirFullM3 - r.reservoirM3; missing > 0 {
		fresh := r.tw.fluid.parcelOf(missing, 0)
		r.reservoir.add(fresh)
		r.out.Books.enter(fresh)
		r.measure()
	}
}

// changeWater swaps old water for new, the same share of every volume.
func (r *run) changeWater() {
	w := r.tw.site.WaterChange
	psu := w.SalinityPSU
	if r.cond.WaterChangePSU > 0 {
		psu = r.cond.WaterChangePSU
	}
	total := r.chamberM3 + r.displayM3
	for _, v := range []struct {
		p  *parcel
		m3 float64
	}{{&r.display, r.displayM3}, {&r.chamber, r.chamberM3}} {
		swap := min(w.VolumeM3*v.m3/total, v.m3)
		fresh := r.tw.fluid.parcelOf(swap, psu)
		r.out.Books.leave(v.p.drawM3(swap, v.m3))
		v.p.add(fresh)
		r.out.Books.enter(fresh)
	}
	r.measure()
}

// measure brings the volumes up to date with the masses.
func (r *run) measure() {
	f := r.tw.fluid
	r.chamberM3 = f.volumeM3(r.chamber)
	r.reservoirM3 = f.volumeM3(r.reservoir)
	if r.tw.site.HasSump() {
		r.displayM3 = f.volumeM3(r.display)
	}
}

// animalsPSU is the salinity where the animals are.
func (r *run) animalsPSU() float64 {
	if r.tw.site.HasSump() {
		return r.display.salinityPSU()
	}
	return r.chamber.salinityPSU()
}

func (r *run) sample() Sample {
	s := Sample{
		SinceOnset: r.now - r.onset, ChamberM: r.tw.chamber.LevelM(r.chamberM3),
		ReservoirM3: r.reservoirM3, SalinityPSU: r.animalsPSU(), ChamberPSU: r.chamber.salinityPSU(),
		TopOffM3S: r.flow.topOff, WatchWet: r.watch.wet, CeilingWet: r.ceiling.wet,
		ReturnRunning: r.returnRuns, Phase: r.guardState.Phase, Reason: r.guardOut.Reason,
	}
	if r.tw.site.HasSump() {
		s.DisplayM = r.tw.display.LevelM(r.displayM3)
	}
	for _, v := range r.floorM3 {
		s.FloorM3 += v
	}
	return s
}
