package account

import "time"

// change is one thing that may have changed.
type change uint8

const (
	// airChanged: the room takes more or less, a lid, a fan.
	airChanged change = iota
	// leakChanged: salt water leaves (or stops leaving) and fresh replaces it.
	leakChanged
	// splitWrong: the litres were counted right, but some that passed for
	// evaporation are salt water. Litres cannot tell; salinity does.
	splitWrong
	// flowChanged: the top-off pump moves more or less.
	flowChanged
	// bandChanged: the watch sensor's lower level has moved, overrun: its upper
	// one has, or fills end later; either way over more or less water.
	bandChanged
	overrun
	// saltStepped: salt came or went at once, or the instrument jumped.
	saltStepped
	// gaugeStepped: the gauge's zero moved, alone; watchMoved: watch level and
	// gauge moved apart, with the water; levelMoved: water came or went by hand.
	gaugeStepped
	watchMoved
	levelMoved

	changes
)

// class is what a reading speaks about.
type class uint8

const (
	levelMark  class = iota // the level is at a known switching level
	levelBound              // the level has not passed one: no suspicion starts again on that
	gaugeRead               // a gauge's level
	salinityRead
)

// suspects are the filters that stand beside the base: one change each, and for
// the slow ones several ages. A suspicion starts again when its evidence falls
// to nothing, and when it has grown old: what it opened has closed by then, and
// it would be blind to a new change of the same kind.
var suspects = [...]struct {
	of change
	// A suspicion is believed no sooner than leastHours after it began: what
	// passes within hours is a hand in the sump. It starts again after maxDays.
	leastHours, maxDays float64
	// size multiplies how far the change is supposed to go.
	size float64
	// judgedBy is the reading after which it may start again: one that can
	// speak for it.
	judgedBy class
}{
	{airChanged, 8, 1, 2.5, levelMark},
	{airChanged, 8, 4, 1, levelMark},
	{airChanged, 8, 16, 0.5, levelMark},
	{leakChanged, 8, 1, 3, levelMark},
	{leakChanged, 8, 4, 1, levelMark},
	{leakChanged, 8, 16, 0.5, levelMark},
	{splitWrong, 72, 12, 1, salinityRead},
	{splitWrong, 72, 48, 1, salinityRead},
	{flowChanged, 0, 4, 1, levelMark},
	{bandChanged, 0, 4, 1, levelMark},
	{overrun, 0, 4, 1, levelMark},
	{saltStepped, 72, 16, 1, salinityRead},
	{gaugeStepped, 1, 1, 1, gaugeRead},
	{watchMoved, 3, 1, 1, levelMark},
	{levelMoved, 0, 1, 1, levelMark},
}

// needsGauge says whether a suspicion means anything without a level gauge.
func (c change) needsGauge() bool { return c >= gaugeStepped && c <= levelMoved }

// Suspicion is a filter that supposes a change at Since. Evidence is the
// log-likelihood ratio of all readings since then, of the change against none;
// Salty is the part of it that salinity readings gave.
type Suspicion struct {
	Since           time.Time
	Evidence, Salty float64
	// Astray says, if not 0, that one of the last readings went astray for it too;
	// it counts down.
	Astray int
	Filter Filter
}

// How far a change may go, one standard deviation. Judgements; the sizes of the
// faults that matter, not of those in the corpus.
const (
	openAirFrac    = 0.5   // of the tank's multiplier
	openLeakFrac   = 0.010 // of the system's water, a day
	openSplitFrac  = 0.006 // of the system's water, a day
	openFlowFrac   = 0.4   // of the flow
	openBandFrac   = 0.5   // of the band
	openSaltPSU    = 1.5
	openGaugeMM    = 8.0
	openLevelBands = 4.0
)

// suppose is the base with one change opened at this time.
func suppose(c change, times float64, t *tank, base *Filter, predictedLDay float64, now time.Time) Suspicion {
	s := Suspicion{Since: now, Filter: *base}
	f := &s.Filter
	var d [states]float64
	switch c {
	case airChanged:
		d[evap] = times * openAirFrac * max(f.X[evap], 0.2)
	case leakChanged:
		size := times * openLeakFrac * t.systemL
		if f.X[leak] < size {
			// A leak begins far more often than salt water runs in.
			f.X[leak] += size
		}
		d[leak] = max(size, f.X[leak])
	case splitWrong:
		d[leak] = openSplitFrac * t.systemL
		d[evap] = -d[leak] / predictedLDay
	case flowChanged:
		d[flow] = openFlowFrac * f.X[flow]
	case bandChanged:
		d[band] = openBandFrac * f.X[band]
		f.settle(flow) // measures it: see Filter
	case overrun:
		// Deficits count from the upper level: all grow by as much as it rises.
		d[band] = openBandFrac * f.X[band]
		d[deficit] = d[band] * t.bandL
		d[gauge] = -d[deficit]
		f.settle(flow)
	case saltStepped:
		d[salt] = openSaltPSU
	case gaugeStepped:
		d[gauge] = openGaugeMM * t.litresPerMM()
	case watchMoved:
		d[deficit] = openGaugeMM * t.litresPerMM()
		d[gauge] = -d[deficit]
	case levelMoved:
		d[deficit] = openLevelBands * t.bandL
	}
	f.open(d)
	return s
}

// reopen opens a suspicion's own change once more: it has gone further.
func (x *Suspicion) reopen(c change, t *tank, predictedLDay float64) {
	x.Filter = suppose(c, 1, t, &x.Filter, predictedLDay, x.Since).Filter
}

// litresPerMM is the chamber's water in a millimetre of level.
func (t *tank) litresPerMM() float64 { return t.chamberM2 } // 1 m2 × 1 mm = 1 L
