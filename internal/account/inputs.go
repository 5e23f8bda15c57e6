package account

import (
	"math"
	"time"
)

// Contact is what a two-state input said last.
type Contact struct {
	Known, Wet bool
	At         time.Time
}

func (c *Contact) turn(at time.Time, wet bool) {
	if !c.Known || c.Wet != wet {
		*c = Contact{Known: true, Wet: wet, At: at}
	}
}

// Inputs is what the devices said last. What was never heard of is not there:
// no list of what a tank has needs to be kept.
type Inputs struct {
	LastSeen                         time.Time
	Silent                           bool
	Watch, Ceiling, Floor, Reservoir Contact
	// Return is Wet while the return pump runs.
	Return Contact
	// SettledAt is when the level may be believed again after a restart.
	SettledAt time.Time
	// LostAt is when runs last may have gone unheard.
	LostAt   time.Time
	HasGauge bool
	// GaugeZeroMM is the gauge's level that counts as the watch level.
	GaugeZeroMM float64
	LevelMM     float64
	LevelAt     time.Time
}

// settled says whether the level means anything: not while the display has run
// down into the chamber, nor in the dip after a restart.
func (in *Inputs) settled(at time.Time) bool {
	return !(in.Return.Known && !in.Return.Wet) && !at.Before(in.SettledAt)
}

// lostAfter is how long a device may be silent before runs may have gone
// unheard, in heartbeats.
const lostAfter = 1.25

// hear notes that the device is alive.
func (w *clerk) hear(at time.Time) {
	s := w.s
	if hb := w.settings.Heartbeat; hb > 0 && at.Sub(s.Inputs.LastSeen).Seconds() > lostAfter*hb.Seconds() {
		w.lostTrack(at)
	}
	s.Inputs.LastSeen = at
	if s.Run.On && s.Run.OverAt.IsZero() && at.After(w.longestRun()) {
		s.Run.OverAt = at
	}
	if s.Inputs.Silent {
		s.Inputs.Silent = false
		w.end(DeviceSilent, at)
	}
}

// lostTrack says that nobody knows what the pump did since the device was last
// heard: the level may be anywhere, and tells nothing about what left.
func (w *clerk) lostTrack(at time.Time) {
	s := w.s
	w.carry(at)
	s.Run.On = false
	s.Run.Unsure = true
	s.Inputs.LostAt = at
	// The return pump may have stopped and started.
	s.Inputs.SettledAt = later(s.Inputs.SettledAt, at.Add(w.settings.RestartSettle))
	// The reservoir went on giving, as far as anybody can tell.
	lost := w.demandLDay(&s.Base) * at.Sub(s.Inputs.LastSeen).Hours() / 24
	s.Supply.draw(lost)
	s.Supply.Unsure = true
	w.blur(lost)
}

// blur lets the level be anywhere that it may be with so many litres unaccounted
// for. Where it was about the watch level, it is there again.
func (w *clerk) blur(litres float64) {
	t := &w.tank
	w.eachFilter(func(f *Filter) {
		spread := openLevelBands * t.bandL
		if f.X[deficit]-litres < 1.5*t.bandL {
			f.X[deficit] = t.bandL / 2
		} else {
			f.X[deficit] -= litres / 2
			spread += litres
		}
		f.settle(deficit)
		f.P[deficit][deficit] = square(spread)
	})
}

// eachFilter does the same to every belief.
func (w *clerk) eachFilter(do func(*Filter)) {
	do(&w.s.Base)
	for i := range w.s.Suspicions {
		do(&w.s.Suspicions[i].Filter)
	}
	if r := w.s.Rivals; r != nil {
		do(&r.Air.Filter)
		do(&r.Leak.Filter)
	}
}

// watchTurns: the watch sensor reads dry or wet.
func (w *clerk) watchTurns(at time.Time, wet bool) {
	s := w.s
	w.carry(at)
	changed := !s.Inputs.Watch.Known || s.Inputs.Watch.Wet != wet
	s.Inputs.Watch.turn(at, wet)
	if wet && changed && !s.Run.On && s.Inputs.settled(at) && s.Rhythm.Marks > 0 {
		w.lostTrack(at) // filled, and nobody heard the pump
	}
	if wet || !changed || s.Run.On || !s.Inputs.settled(at) {
		return
	}
	w.end(WatchStuck, at)
	w.markDry()
}

// mark is the level at one of the watch sensor's switching levels: the deficit
// is a times itself plus b times the band.
func (w *clerk) mark(a, b float64) *reading {
	t := &w.tank
	return &reading{i: deficit, j: band, a: a, b: b * t.bandL, noise: w.markNoise(),
		stray: strayBands * t.bandL, chances: chancesOf(w.s.Rhythm.Stray), moves: true}
}

// markDry: the level is at the lower switching level.
func (w *clerk) markDry() {
	s := w.s
	s.Run.MarkedDry = true
	if w.tank.bandL == 0 || s.Run.Unsure {
		return
	}
	seen := w.weigh(w.mark(1, -1), levelMark)
	s.Rhythm.EarlyZ = seen.z
	w.noteMark(seen)
	w.judge(levelMark)
}

// markWet: the level is back at the upper one.
func (w *clerk) markWet(at time.Time) {
	s := w.s
	s.Rhythm.MarkAt = at
	if w.tank.bandL == 0 {
		return
	}
	seen := w.weigh(w.mark(1, 0), levelMark)
	if !s.Run.Unsure {
		w.noteMark(seen)
	}
	s.Run.Unsure = false
	s.Rhythm.Marks++
	w.judge(levelMark)
	w.checkRhythm(at)
}

// stillDry: the watch sensor has not turned wet yet.
func (w *clerk) stillDry() {
	if w.tank.bandL > 0 && !w.s.Run.Unsure {
		w.weighAbove(w.mark(1, 0))
		w.judge(levelMark)
	}
}

// stillWet: it has not turned dry yet. That counts as evidence, but nothing is
// believed on it before the sensor turns: it may be stuck.
func (w *clerk) stillWet() {
	if w.tank.bandL > 0 && !w.s.Run.Unsure {
		w.weighAbove(w.mark(-1, 1))
	}
}

const (
	// markBands is how well a switch repeats, in shares of its band; markTimeS
	// how well the pump's start and end are timed. Judgements.
	markBands = 0.06
	markTimeS = 1.0
	// strayBands is how far the level moves for reasons of its own: a hand in the
	// sump, foam, a switch that catches in the dip after a restart.
	strayBands = 0.7
)

func (w *clerk) markNoise() float64 {
	t := &w.tank
	return w.s.Rhythm.Unrest*square(markBands*t.bandL) + square(markTimeS*t.flowLDay/secondsPerDay)
}

// returnTurns: the return pump starts or stops.
func (w *clerk) returnTurns(at time.Time, running bool) {
	in := &w.s.Inputs
	w.carry(at)
	restarts := in.Return.Known && !in.Return.Wet && running
	in.Return.turn(at, running)
	if restarts {
		in.SettledAt = later(in.SettledAt, at.Add(w.settings.RestartSettle))
	}
}

// powerBack: the device starts again after a power cut.
func (w *clerk) powerBack(at time.Time) {
	w.carry(at)
	w.s.Run.On = false
	w.s.Inputs.SettledAt = later(w.s.Inputs.SettledAt, at.Add(w.settings.RestartSettle))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// Rhythm is how regularly the tank fills.
type Rhythm struct {
	// MarkAt is when the level was last known to be at the watch level, Marks
	// how often it was.
	MarkAt time.Time
	Marks  int
	// EarlyZ is how early the watch sensor last turned dry.
	EarlyZ float64
	// Unrest is the variance of the marks over what is usual; Erratic the
	// evidence that it has grown, since ErraticSince.
	Unrest       float64
	Erratic      float64
	ErraticSince time.Time
	// Stray is the share of marks that go astray.
	Stray float64
	// Normal is the air's multiplier in the long run: what a change of demand is
	// measured by. SilentAt is when a change too small to tell last began.
	Normal   float64
	SilentAt time.Time
	// UsualFlow is the pump's flow once learned, that weakening is measured by;
	// UsualGaugeMM the gauge's zero.
	UsualFlow, UsualGaugeMM float64
}

const (
	// unrestGain is how fast Unrest learns from a mark; it stays within
	// leastUnrest and mostUnrest.
	unrestGain  = 0.01
	leastUnrest = 0.25
	mostUnrest  = 9.0
	// strayGain is how fast Stray learns; it is never more than mostStray.
	strayGain = 0.01
	mostStray = 0.15
	// cappedZ2: no single mark counts for more.
	cappedZ2 = 6.0
	// erraticRatio is the growth in variance that is looked for.
	erraticRatio = 5.0
)

// suspected is the evidence from which a change is likely enough that it, and
// not a fouled sensor, explains why the marks lie off.
const suspected = 8.0

func (w *clerk) noteMark(seen taken) {
	for i := range suspects {
		if x := &w.s.Suspicions[i]; x.weight(suspects[i].of) > suspected {
			return
		}
	}
	w.s.Rhythm.note(seen)
}

// note learns from how far a mark lay off.
func (r *Rhythm) note(seen taken) {
	one := 0.0
	if seen.stray {
		one = 1
	}
	r.Stray = min(max(r.Stray+(one-r.Stray)*strayGain, strayFrac), mostStray)
	z2 := min(seen.z*seen.z, cappedZ2)
	r.Unrest = min(max(r.Unrest*(1+unrestGain*(z2-1)), leastUnrest), mostUnrest)
	// The log-likelihood ratio of a variance grown by erraticRatio.
	r.Erratic = max(0, r.Erratic+0.5*z2*(1-1/erraticRatio)-0.5*math.Log(erraticRatio))
}

// floorTurns: the floor sensor. While the pump runs, or just after, the water is
// the pump's.
func (w *clerk) floorTurns(at time.Time, wet bool) {
	s := w.s
	s.Inputs.Floor.turn(at, wet)
	r := &s.Run
	if !wet {
		if f := s.find(FreshLeak); f != nil && f.Subject == byFloor {
			w.end(FreshLeak, at)
		}
		return
	}
	if ran := at.Sub(r.Since); r.On || at.Sub(r.EndedAt) < togetherWithin {
		litres := w.tank.flowLDay * s.Base.X[flow] * min(ran.Hours(), 1) / 24
		w.begin(Record{Code: FreshLeak, Since: r.Since, Found: at, Confidence: 0.9, Subject: byFloor,
			Amount: litres, AmountSD: litres * s.Base.sd(flow)})
	}
}
