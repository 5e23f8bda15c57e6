package judgement

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/suspicion"
)

// Decide believes a hypothesis when its score passes its threshold, after a reading
// that can speak for it, and answers the open question when one side has won.
func (j *Judge) Decide(from suspicion.Source) {
	if j.Question != nil && j.answer() || j.FillsFail() {
		return
	}
	if tests, best, confidence, alarmed := j.Alarm(from); alarmed {
		j.accept(&tests, best, confidence)
	}
}

// learnedFor and demandFills are how long a tank is learned before its demand can
// change.
const (
	learnedFor  = 4 * 24 * time.Hour
	demandFills = 8
)

// A fouled watch sensor's band stays within these shares of what it was.
const (
	leastBandRatio = 0.35
	mostBandRatio  = 4.0
)

// accept believes a hypothesis and says what follows from it.
func (j *Judge) accept(tests *suspicion.Strongest, best suspicion.Hypothesis, confidence float64) {
	t, was := *tests[best], j.Levels()
	x, perMM := &t.Belief.X, j.Tank.LitresPerMM
	switch best {
	case suspicion.Air, suspicion.Leak, suspicion.Split:
		if j.Usual.Fills < demandFills || j.At.Sub(j.Began) < learnedFor {
			j.believe(&t)
			return
		}
		j.demandChanged(tests, best)
	case suspicion.PumpFlow:
		if x[belief.Flow] < belief.LeastFlowFrac {
			j.RestartAll(&j.Tank.Model) // no pump runs backwards: something else is the matter
			return
		}
		j.believe(&t)
		j.Usual.ErraticScore = 0
		j.checkFlow(t.Since, confidence, was)
	case suspicion.LowerLevel, suspicion.UpperLevel:
		ratio := x[belief.Band] / j.Base.X[belief.Band]
		if ratio < leastBandRatio || ratio > mostBandRatio || j.cutoffPossible() {
			j.RestartAll(&j.Tank.Model) // nor does fouling go so far
			return
		}
		j.believe(&t)
		j.Usual.ErraticScore = 0
		j.bandChanged(t.Since, confidence, was)
	case suspicion.SaltStep:
		if j.instrumentDrifts() || len(j.Instruments) > 1 && !j.confirmed(x[belief.Salt]-j.Base.X[belief.Salt], t.Since) {
			return // the other instruments will tell
		}
		j.believe(&t)
		j.saltStepped(t.Since, confidence, was)
	case suspicion.GaugeZero:
		j.believe(&t)
		j.gaugeStepped(t.Since, confidence, x[belief.Gauge]/perMM)
	case suspicion.WatchLevel:
		by := x[belief.Gauge] - j.Base.X[belief.Gauge]
		j.believe(&t)
		j.watchMoved(t.Since, confidence, by/perMM)
	case suspicion.HandWater:
		j.believe(&t) // nothing to say
	}
}

// worthBandFrac is the least change of the watch sensor's band that counts,
// worthSaltPSU the least step in salinity.
const (
	worthBandFrac = 0.2
	worthSaltPSU  = 0.6
)

// bandChanged: the watch sensor switches over more or less water.
func (j *Judge) bandChanged(since time.Time, confidence float64, was belief.Levels) {
	b := &j.Base
	j.Usual.GaugeMM = b.X[belief.Gauge] / j.Tank.LitresPerMM // counted from the upper level
	ratio := b.X[belief.Band] / was.Band
	r := j.Find(finding.WatchFouled)
	switch {
	case r != nil && r.Was.Band > 0 && math.Abs(b.X[belief.Band]/r.Was.Band-1) < backFrac:
		j.End(finding.WatchFouled, j.At)
	case r == nil && math.Abs(ratio-1) > worthBandFrac:
		j.Begin(finding.Record{Code: finding.WatchFouled, Since: since, Found: j.At, Confidence: confidence, Was: was,
			Subject: finding.ByBand, Amount: ratio, AmountSD: b.SD(belief.Band) / was.Band})
	}
}

const (
	// stepConfidence: a jump in salinity that no litres explain may be real.
	stepConfidence = 0.7
	// mixWithin of the last reading before it, a water change explains a jump.
	mixWithin     = 8 * 24 * time.Hour
	mixConfidence = 0.9
)

// saltStepped: salinity jumped.
func (j *Judge) saltStepped(since time.Time, confidence float64, was belief.Levels) {
	b := &j.Base
	stepPSU := b.X[belief.Salt] - was.SaltPSU
	if math.Abs(stepPSU) < worthSaltPSU || j.Find(finding.InstrumentOff) != nil {
		return
	}
	r := finding.Record{Code: finding.SalinityCreeping, Since: since, Found: j.At, Confidence: confidence, Was: was,
		Amount: b.X[belief.Leak], AmountSD: b.SD(belief.Leak), Number: stepPSU}
	switch {
	case j.ChangedAt.After(since) && j.ChangedAt.Sub(since) < mixWithin:
		r.Since, r.Confidence, r.Subject = j.ChangedAt, min(confidence, mixConfidence), finding.ByMix
	case len(j.Instruments) > 1:
		r.Subject = finding.ByDrift // instruments that move together tell of the water
	default:
		r = finding.Record{Code: finding.InstrumentOff, Since: since, Found: j.At, Confidence: min(confidence, stepConfidence), Was: was,
			Subject: finding.BySalinity, Amount: stepPSU, AmountSD: b.SD(belief.Salt)}
	}
	j.Begin(r)
}

// gaugeStepped: the gauge's zero has jumped to an error of so many mm.
func (j *Judge) gaugeStepped(since time.Time, confidence, mm float64) {
	r := j.Find(finding.InstrumentOff)
	if r != nil && r.Subject == finding.ByGauge {
		if math.Abs(mm-r.Number) < worthGaugeMM {
			j.End(finding.InstrumentOff, j.At)
		}
		return
	}
	moved := mm - j.Usual.GaugeMM
	if math.Abs(moved) > worthGaugeMM && r == nil {
		j.Begin(finding.Record{Code: finding.InstrumentOff, Since: since, Found: j.At, Confidence: confidence,
			Subject: finding.ByGauge, Amount: -moved, AmountSD: j.Base.SD(belief.Gauge) / j.Tank.LitresPerMM, Number: j.Usual.GaugeMM})
	}
	j.Usual.GaugeMM = mm
}

// watchMoved: the watch sensor switches so many mm elsewhere, seen by the gauge.
func (j *Judge) watchMoved(since time.Time, confidence, mm float64) {
	if math.Abs(mm) < worthGaugeMM {
		return // small ones add up: see checkGauge
	}
	perMM := j.Tank.LitresPerMM
	j.Usual.GaugeMM = j.Base.X[belief.Gauge] / perMM
	if j.Find(finding.WatchFouled) == nil {
		j.Begin(finding.Record{Code: finding.WatchFouled, Since: since, Found: j.At, Confidence: confidence,
			Subject: finding.ByShift, Amount: -mm, AmountSD: j.Base.SD(belief.Gauge) / perMM})
	}
}
