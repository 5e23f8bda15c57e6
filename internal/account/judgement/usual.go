package judgement

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
)

// Usual is what is usual for the tank, learned from it.
type Usual struct {
	// FilledAt is when the level was last known to be at the watch level, Fills
	// how often it was, FillDemandLDay what the tank took then.
	FilledAt       time.Time
	Fills          int
	FillDemandLDay float64
	// EarlyZ is how early the watch sensor last turned dry, in standard deviations.
	EarlyZ float64
	// Dispersion is the variance of the watch sensor's turns over what is usual;
	// ErraticScore the log-likelihood ratio that it has grown, since ErraticSince.
	Dispersion   float64
	ErraticScore float64
	ErraticSince time.Time
	// OutlierFrac is the share of turns that are outliers.
	OutlierFrac float64
	// Evaporation is the multiplier in the long run: what a change of demand is
	// measured by. SmallChangeAt is when a change too small to tell last began.
	Evaporation   float64
	SmallChangeAt time.Time
	// Flow is the pump's flow once learned, that weakening is measured by; GaugeMM
	// the error of the gauge's zero, GaugeSteadyAt when it was last about that.
	Flow, GaugeMM float64
	GaugeSteadyAt time.Time
	// PSU is the mean of the salinity at the first SaltReads readings.
	PSU       float64
	SaltReads int
}

const (
	// dispersionGain is how fast Dispersion learns from a turn; it stays within
	// leastDispersion and mostDispersion.
	dispersionGain  = 0.01
	leastDispersion = 0.25
	mostDispersion  = 9.0
	// outlierGain is how fast OutlierFrac learns; it is never more than
	// mostOutliers.
	outlierGain  = 0.01
	mostOutliers = 0.15
	// cappedZ2: no single turn counts for more.
	cappedZ2 = 6.0
	// erraticRatio is the growth in variance that is looked for.
	erraticRatio = 5.0
)

// LearnTurn learns from how far a turn of the watch sensor lay off, unless a
// change is suspected that explains it.
func (j *Judge) LearnTurn(seen belief.Innovation) {
	if j.Suspects() {
		return
	}
	u, one := &j.Usual, 0.0
	if seen.Outlier {
		one = 1
	}
	u.OutlierFrac = min(max(u.OutlierFrac+(one-u.OutlierFrac)*outlierGain, belief.OutlierFrac), mostOutliers)
	z2 := min(seen.Z*seen.Z, cappedZ2)
	u.Dispersion = min(max(u.Dispersion*(1+dispersionGain*(z2-1)), leastDispersion), mostDispersion)
	// The log-likelihood ratio of a variance grown by erraticRatio.
	u.ErraticScore = max(0, u.ErraticScore+0.5*z2*(1-1/erraticRatio)-0.5*math.Log(erraticRatio))
}

const (
	// erraticThreshold is the log-likelihood ratio for turns that have become
	// erratic.
	erraticThreshold = 12.0
	// leastErratic: sooner than this, another change may yet explain it.
	leastErratic = 20 * time.Hour
	// learnedFills teach what is usual for a pump.
	learnedFills = 20
	// flowConfidence, erraticConfidence: nothing but a slow change explains it.
	flowConfidence    = 0.95
	erraticConfidence = 0.9
)

// CheckFills checks the series of fills; it is called after each.
func (j *Judge) CheckFills(at time.Time) {
	u := &j.Usual
	if u.ErraticScore == 0 {
		u.ErraticSince = at
	}
	if u.ErraticScore > erraticThreshold && at.Sub(u.ErraticSince) > leastErratic && !j.Suspects() && !j.cutoffPossible() {
		u.ErraticScore = 0
		if j.Find(finding.WatchFouled) == nil && u.Fills > learnedFills {
			j.Begin(finding.Record{Code: finding.WatchFouled, Since: u.ErraticSince, Found: at, Confidence: erraticConfidence, Subject: finding.ByErratic,
				Amount: erraticRatio, Was: j.Levels()})
		}
	}
	if u.Fills == learnedFills {
		if j.Reservoir.Base.CalibrateScale(j.Base.X[belief.Flow], square(DrawnBandFrac), square(DrawnFlowFrac)) {
			demand, _ := j.Demand()
			j.Reservoir.Suppose(demand, j.At)
		}
		u.Flow = j.Base.X[belief.Flow]
		u.GaugeMM = j.Base.X[belief.Gauge] / max(j.Tank.LitresPerMM, 1e-6)
	}
	if u.Fills > learnedFills {
		j.checkFlow(at, flowConfidence, j.Levels())
		j.checkGauge(at)
	}
}

// What a drawing is good for, one standard deviation. Judgements.
const (
	DrawnFlowFrac = 0.15
	DrawnBandFrac = 0.20
)

const (
	// backFrac: within this share of what it was, a quantity is back.
	backFrac = 0.12
	// weakFrac is what is left of a pump's flow when it is weak.
	weakFrac = 0.87
)

// checkFlow says whether the pump is weak, measured by what was usual for it.
func (j *Judge) checkFlow(since time.Time, confidence float64, was belief.Levels) {
	usual := j.Usual.Flow
	if usual == 0 {
		return
	}
	left, sd := j.Base.X[belief.Flow]/usual, j.Base.SD(belief.Flow)/usual
	switch r := j.Find(finding.PumpWeak); {
	case r == nil && left+sd < weakFrac:
		was.Flow = usual
		j.Begin(finding.Record{Code: finding.PumpWeak, Since: since, Found: j.At, Confidence: confidence, Was: was, Amount: left, AmountSD: sd})
	case r != nil && left > 1-backFrac/2:
		j.End(finding.PumpWeak, j.At)
	case r == nil && left > 1+backFrac:
		j.Usual.Flow = j.Base.X[belief.Flow] // a new pump
	}
}

const (
	// worthGaugeMM is the least shift between watch sensor and gauge that counts;
	// steadyGaugeMM apart, they are still as they were.
	worthGaugeMM  = 4.0
	steadyGaugeMM = 1.0
	// creepConfidence is that it is the sensor, and not the gauge. A judgement.
	creepConfidence = 0.7
	// sureSigmas: one in a hundred.
	sureSigmas = 2.33
)

// checkGauge says when watch sensor and level gauge have crept apart, too slowly
// for any one step to be seen. Which of the two it is, the level cannot tell; the
// sensor fouls in salt water sooner than a gauge creeps.
func (j *Judge) checkGauge(at time.Time) {
	u, perMM := &j.Usual, j.Tank.LitresPerMM
	if !j.HasGauge || j.FillsFail() {
		return
	}
	moved, sd := j.Base.X[belief.Gauge]/perMM-u.GaugeMM, j.Base.SD(belief.Gauge)/perMM
	switch {
	case math.Abs(moved) < steadyGaugeMM || u.GaugeSteadyAt.IsZero():
		u.GaugeSteadyAt = at
	case math.Abs(moved) > worthGaugeMM+sureSigmas*sd && j.Find(finding.InstrumentOff) == nil && j.Find(finding.WatchFouled) == nil:
		u.GaugeMM += moved
		j.Begin(finding.Record{Code: finding.WatchFouled, Since: u.GaugeSteadyAt, Found: at, Confidence: creepConfidence,
			Subject: finding.ByCreep, Amount: -moved, AmountSD: sd})
	}
}

// cutoffPossible says that fills may end for want of budget or water and nobody
// hears why: without a watch sensor's word, a tank that uses too much looks like
// one whose watch sensor has lost its band.
func (j *Judge) cutoffPossible() bool {
	return !j.Inputs.Watch.Known && (j.Question != nil || j.Find(finding.TankLeak) != nil || j.Find(finding.EvaporationChanged) != nil)
}

// evaporationMemory is over how many steps of belief.WeatherEvery the usual
// multiplier is remembered: ten days.
const evaporationMemory = 40

// AirFreshFor is how long a reading of the room's air counts.
const AirFreshFor = 6 * time.Hour

// LearnWeather learns what evaporation is usual, every belief.WeatherEvery.
func (j *Judge) LearnWeather() {
	x, u := &j.Base.X, &j.Usual
	if u.Fills <= learnedFills {
		u.Evaporation = x[belief.Evaporation]
		return
	}
	expected := j.Tank.WeatherFrac()
	if j.At.Sub(j.AirAt) < AirFreshFor {
		expected = belief.UnreadFrac
	}
	j.Weather.Learn((x[belief.Evaporation]+x[belief.Weather])/max(x[belief.Evaporation], belief.LeastEvaporation), expected)
	if j.Question == nil && j.Find(finding.EvaporationChanged) == nil {
		u.Evaporation += (x[belief.Evaporation] + x[belief.Weather] - u.Evaporation) / evaporationMemory
	}
}

func square(x float64) float64 { return x * x }
