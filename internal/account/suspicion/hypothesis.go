// Package suspicion tests, reading by reading, whether something about a tank has
// changed: Page's test for each hypothesis, on the log-likelihood ratio of a
// filter that supposes the change against the filter that does not.
package suspicion

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
)

// Hypothesis is one thing that may have changed.
type Hypothesis uint8

const (
	// Air: the room takes more or less, a lid, a fan.
	Air Hypothesis = iota
	// Leak: salt water leaves (or stops leaving) and fresh replaces it.
	Leak
	// Split: the litres were counted right, but some that passed for evaporation
	// are salt water. Litres cannot tell; salinity does.
	Split
	// PumpFlow: the top-off pump moves more or less.
	PumpFlow
	// LowerLevel: the watch sensor's lower level has moved, UpperLevel: its upper
	// one has, or fills end later; either way over more or less water.
	LowerLevel
	UpperLevel
	// SaltStep: salt came or went at once, or the instrument jumped.
	SaltStep
	// GaugeZero: the gauge's zero moved, alone; WatchLevel: watch level and gauge
	// moved apart, with the water; HandWater: water came or went by hand.
	GaugeZero
	WatchLevel
	HandWater

	// Hypotheses is how many there are.
	Hypotheses
)

// Thresholds are the scores at which a hypothesis is believed. Page's test with
// threshold h gives, in a tank that behaves as the model says, at most one false
// alarm in e^h readings that may restart it (Lorden 1971), for each test.
// docs/account.md has the rates.
var Thresholds = [Hypotheses]float64{
	Air: 16, Leak: 16, Split: 5.5,
	PumpFlow: 20, LowerLevel: 20, UpperLevel: 20, SaltStep: 8,
	GaugeZero: 14, WatchLevel: 13, HandWater: 13,
}

// priors are the log-odds of the hypotheses against one another, before any
// reading: rooms change often, leaks seldom. Judgements.
var priors = [Hypotheses]float64{
	Air: math.Log(0.4), Leak: math.Log(0.12), Split: math.Log(0.08),
	PumpFlow: math.Log(0.1), LowerLevel: math.Log(0.05), UpperLevel: math.Log(0.05), SaltStep: math.Log(0.05),
	GaugeZero: math.Log(0.03), WatchLevel: math.Log(0.04), HandWater: math.Log(0.1),
}

// Source is what a reading speaks about.
type Source uint8

const (
	Switching      Source = iota // the level is at a known switching level
	SwitchingBound               // the level has not passed one: no test restarts on that
	GaugeReading                 // a gauge's level
	SalinityReading
)

// specs are the tests: one hypothesis each, and for the slow ones several ages. A
// test restarts when its score falls to nothing, and when it has grown old: what
// it opened has closed by then, and it would be blind to a new change of the same
// kind.
var specs = [...]struct {
	of Hypothesis
	// A hypothesis is believed no sooner than leastHours after its test began:
	// what passes within hours is a hand in the sump. It restarts after maxDays.
	leastHours, maxDays float64
	// size multiplies how far the change is supposed to go.
	size float64
	// judgedBy is the reading after which it may restart: one that can speak for
	// it.
	judgedBy Source
}{
	{Air, 8, 1, 2.5, Switching},
	{Air, 8, 4, 1, Switching},
	{Air, 8, 16, 0.5, Switching},
	{Leak, 8, 1, 3, Switching},
	{Leak, 8, 4, 1, Switching},
	{Leak, 8, 16, 0.5, Switching},
	{Split, 72, 12, 1, SalinityReading},
	{Split, 72, 48, 1, SalinityReading},
	{PumpFlow, 0, 4, 1, Switching},
	{LowerLevel, 0, 4, 1, Switching},
	{UpperLevel, 0, 4, 1, Switching},
	{SaltStep, 72, 16, 1, SalinityReading},
	{GaugeZero, 1, 1, 1, GaugeReading},
	{WatchLevel, 3, 1, 1, Switching},
	{HandWater, 0, 1, 1, Switching},
}

// leastHours is how long each kind of change must have gone on, judgedBy the
// source of the readings that speak for it.
var leastHours, judgedBy = func() (least [Hypotheses]float64, by [Hypotheses]Source) {
	for _, s := range specs {
		least[s.of], by[s.of] = s.leastHours, s.judgedBy
	}
	return least, by
}()

// needsGauge says whether a hypothesis means anything without a level gauge.
func (h Hypothesis) needsGauge() bool { return h >= GaugeZero && h <= HandWater }

// Test is a filter that supposes a change at Since. Score is the log-likelihood
// ratio of all readings since then, of the change against none; SaltScore is the
// part of it that salinity readings gave.
type Test struct {
	Since            time.Time
	Score, SaltScore float64
	// Outliers, if not 0, says that one of the last readings was an outlier for it
	// too; it counts down.
	Outliers int
	Belief   belief.Belief
}

// How far a change may go, one standard deviation. Judgements; the sizes of the
// faults that matter, not of those in the corpus.
const (
	openAirFrac   = 0.5   // of the tank's multiplier
	openLeakFrac  = 0.010 // of the system's water, a day
	openSplitFrac = 0.006 // of the system's water, a day
	openFlowFrac  = 0.4   // of the flow
	openBandFrac  = 0.5   // of the band
	openSaltPSU   = 1.5
	openGaugeMM   = 8.0
	// OpenLevelBands is for a level that may be anywhere.
	OpenLevelBands = 4.0
)

// open is the base with one change supposed at this time.
func open(h Hypothesis, size float64, m *belief.Model, base *belief.Belief, predictedLDay float64, now time.Time) Test {
	t := Test{Since: now, Belief: *base}
	b := &t.Belief
	var d belief.Vector
	switch h {
	case Air:
		d[belief.Evaporation] = size * openAirFrac * max(b.X[belief.Evaporation], 0.2)
	case Leak:
		size := size * openLeakFrac * m.SystemL
		if b.X[belief.Leak] < size {
			// A leak begins far more often than salt water runs in.
			b.X[belief.Leak] += size
		}
		d[belief.Leak] = max(size, b.X[belief.Leak])
	case Split:
		d[belief.Leak] = openSplitFrac * m.SystemL
		d[belief.Evaporation] = -d[belief.Leak] / predictedLDay
	case PumpFlow:
		d[belief.Flow] = openFlowFrac * b.X[belief.Flow]
	case LowerLevel:
		d[belief.Band] = openBandFrac * b.X[belief.Band]
		b.Fix(belief.Flow) // measures it: see belief.Belief
	case UpperLevel:
		// Deficits count from the upper level: all grow by as much as it rises.
		d[belief.Band] = openBandFrac * b.X[belief.Band]
		d[belief.Deficit] = d[belief.Band] * m.BandL
		d[belief.Gauge] = -d[belief.Deficit]
		b.Fix(belief.Flow)
	case SaltStep:
		d[belief.Salt] = openSaltPSU
	case GaugeZero:
		d[belief.Gauge] = openGaugeMM * m.LitresPerMM
	case WatchLevel:
		d[belief.Deficit] = openGaugeMM * m.LitresPerMM
		d[belief.Gauge] = -d[belief.Deficit]
	case HandWater:
		d[belief.Deficit] = OpenLevelBands * m.BandL
	}
	b.Widen(d)
	return t
}

// Reopen supposes a test's own change once more: it has gone further.
func (t *Test) Reopen(h Hypothesis, m *belief.Model, predictedLDay float64) {
	t.Belief = open(h, 1, m, &t.Belief, predictedLDay, t.Since).Belief
}

// add is the gain from a reading.
func (t *Test) add(gain float64, from Source) {
	t.Score += gain
	if from == SalinityReading {
		t.SaltScore += gain
	}
}

// score is what counts for a hypothesis. What only salinity can tell is not
// believed on litres: they are not known so well.
func (t *Test) score(h Hypothesis) float64 {
	if h == Split || h == SaltStep {
		return t.SaltScore
	}
	return t.Score
}

// maxLitresOdds bounds what litres alone may say between leak and air: the two take
// water alike, but for how the room's air comes and goes, and that is known too
// badly.
const maxLitresOdds = 2.0

// LeakOverAir returns the log-odds of a leak against a change of the air.
func LeakOverAir(leak, air *Test) float64 {
	litres := (leak.Score - leak.SaltScore) - (air.Score - air.SaltScore)
	return min(max(litres, -maxLitresOdds), maxLitresOdds) + leak.SaltScore - air.SaltScore + priors[Leak] - priors[Air]
}

// Page adds a gain (a log-likelihood ratio) to the sum of one of Page's tests, which
// never falls below 0 (Page 1954); since becomes at where the sum starts again.
func Page(sum *float64, since *time.Time, gain float64, at time.Time) {
	if *sum <= 0 {
		*since = at
	}
	*sum = max(0, *sum+gain)
}
