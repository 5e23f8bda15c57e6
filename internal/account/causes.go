package account

import (
	"math"
	"time"
)

// What is said when a change is believed.

const (
	// backFrac: within this share of what it was, a quantity is back.
	backFrac = 0.12
	// weakFrac is what is left of a pump's flow when it is weak, worthBandFrac
	// the least change of the watch sensor's band worth a word.
	weakFrac      = 0.87
	worthBandFrac = 0.2
	worthSaltPSU  = 0.6
	worthGaugeMM  = 4.0
)

// backToNormal ends an open finding about the demand, if the change is its end,
// and says whether it was.
func (w *clerk) backToNormal(x *Suspicion, best change, now Levels) bool {
	s, t := w.s, &w.tank
	if r := s.find(EvaporationChanged); r != nil && best == airChanged && math.Abs(now.Air-r.Was.Air) < backFrac*r.Was.Air {
		w.believe(x)
		w.end(EvaporationChanged, s.At)
		return true
	}
	for _, code := range []Code{TankLeak, SalinityCreeping} {
		if r := s.find(code); r != nil && best != airChanged && math.Abs(x.Filter.X[leak]) < 0.3*math.Abs(r.Amount)+worthLeakFrac*t.systemL {
			w.believe(x)
			w.end(code, s.At)
			return true
		}
	}
	return false
}

func (w *clerk) airHasChanged(since time.Time, confidence float64, was Levels) {
	s := w.s
	now := w.levels(&s.Base)
	if r := s.find(EvaporationChanged); r != nil {
		r.Amount, r.AmountSD = now.DemandLDay-r.Was.DemandLDay, now.DemandSD
		return
	}
	if math.Abs(now.DemandLDay-was.DemandLDay) < worthFrac/2*was.DemandLDay {
		return // it has come back while the question was open
	}
	w.begin(Record{Code: EvaporationChanged, Since: since, Found: s.At, Confidence: confidence, Was: was,
		Amount: now.DemandLDay - was.DemandLDay, AmountSD: now.DemandSD})
}

// judgeFlow says whether the pump is weak, measured by what was usual for it.
func (w *clerk) judgeFlow(since time.Time, confidence float64, was Levels) {
	s := w.s
	usual := s.Rhythm.UsualFlow
	if usual == 0 {
		return
	}
	left := s.Base.X[flow] / usual
	switch r := s.find(PumpWeak); {
	case r == nil && left+s.Base.sd(flow)/usual < weakFrac:
		was.Flow = usual
		w.begin(Record{Code: PumpWeak, Since: since, Found: s.At, Confidence: confidence, Was: was,
			Amount: left, AmountSD: s.Base.sd(flow) / usual})
	case r != nil && left > 1-backFrac/2:
		w.end(PumpWeak, s.At)
	case r == nil && left > 1+backFrac:
		s.Rhythm.UsualFlow = s.Base.X[flow] // a new pump
	}
}

func (w *clerk) bandHasChanged(since time.Time, confidence float64, was Levels) {
	s := w.s
	s.Rhythm.UsualGaugeMM = s.Base.X[gauge] / w.tank.litresPerMM() // counted from the upper level
	ratio := s.Base.X[band] / was.Band
	r := s.find(WatchFouled)
	switch {
	case r != nil && r.Was.Band > 0 && math.Abs(s.Base.X[band]/r.Was.Band-1) < backFrac:
		w.end(WatchFouled, s.At)
	case r == nil && math.Abs(ratio-1) > worthBandFrac:
		w.begin(Record{Code: WatchFouled, Since: since, Found: s.At, Confidence: confidence, Was: was,
			Subject: byBand, Amount: ratio, AmountSD: s.Base.sd(band) / was.Band})
	}
}

// How a watch sensor is fouled.
const (
	byBand   = "band"
	byShift  = "shift"
	byCreep  = "creep"
	byUnrest = "unrest"
)

func (w *clerk) saltHasStepped(since time.Time, confidence float64, was Levels) {
	s := w.s
	stepPSU := s.Base.X[salt] - was.SaltPSU
	if math.Abs(stepPSU) < worthSaltPSU || s.find(InstrumentOff) != nil {
		return
	}
	if s.ChangedAt.After(since) && s.ChangedAt.Sub(since) < mixWithin {
		w.begin(Record{Code: SalinityCreeping, Since: s.ChangedAt, Found: s.At, Confidence: min(confidence, mixConfidence), Was: was,
			Subject: byMix, Amount: s.Base.X[leak], AmountSD: s.Base.sd(leak), Number: stepPSU})
		return
	}
	if len(s.Instruments) > 1 {
		// Instruments that move together tell of the water.
		w.begin(Record{Code: SalinityCreeping, Since: since, Found: s.At, Confidence: confidence, Was: was,
			Subject: byDrift, Amount: s.Base.X[leak], AmountSD: s.Base.sd(leak), Number: stepPSU})
		return
	}
	w.begin(Record{Code: InstrumentOff, Since: since, Found: s.At, Confidence: min(confidence, stepConfidence), Was: was,
		Subject: bySalt, Amount: stepPSU, AmountSD: s.Base.sd(salt)})
}

const (
	// stepConfidence: a jump in salinity that no litres explain may be real.
	stepConfidence = 0.7
	// mixWithin of the last reading before it, a water change explains a jump.
	mixWithin     = 8 * 24 * time.Hour
	mixConfidence = 0.9
)

const (
	bySalt  = "salinity"
	byDrift = "drift"
	byMix   = "water change"
	byGauge = "level gauge"
)

func (w *clerk) gaugeHasStepped(since time.Time, confidence, nowL float64) {
	s := w.s
	mm := nowL / w.tank.litresPerMM()
	r := s.find(InstrumentOff)
	if r != nil && r.Subject == byGauge {
		if math.Abs(mm-r.Number) < worthGaugeMM {
			w.end(InstrumentOff, s.At)
		}
		return
	}
	moved := mm - s.Rhythm.UsualGaugeMM
	if math.Abs(moved) > worthGaugeMM && r == nil {
		w.begin(Record{Code: InstrumentOff, Since: since, Found: s.At, Confidence: confidence,
			Subject: byGauge, Amount: -moved, AmountSD: s.Base.sd(gauge) / w.tank.litresPerMM(), Number: s.Rhythm.UsualGaugeMM})
	}
	s.Rhythm.UsualGaugeMM = mm
}

// watchHasMoved: the watch sensor switches at another level, seen by the gauge.
func (w *clerk) watchHasMoved(since time.Time, confidence, byL float64) {
	s := w.s
	mm := byL / w.tank.litresPerMM()
	if math.Abs(mm) < worthGaugeMM {
		return // small ones add up: see judgeGauge
	}
	s.Rhythm.UsualGaugeMM = s.Base.X[gauge] / w.tank.litresPerMM()
	if s.find(WatchFouled) == nil {
		w.begin(Record{Code: WatchFouled, Since: since, Found: s.At, Confidence: confidence,
			Subject: byShift, Amount: -mm, AmountSD: s.Base.sd(gauge) / w.tank.litresPerMM()})
	}
}

const (
	// erraticThreshold is the log-likelihood ratio for marks that have become
	// erratic.
	erraticThreshold = 12.0
	// leastErratic: sooner than this, another change may yet explain it.
	leastErratic = 20 * time.Hour
	// learnedMarks is how many fills teach what is usual for a pump.
	learnedMarks = 20
)

// checkRhythm looks at the fills as a row, after each.
func (w *clerk) checkRhythm(at time.Time) {
	s := w.s
	r := &s.Rhythm
	if r.Erratic == 0 {
		r.ErraticSince = at
	}
	if r.Erratic > erraticThreshold && at.Sub(r.ErraticSince) > leastErratic && !w.suspects() && !w.fillsCutShort() {
		r.Erratic = 0
		if s.find(WatchFouled) == nil && r.Marks > learnedMarks {
			w.begin(Record{Code: WatchFouled, Since: r.ErraticSince, Found: at, Confidence: 0.9, Subject: byUnrest,
				Amount: erraticRatio, Was: w.levels(&s.Base)})
		}
	}
	if r.Marks == learnedMarks {
		w.scaleByFlow()
		r.UsualFlow = s.Base.X[flow]
		r.UsualGaugeMM = s.Base.X[gauge] / max(w.tank.litresPerMM(), 1e-6)
	}
	if r.Marks > learnedMarks {
		w.judgeFlow(at, 0.95, w.levels(&s.Base))
		w.judgeGauge(at)
	}
}

// judgeGauge says when watch sensor and level gauge have crept apart, too slowly
// for any one step to be seen. Which of the two it is, the level cannot tell; the
// sensor fouls in salt water sooner than a gauge creeps.
func (w *clerk) judgeGauge(at time.Time) {
	s := w.s
	r, perMM := &s.Rhythm, w.tank.litresPerMM()
	if !s.Inputs.HasGauge || w.broken() {
		return
	}
	moved, sd := s.Base.X[gauge]/perMM-r.UsualGaugeMM, s.Base.sd(gauge)/perMM
	switch {
	case math.Abs(moved) < steadyGaugeMM || r.GaugeSteadyAt.IsZero():
		r.GaugeSteadyAt = at
	case math.Abs(moved) > worthGaugeMM+sureSigmas*sd && s.find(InstrumentOff) == nil && s.find(WatchFouled) == nil:
		r.UsualGaugeMM += moved
		w.begin(Record{Code: WatchFouled, Since: r.GaugeSteadyAt, Found: at, Confidence: creepConfidence,
			Subject: byCreep, Amount: -moved, AmountSD: sd})
	}
}

const (
	// steadyGaugeMM apart, watch sensor and gauge are still as they were.
	steadyGaugeMM = 1.0
	// creepConfidence is that it is the sensor, and not the gauge. A judgement.
	creepConfidence = 0.7
)

// scaleByFlow is what the pump's flow, once learned, says about a litre of the
// filter: band and flow were both drawn, and the truth lies between the two.
func (w *clerk) scaleByFlow() {
	o := &w.s.Supply.Base
	bandVar, flowVar := square(drawnBandFrac), square(drawnFlowFrac)
	byFlow := bandVar / (bandVar + flowVar)
	if q := w.s.Base.X[flow]; q > 0 && o.ScaleVar >= bandVar {
		o.Scale = math.Pow(q, -byFlow)
		o.ScaleVar = square(o.Scale) * bandVar * flowVar / (bandVar + flowVar)
		w.s.Supply.suspect(w.demandLDay(&w.s.Base), w.s.At)
	}
}

// usualSalt is how long a tank shows what salinity is usual for it.
const usualSalt = 10 * 24 * time.Hour

// learnSalinity takes the usual salinity from the first readings.
func (w *clerk) learnSalinity(at time.Time) {
	r, f := &w.s.Rhythm, &w.s.Base
	if at.Sub(w.s.Began) < usualSalt && f.sd(salt) < settledSaltPSU {
		r.SaltReads++
		r.UsualPSU += (f.X[salt] - r.UsualPSU) / float64(r.SaltReads)
	}
}

// checkSalinity says when the account is sure that salinity is far from where it
// should be, or has drifted far from where it was, whatever the cause.
func (w *clerk) checkSalinity(at time.Time) {
	s, t := w.s, &w.tank
	f := &s.Base
	off, limit := f.X[salt]-t.targetPSU, t.limits.SalinityOffPSU[1]
	drift := 0.0
	if s.Rhythm.SaltReads >= leastSaltReads {
		drift = f.X[salt] - s.Rhythm.UsualPSU
	}
	if r := s.find(SalinityCreeping); r != nil {
		home := r.Subject == bySalt || r.Subject == byMix
		if home && math.Abs(off) < limit-f.sd(salt) || r.Subject == byDrift && math.Abs(drift) < driftPSU/2 {
			w.end(SalinityCreeping, at)
		}
		return
	}
	if s.find(TankLeak) != nil || s.find(InstrumentOff) != nil || s.straying() || w.broken() || s.Rivals != nil {
		return
	}
	rec := Record{Code: SalinityCreeping, Since: at, Found: at, Confidence: surely,
		Amount: f.X[leak], AmountSD: f.sd(leak), Was: w.levels(f)}
	switch sure := sureSigmas * f.sd(salt); {
	case math.Abs(off) > limit+sure:
		rec.Subject = bySalt
	case math.Abs(drift) > driftPSU+sure:
		rec.Subject, rec.Number = byDrift, drift
		rec.Was.SaltPSU = s.Rhythm.UsualPSU
	default:
		return
	}
	w.begin(rec)
}

const (
	// sureSigmas: one in a hundred.
	sureSigmas = 2.33
	// driftPSU is how far salinity may drift from what is usual for a tank,
	// leastSaltReads how many readings show that. Common practice, no source:
	// what people would correct.
	driftPSU       = 1.0
	leastSaltReads = 3
)

// filledIntoDip: the controller took the dip after a restart for evaporation. It
// will again at the next restart, so the finding stays until some have passed.
func (w *clerk) filledIntoDip(at time.Time, ran time.Duration) {
	s, t := w.s, &w.tank
	litres := t.flowLDay * s.Base.X[flow] * ran.Hours() / 24
	if r := s.find(RestartDip); r != nil {
		r.Amount, r.AmountSD, r.Last = litres, litres*s.Base.sd(flow), at
		return
	}
	w.begin(Record{Code: RestartDip, Since: s.Run.Since, Found: at, Last: at, Confidence: surely, Amount: litres,
		AmountSD: litres * s.Base.sd(flow)})
}

// runFailed: a run did not bring the level back, and nothing else ended it.
func (w *clerk) runFailed(at time.Time, ran time.Duration) {
	s, t := w.s, &w.tank
	r, in := &s.Run, &s.Inputs
	r.Failed++
	if r.Failed == 1 {
		r.FailedAt = r.Since
	}
	litres := t.flowLDay * s.Base.X[flow] * ran.Hours() / 24
	rec := Record{Since: r.FailedAt, Found: at, Amount: ran.Seconds(), Number: litres, Was: w.levels(&s.Base)}
	rose, seen := 0.0, r.FromMMKnown && in.LevelAt.After(r.Since) && litres > 0
	if seen {
		rose = (in.LevelMM - r.FromMM) * t.litresPerMM() / litres
	}
	const within = time.Minute
	switch {
	case in.Floor.Known && in.Floor.Wet && in.Floor.At.After(r.Since.Add(-within)):
		rec.Code, rec.Confidence, rec.Subject = FreshLeak, 0.9, byFloor
		rec.Amount, rec.AmountSD = litres, litres*s.Base.sd(flow)
	case in.Ceiling.Known && in.Ceiling.Wet && in.Ceiling.At.After(r.Since):
		rec.Code, rec.Confidence, rec.Subject = WatchStuck, 0.97, byDry
	case seen && rose > 0.5:
		rec.Code, rec.Confidence, rec.Subject = WatchStuck, 0.97, byDry
	case seen:
		rec.Code, rec.Confidence = PumpSeized, 0.95
	case s.Rhythm.EarlyZ > earlySigmas:
		rec.Code, rec.Confidence, rec.Subject = WatchStuck, 0.85, byDry
	case w.expectedRun().Seconds()*longRun > ran.Seconds():
		// A sound pump needs nearly as long: it need not have seized.
		rec.Code, rec.Confidence = PumpWeak, 0.7
		rec.Amount, rec.AmountSD = w.expectedRun().Seconds()/ran.Seconds(), 0.1
		rec.Was.Flow = s.Rhythm.UsualFlow
	default:
		rec.Code, rec.Confidence = PumpSeized, 0.75
	}
	if s.find(rec.Code) == nil && (rec.Code == WatchStuck || s.find(WatchStuck) == nil) {
		w.begin(rec)
	}
}

// earlySigmas: the watch turned dry before evaporation could have got there.
const earlySigmas = 4.0

const (
	byDry   = "dry"
	byWet   = "wet"
	byFloor = "floor"
)

// endStuckDry: a fill has ended as it should.
func (w *clerk) endStuckDry(at time.Time) {
	if r := w.s.find(WatchStuck); r != nil && r.Subject == byDry {
		w.end(WatchStuck, at)
	}
}
