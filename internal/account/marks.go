package account

import (
	"math"
	"time"
)

// Rhythm is how regularly the tank fills.
type Rhythm struct {
	// MarkAt is when the level was last known to be at the watch level, Marks
	// how often it was, MarkDemandLDay what the tank took then.
	MarkAt         time.Time
	Marks          int
	MarkDemandLDay float64
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
	// UsualGaugeMM the gauge's zero, GaugeSteadyAt when it was last about that.
	UsualFlow, UsualGaugeMM float64
	GaugeSteadyAt           time.Time
	// UsualPSU is the mean of the salinity at the first SaltReads readings.
	UsualPSU  float64
	SaltReads int
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

func (w *clerk) suspects() bool {
	for i := range suspects {
		if w.s.Suspicions[i].weight(suspects[i].of) > suspected {
			return true
		}
	}
	return false
}

func (w *clerk) noteMark(seen taken) {
	if !w.suspects() {
		w.s.Rhythm.note(seen)
	}
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
	if w.tank.bandL == 0 || s.Run.Unsure && s.At.Sub(s.Inputs.LostAt) < togetherWithin {
		return // it may have been dry for long: a device that comes back says how all stands
	}
	mark := w.mark(1, -1)
	if s.Inputs.HasGauge && s.Base.off(mark) > earlySigmas {
		// The gauge knows where the water is: it is the sensor that moved, and
		// the water stands somewhere below it.
		s.Rhythm.EarlyZ = s.Base.off(mark)
		w.weighAbove(mark)
		return
	}
	seen := w.weigh(mark, levelMark)
	s.Rhythm.EarlyZ = seen.z
	if !s.Run.Unsure {
		w.noteMark(seen)
	}
	s.Run.Unsure = false // it is at the lower level, whatever was not heard
	w.judge(levelMark)
}

// markWet: the level is back at the upper one.
func (w *clerk) markWet(at time.Time) {
	s := w.s
	s.Rhythm.MarkAt = at
	if w.tank.bandL == 0 {
		return
	}
	if mark := w.mark(1, 0); s.Run.Unsure {
		// It is there now, and nobody knows from where: nothing is learned of pump
		// or air.
		w.eachFilter(func(f *Filter) {
			f.X[deficit] = 0
			f.settle(deficit)
			f.P[deficit][deficit] = mark.noise
		})
		s.Run.Unsure = false
	} else {
		w.noteMark(w.weigh(mark, levelMark))
	}
	s.Rhythm.Marks++
	w.judge(levelMark)
	s.Rhythm.MarkDemandLDay = w.demandLDay(&s.Base)
	w.checkRhythm(at)
}

// boundBands: a bound that the level has hardly moved towards says nothing new.
const boundBands = 0.25

// stillDry: the watch sensor has not turned wet yet.
func (w *clerk) stillDry() {
	if w.tank.bandL == 0 || w.s.Run.UnboundL < boundBands*w.tank.bandL {
		return
	}
	w.s.Run.UnboundL = 0
	w.weighAbove(w.mark(1, 0))
	w.judge(levelMark)
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
