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
	// Spurt says that the last run was cut short by the day's budget, Spent that
	// the account has drawn its lesson from a spent budget.
	Spurt, Spent bool
	// Far counts the runs in a row that ended well, but too soon to have reached
	// the level.
	Far int
	// UnboundL is what was pumped since the watch sensor last said something.
	UnboundL float64
	// Failed counts runs that did not reach the watch level, since FailedAt.
	Failed   int
	FailedAt time.Time
	EndedAt  time.Time
	// Waits says that the run, of RanFor, ended with the watch sensor dry as far
	// as was heard, and that its word may yet come.
	Waits  bool
	RanFor time.Duration
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
	if s.Run.Waits {
		w.fellShort(at)
	}
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
	} else if r.Spurt {
		w.stillDry()
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
	began := at.Add(-ran)
	if began.Before(s.Run.EndedAt) {
		s.Run.Unsure = true // it cannot have begun then
	}
	// What fell due since then has carried the state on, by less than a run:
	// little leaves the tank in that time.
	w.carry(later(began, s.At))
	w.beginRun(began)
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
	r.BucketS = min(w.bucketS(at)+ran.Seconds()+timingS, w.settings.DailyBudget.Seconds())
	r.BucketAt = at
	w.end(EndlessFill, at)
	w.drawReservoir(at, ran)
	r.UnboundL += ran.Hours() / 24 * w.tank.flowLDay * s.Base.X[flow]
	w.weighBudget(at)
	switch {
	case r.Dip && ran > 0:
		w.filledIntoDip(at, ran)
	case w.reached(at, ran):
		w.broughtLevel(at)
	case s.Inputs.Watch.Known:
		r.Waits, r.RanFor = true, ran
	case w.blamesNothing(at, ran) && w.ranLong(ran):
		w.runFailed(at, ran)
	}
	r.MarkedDry = false
}

// broughtLevel: a run has ended at the watch level.
func (w *clerk) broughtLevel(at time.Time) {
	s := w.s
	s.Run.UnboundL = 0
	if !s.Inputs.settled(at) {
		return
	}
	s.Run.Failed = 0
	w.end(PumpSeized, at)
	w.end(TopOffOverdue, at)
	w.endStuckDry(at)
	w.markWet(at)
}

// fallsShortAt is when a run that ended with the watch sensor dry counts as one
// that did not bring the level: devices tell what happens together in any order.
func (w *clerk) fallsShortAt() time.Time {
	if r := &w.s.Run; r.Waits {
		return r.EndedAt.Add(togetherWithin)
	}
	return far
}

// fellShort: it did not.
func (w *clerk) fellShort(at time.Time) {
	s := w.s
	r := &s.Run
	r.Waits = false
	w.carry(at)
	if w.blamesNothing(r.EndedAt, r.RanFor) && w.ranLong(r.RanFor) {
		w.runFailed(at, r.RanFor)
	} else if s.Inputs.settled(at) {
		w.stillDry()
	}
}

// bucketS is the pump time that the controller's budget counts now: a bucket
// that the pump fills and that drains at a budget a day.
func (w *clerk) bucketS(at time.Time) float64 {
	r := &w.s.Run
	return max(r.BucketS-w.settings.DailyBudget.Seconds()*max(at.Sub(r.BucketAt).Hours(), 0)/24, 0)
}

// timingS is how much longer a run may have been than was told: half of the whole
// seconds that devices round to. A budget is spent in runs of a few.
const timingS = 0.5

// budgetShare: with the bucket so full, the controller may have cut a run short.
const budgetShare = 0.96

func (w *clerk) budgetSpent(at time.Time) bool {
	return w.bucketS(at) > budgetShare*w.settings.DailyBudget.Seconds()
}

const (
	// spentSays is the log-likelihood ratio of a spent budget: the usual tank
	// spends it once in years, one that would drink most of it every day soon
	// does. spendsShare is that most. Judgements.
	spentSays   = 6.0
	spendsShare = 0.8
	// sparedShare: with so little of it spent, the next time is another time.
	sparedShare = 0.6
)

// weighBudget takes the day's budget for a witness when it is spent.
func (w *clerk) weighBudget(at time.Time) {
	r := &w.s.Run
	switch budget := w.settings.DailyBudget.Seconds(); {
	case w.bucketS(at) < sparedShare*budget:
		r.Spent = false
	case !r.Spent && w.budgetSpent(at):
		r.Spent = true
		if w.spends(&w.s.Base) {
			return
		}
		for i := range w.s.Suspicions {
			x, of := &w.s.Suspicions[i], suspects[i].of
			if (of == airChanged || of == leakChanged) && w.spends(&x.Filter) {
				x.Evidence += spentSays
			}
		}
	}
}

// spends says whether a belief has the pump run for most of the day's budget.
func (w *clerk) spends(f *Filter) bool {
	pumped := w.tank.flowLDay * max(f.X[flow], leastFlowFrac)
	return w.demandLDay(f)*secondsPerDay > spendsShare*w.settings.DailyBudget.Seconds()*pumped
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
		w.ranToLimit(ran) && ran.Seconds() > plainlyLong*expected
}

// reached says whether the run ended because the watch level was reached.
func (w *clerk) reached(at time.Time, ran time.Duration) bool {
	in := &w.s.Inputs
	if in.Watch.Known {
		return in.Watch.Wet
	}
	w.s.Run.Spurt = w.budgetSpent(at)
	if w.ranLong(ran) || w.ranToLimit(ran) || w.s.Run.Spurt {
		return false
	}
	f, r := &w.s.Base, &w.s.Run
	if far := muchLateBands*w.tank.bandL + farSigmas*f.sd(deficit); f.X[deficit] > far && r.Far < mostFar {
		r.Far++
		return false
	}
	r.Far = 0
	return true
}

const (
	// farSigmas: so surely still below, a run did not reach the level, whatever
	// ended it. mostFar runs in a row say that it did: somebody filled by hand.
	farSigmas = 6.0
	mostFar   = 2
)

// ranToLimit says that the controller's limit, and not the level, ended a run.
func (w *clerk) ranToLimit(ran time.Duration) bool {
	return ran.Seconds() >= atLimit*w.settings.RunLimit.Seconds()
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
	return !w.budgetSpent(at) || w.ranToLimit(ran)
}
