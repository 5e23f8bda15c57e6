package account

import (
	"math"
	"time"
)

// Run is the pump's present or last run.
type Run struct {
	On    bool
	Since time.Time
	// MarkedDry says that the watch level was seen dry since the last mark.
	MarkedDry bool
	// Unsure says that runs may have gone unheard since the last mark.
	Unsure bool
	// Dip says that the run began in the dip after a restart, too early by
	// DipL litres.
	Dip  bool
	DipL float64
	// FromL is the deficit as it began, FromSD how well that is known.
	FromL, FromSD float64
	// FromMM is the gauge's level then; NaN cannot be saved, so FromMMKnown.
	FromMM      float64
	FromMMKnown bool
	// BucketS is the pump time that the controller's daily budget counted at
	// BucketAt.
	BucketS  float64
	BucketAt time.Time
	// Spurt says that the last run was cut short by the day's budget.
	Spurt bool
	// Failed counts runs that did not reach the watch level, since FailedAt.
	Failed   int
	FailedAt time.Time
	EndedAt  time.Time
	// SourceL is what the source can still give, in litres of the design's flow:
	// a pump that runs dry moves nothing.
	SourceL float64
	// OverAt is when the device was first heard after a run had become longer
	// than any run may be.
	OverAt time.Time
}

// startRun: the pump starts.
func (w *clerk) startRun(at time.Time) {
	s := w.s
	if s.Run.On {
		if at.Sub(s.Run.Since) < togetherWithin {
			return // told twice
		}
		w.lostTrack(at) // the end of the last run was not heard
	}
	w.carry(at)
	w.beginRun(at)
	s.Run.On = true
}

func (w *clerk) beginRun(at time.Time) {
	s, t := w.s, &w.tank
	r, f := &s.Run, &s.Base
	r.Since, r.OverAt, r.SourceL = at, time.Time{}, w.sourceL()
	// With nothing but the pump to go by, its start says that the watch is dry.
	// The short runs of a spent budget do not.
	if !s.Inputs.Watch.Known && !r.MarkedDry && s.Inputs.settled(at) && !r.Spurt {
		if w.broken() || f.X[deficit] > muchLateBands*t.bandL {
			// It has long been dry: something kept the pump from starting.
			r.MarkedDry = true
			w.weighAbove(w.mark(1, -1))
		} else {
			w.markDry()
		}
	}
	r.FromL, r.FromSD = f.X[deficit], f.sd(deficit)
	r.FromMM, r.FromMMKnown = s.Inputs.LevelMM, s.Inputs.HasGauge
	r.Dip = !s.Inputs.settled(at)
	if r.Dip {
		early := t.bandL*f.X[band] - f.X[deficit]
		sd := math.Sqrt(f.P[deficit][deficit] + square(t.bandL)*f.P[band][band] + w.markNoise())
		r.Dip = early > dipSigmas*sd
	}
}

// muchLateBands below the watch level, no pump starts on time.
const muchLateBands = 4.0

// sourceL is what is left to pump, by the design's flow.
func (w *clerk) sourceL() float64 {
	s, t := w.s, &w.tank
	if t.endless || t.reservoirL == 0 {
		return math.MaxFloat64
	}
	left := t.reservoirL
	if s.Supply.Known {
		left = max(s.Supply.LeftL, 0) + fillMarkFrac*t.reservoirL
	}
	return left / max(s.Supply.Base.Scale*s.Base.X[flow], leastFlowFrac)
}

// dipSigmas is how surely a fill was not due to count as one into the dip.
const dipSigmas = 3.0

// endRun: the pump stops.
func (w *clerk) endRun(at time.Time) {
	s := w.s
	if !s.Run.On {
		return
	}
	w.carry(at)
	s.Run.On = false
	w.finishRun(at, at.Sub(s.Run.Since))
}

// wholeRun: a run that is told at its end.
func (w *clerk) wholeRun(at time.Time, ran time.Duration) {
	s := w.s
	if s.Run.On {
		return // told twice, in two ways
	}
	if began := at.Add(-ran); began.After(s.At) {
		w.carry(began)
		w.beginRun(began)
	} else {
		s.Run.Since, s.Run.Unsure, s.Run.SourceL = s.At, true, w.sourceL() // its start is past
	}
	w.carryRunning(at, ran)
	if at.After(w.longestRun()) {
		w.runsOn(at) // too late to stop it
	}
	w.finishRun(at, ran)
}

// finishRun draws the lesson from a run.
func (w *clerk) finishRun(at time.Time, ran time.Duration) {
	s := w.s
	r := &s.Run
	r.EndedAt = at
	r.BucketS = w.bucketS(at) + ran.Seconds()
	r.BucketAt = at
	w.end(EndlessFill, at)
	w.drawReservoir(at, ran)
	switch {
	case r.Dip && ran > 0:
		w.filledIntoDip(at, ran)
	case !w.reached(at, ran):
		if w.blamesNothing(at, ran) && w.ranLong(ran) {
			w.runFailed(at, ran)
		} else if s.Inputs.settled(at) && s.Inputs.Watch.Known {
			w.stillDry()
		}
	default:
		if s.Inputs.settled(at) {
			r.Failed = 0
			w.end(PumpSeized, at)
			w.end(TopOffOverdue, at)
			w.endStuckDry(at)
			w.markWet(at)
		}
	}
	r.MarkedDry = false
}

// bucketS is the pump time that the controller's budget counts now: a bucket
// that the pump fills and that drains at a budget a day.
func (w *clerk) bucketS(at time.Time) float64 {
	r := &w.s.Run
	return max(r.BucketS-w.settings.DailyBudget.Seconds()*max(at.Sub(r.BucketAt).Hours(), 0)/24, 0)
}

// budgetShare: with the bucket so full, the controller may have cut a run short.
const budgetShare = 0.96

func (w *clerk) budgetSpent(at time.Time) bool {
	return w.bucketS(at) > budgetShare*w.settings.DailyBudget.Seconds()
}

// expectedRun is how long a sound pump needs from the run's deficit.
func (w *clerk) expectedRun() time.Duration {
	s, t := w.s, &w.tank
	f := &s.Base
	net := t.flowLDay*f.X[flow] - w.demandLDay(f)
	need := max(s.Run.FromL, 0.5*t.bandL*f.X[band]) + 2*s.Run.FromSD
	if !(net > 0) || need/net > 1 {
		return w.settings.RunLimit
	}
	return time.Duration(need / net * 24 * float64(time.Hour))
}

const (
	// longRun is how many times its expected length a run lasts before that
	// says something; bareLongRun the same where no watch sensor is heard.
	longRun     = 1.5
	bareLongRun = 4.0
	// atLimit: so near its limit, a run ended because of it; plainlyLong times
	// what it should have needed then says enough.
	atLimit     = 0.97
	plainlyLong = 1.15
	// shortLongRun: no shorter run is long. Timing is by the second.
	shortLongRun = 20 * time.Second
)

func (w *clerk) ranLong(ran time.Duration) bool {
	times := longRun
	if !w.s.Inputs.Watch.Known {
		times = bareLongRun
	}
	expected := w.expectedRun().Seconds()
	return ran >= shortLongRun && ran.Seconds() > times*expected ||
		ran.Seconds() >= atLimit*w.settings.RunLimit.Seconds() && ran.Seconds() > plainlyLong*expected
}

// reached says whether the run ended because the watch level was reached.
func (w *clerk) reached(at time.Time, ran time.Duration) bool {
	in := &w.s.Inputs
	if in.Watch.Known {
		return in.Watch.Wet
	}
	w.s.Run.Spurt = w.budgetSpent(at)
	return !w.ranLong(ran) && !w.s.Run.Spurt
}

// togetherWithin is how near in time two events must be for one to explain the
// other.
const togetherWithin = 15 * time.Second

// blamesNothing says that nothing else is known to have ended the run.
func (w *clerk) blamesNothing(at time.Time, ran time.Duration) bool {
	in := &w.s.Inputs
	recent := func(c Contact, wet bool) bool { return c.Known && c.Wet == wet && at.Sub(c.At) < togetherWithin }
	switch {
	case in.Return.Known && !in.Return.Wet, !in.settled(at):
		return false
	case recent(in.Reservoir, false), w.reservoirEmpty():
		return false
	}
	// A run that lasted to its limit was not cut short by the budget.
	return !w.budgetSpent(at) || ran.Seconds() >= atLimit*w.settings.RunLimit.Seconds()
}
