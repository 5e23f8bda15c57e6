package account

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/judgement"
	"isohaline/internal/account/reservoir"
	"isohaline/internal/account/suspicion"
)

// startRun: the pump starts.
func (u *update) startRun(at time.Time) {
	if u.run.On {
		if at.Sub(u.run.Since) < togetherWithin {
			return // told twice
		}
		u.lostTrack(at) // the end of the last run was not heard
	}
	u.carry(at)
	u.beginRun(at)
	u.run.On = true
}

func (u *update) beginRun(at time.Time) {
	if u.run.Waits {
		u.shortfall(at)
	}
	r, in, bandL := u.run, &u.Inputs, u.Tank.BandL
	r.Since, r.OverAt, r.SourceL = at, time.Time{}, u.sourceL()
	// With nothing but the pump to go by, its start says that the watch is dry.
	// The short runs of a spent budget do not.
	if !in.Watch.Known && !r.DrySeen && in.Settled(at) && !r.CutShort {
		if u.FillsFail() || u.Base.X[belief.Deficit] > muchLateBands*bandL {
			// It has long been dry: something kept the pump from starting.
			r.DrySeen = true
			u.UpdateAbove(&u.Tank.Model, u.switching(1, -1))
		} else {
			u.atLowerLevel()
		}
	} else if r.CutShort {
		u.belowUpperLevel()
	}
	b := &u.Base
	r.FromL, r.FromSD = b.X[belief.Deficit], b.SD(belief.Deficit)
	r.FromMM, r.FromMMKnown = in.LevelMM, u.HasGauge
	r.Dip = !in.Settled(at)
	if r.Dip {
		early := bandL*b.X[belief.Band] - b.X[belief.Deficit]
		sd := math.Sqrt(b.P[belief.Deficit][belief.Deficit] + square(bandL)*b.P[belief.Band][belief.Band] + u.Tank.SwitchVariance(u.Usual.Dispersion))
		r.Dip = early > dipSigmas*sd
	}
}

// muchLateBands below the watch level, no pump starts on time.
const muchLateBands = 4.0

// dipSigmas is how surely a fill was not due to count as one into the dip.
const dipSigmas = 3.0

// sourceL is what is left to pump, by the design's flow.
func (u *update) sourceL() float64 {
	d, p := &u.Tank.Reservoir, &u.Reservoir
	if d.Endless || d.CapacityL == 0 {
		return math.MaxFloat64
	}
	left := d.CapacityL
	if p.Known {
		left = max(p.LeftL, 0) + reservoir.FillMarkFrac*d.CapacityL
	}
	return left / max(p.Base.Scale*u.Base.X[belief.Flow], belief.LeastFlowFrac)
}

// pumpedL is what a run moves, in litres of the filter.
func (u *update) pumpedL(ran time.Duration) float64 {
	return u.Tank.FlowLDay * u.Base.X[belief.Flow] * ran.Hours() / 24
}

// endRun: the pump stops.
func (u *update) endRun(at time.Time) {
	if !u.run.On {
		return
	}
	u.carry(at)
	u.run.On = false
	u.finishRun(at, at.Sub(u.run.Since))
}

// wholeRun: a run that is told at its end.
func (u *update) wholeRun(at time.Time, ran time.Duration) {
	if u.run.On {
		return // told twice, in two ways
	}
	began := at.Add(-ran)
	if began.Before(u.run.EndedAt) {
		u.Inputs.Unsure = true // it cannot have begun then
	}
	// What fell due since then has carried the state on, by less than a run:
	// little leaves the tank in that time.
	u.carry(later(began, u.At))
	u.beginRun(began)
	u.carryRunning(at, ran)
	if at.After(u.longestRun()) {
		u.endlessRun(at) // too late to stop it
	}
	u.finishRun(at, ran)
}

// finishRun draws the lesson from a run.
func (u *update) finishRun(at time.Time, ran time.Duration) {
	r := u.run
	r.EndedAt = at
	r.BucketS = min(u.bucketS(at)+ran.Seconds()+timingS, u.settings.DailyBudget.Seconds())
	r.BucketAt = at
	u.End(finding.EndlessFill, at)
	litres := ran.Hours() / 24 * u.Tank.FlowLDay * u.Base.X[belief.Flow]
	u.Reservoir.Pump(litres)
	if u.Reservoir.ForgetIfOverdrawn(&u.Tank.Reservoir) {
		u.End(finding.ReservoirEmptyBy, at)
	}
	r.UnboundL += litres
	u.weighBudget(at)
	switch {
	case r.Dip && ran > 0:
		u.FilledIntoDip(r.Since, at, u.pumpedL(ran))
	case u.reached(at, ran):
		u.levelReached(at)
	case u.Inputs.Watch.Known:
		r.Waits, r.RanFor = true, ran
	case u.failed(at, ran):
		u.runFailed(at, ran)
	}
	r.DrySeen = false
}

// levelReached: a run has ended at the watch level.
func (u *update) levelReached(at time.Time) {
	u.run.UnboundL = 0
	if !u.Inputs.Settled(at) {
		return
	}
	u.run.Failed = 0
	u.LevelBack(at)
	u.atUpperLevel(at)
}

// shortfallAt is when a run that ended with the watch sensor dry counts as one
// that did not bring the level: devices tell what happens together in any order.
func (u *update) shortfallAt() time.Time {
	if u.run.Waits {
		return u.run.EndedAt.Add(togetherWithin)
	}
	return far
}

// shortfall: it did not.
func (u *update) shortfall(at time.Time) {
	r := u.run
	r.Waits = false
	u.carry(at)
	if u.failed(r.EndedAt, r.RanFor) {
		u.runFailed(at, r.RanFor)
	} else if u.Inputs.Settled(at) {
		u.belowUpperLevel()
	}
}

// bucketS is the pump time that the controller's budget counts now: a bucket
// that the pump fills and that drains at a budget a day.
func (u *update) bucketS(at time.Time) float64 {
	r := u.run
	return max(r.BucketS-u.settings.DailyBudget.Seconds()*max(at.Sub(r.BucketAt).Hours(), 0)/24, 0)
}

// timingS is how much longer a run may have been than was told: half of the whole
// seconds that devices round to. A budget is spent in runs of a few.
const timingS = 0.5

// budgetShare: with the bucket so full, the controller may have cut a run short.
const budgetShare = 0.96

func (u *update) budgetSpent(at time.Time) bool {
	return u.bucketS(at) > budgetShare*u.settings.DailyBudget.Seconds()
}

const (
	// spentScore is the log-likelihood ratio of a spent budget: the usual tank
	// spends it once in years, one that would use most of it every day soon does.
	// spendsShare is that most. Judgements.
	spentScore  = 6.0
	spendsShare = 0.8
	// sparedShare: with so little of it spent, the next time is another time.
	sparedShare   = 0.6
	secondsPerDay = 86400.0
)

// weighBudget takes the day's budget for a witness when it is spent.
func (u *update) weighBudget(at time.Time) {
	r := u.run
	switch budget := u.settings.DailyBudget.Seconds(); {
	case u.bucketS(at) < sparedShare*budget:
		r.Spent = false
	case !r.Spent && u.budgetSpent(at):
		r.Spent = true
		if u.spends(&u.Base) {
			return
		}
		u.DemandTests(func(t *suspicion.Test) {
			if u.spends(&t.Belief) {
				t.Score += spentScore
			}
		})
	}
}

// spends says whether a belief has the pump run for most of the day's budget.
func (u *update) spends(b *belief.Belief) bool {
	pumped := u.Tank.FlowLDay * max(b.X[belief.Flow], belief.LeastFlowFrac)
	return u.Tank.DemandLDay(b, u.PredictedLDay)*secondsPerDay > spendsShare*u.settings.DailyBudget.Seconds()*pumped
}

// expectedRun is how long a sound pump needs from the run's deficit.
func (u *update) expectedRun() time.Duration {
	demand, _ := u.Demand()
	net := u.Tank.FlowLDay*u.Base.X[belief.Flow] - demand
	need := max(u.run.FromL, 0.5*u.Tank.BandL*u.Base.X[belief.Band]) + 2*u.run.FromSD
	if !(net > 0) || need/net > 1 {
		return u.settings.RunLimit
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

func (u *update) ranLong(ran time.Duration) bool {
	times := longRun
	if !u.Inputs.Watch.Known {
		times = bareLongRun
	}
	expected := u.expectedRun().Seconds()
	return ran >= shortLongRun && ran.Seconds() > times*expected ||
		u.ranToLimit(ran) && ran.Seconds() > plainlyLong*expected
}

// reached says whether the run ended because the watch level was reached.
func (u *update) reached(at time.Time, ran time.Duration) bool {
	if in := &u.Inputs; in.Watch.Known {
		return in.Watch.Wet
	}
	r := u.run
	r.CutShort = u.budgetSpent(at)
	if u.ranLong(ran) || u.ranToLimit(ran) || r.CutShort {
		return false
	}
	if far := muchLateBands*u.Tank.BandL + farSigmas*u.Base.SD(belief.Deficit); u.Base.X[belief.Deficit] > far && r.Far < mostFar {
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
func (u *update) ranToLimit(ran time.Duration) bool {
	return ran.Seconds() >= atLimit*u.settings.RunLimit.Seconds()
}

// failed says that a run was long, and that nothing else is known to have ended it.
func (u *update) failed(at time.Time, ran time.Duration) bool {
	in := &u.Inputs
	reservoirLow := in.Reservoir.Known && !in.Reservoir.Wet && at.Sub(in.Reservoir.At) < togetherWithin
	if !in.Settled(at) || reservoirLow || u.ReservoirEmpty() {
		return false
	}
	// A run that lasted to its limit was not cut short by the budget.
	return (!u.budgetSpent(at) || u.ranToLimit(ran)) && u.ranLong(ran)
}

// runFailed: a run did not bring the level back, and nothing else ended it.
func (u *update) runFailed(at time.Time, ran time.Duration) {
	r, in := u.run, &u.Inputs
	r.Failed++
	if r.Failed == 1 {
		r.FailedAt = r.Since
	}
	sound := u.expectedRun().Seconds()
	f := judgement.FailedRun{Since: r.Since, First: r.FailedAt, Ran: ran, Litres: u.pumpedL(ran), SoundS: sound, LongS: sound * longRun}
	if f.GaugeSaw = r.FromMMKnown && in.LevelAt.After(r.Since) && f.Litres > 0; f.GaugeSaw {
		f.RoseFrac = (in.LevelMM - r.FromMM) * u.Tank.LitresPerMM / f.Litres
	}
	u.RunFailed(at, f)
}

const (
	// endlessOver the run limit, with a little for timing, no controller lets a
	// run go on.
	endlessOver  = 1.1
	endlessGrace = 30 * time.Second
)

// longestRun is until when the present run may last.
func (u *update) longestRun() time.Time {
	return u.run.Since.Add(time.Duration(endlessOver*float64(u.settings.RunLimit)) + endlessGrace)
}

// endlessAt is when the present run becomes one without end. Its end may have gone
// unheard: the device must have spoken since. Without a heartbeat, it is found when
// the run ends.
func (u *update) endlessAt() time.Time {
	if !u.run.On || u.run.OverAt.IsZero() || u.Find(finding.EndlessFill) != nil {
		return far
	}
	return u.run.OverAt.Add(endlessGrace)
}

func (u *update) endlessRun(at time.Time) {
	u.carry(at)
	litres := u.pumpedL(at.Sub(u.run.Since))
	u.Begin(finding.Record{Code: finding.EndlessFill, Since: u.run.Since, Found: at, Confidence: finding.Surely,
		Amount: litres, AmountSD: litres * u.Base.SD(belief.Flow)})
}
