package chart

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// niceStep is the smallest of 1, 2 and 5 times a power of ten that is not below
// step. It is 1 for a step that is not a positive number.
func niceStep(step float64) float64 {
	if !(step > 0) || math.IsInf(step, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(step)))
	for _, m := range []float64{1, 2, 5} {
		// A little slack: 0.1 must not become 0.2 by a rounding error.
		if m*power >= step*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// maxTicks bounds an axis whatever it is given.
const maxTicks = 64

// ticks are the multiples of step from lo to hi.
func ticks(lo, hi, step float64) []float64 {
	var out []float64
	const slack = 1e-9
	first := math.Ceil(lo/step - slack)
	for i := first; i*step <= hi+slack*step && len(out) < maxTicks; i++ {
		out = append(out, i*step)
	}
	return out
}

// timeSteps are the steps a clock and a calendar suggest.
var timeSteps = []time.Duration{
	time.Second, 5 * time.Second, 15 * time.Second, time.Minute, 5 * time.Minute, 15 * time.Minute,
	time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, day, 2 * day, 5 * day, 10 * day, 30 * day, 90 * day,
}

const day = 24 * time.Hour

// timeStep is the first step that makes at most n of a length.
func timeStep(length time.Duration, n int) time.Duration {
	for _, s := range timeSteps {
		if length/s <= time.Duration(n) {
			return s
		}
	}
	return 365 * day
}

// span is a stretch of elevation, metres.
type span struct{ lo, hi float64 }

// elevations maps metres above the datum to the drawing, to one scale, and
// leaves out the middle of stretches where nothing is: a reservoir on another
// floor does not make everything else small.
type elevations struct {
	datumY, scale float64 // y of elevation 0 before any break, units per metre
	breaks        []span  // left out, lowest first
}

// Breaks: an empty stretch longer than longestGapM is shown as keptGapM.
const (
	longestGapM = 0.9
	keptGapM    = 0.3
)

// breaksBetween finds what may be left out between the stretches in use.
func breaksBetween(used []span) []span {
	used = slices.Clone(used)
	slices.SortFunc(used, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
	var out []span
	top := math.Inf(1)
	for i, u := range used {
		if i > 0 && u.lo-top > longestGapM {
			out = append(out, span{top + keptGapM/2, u.lo - keptGapM/2})
		}
		if i == 0 {
			top = u.hi
		}
		top = max(top, u.hi)
	}
	return out
}

// drawnM is the length drawn from elevation a up to b: without the breaks.
func (e *elevations) drawnM(a, b float64) float64 {
	length := b - a
	for _, k := range e.breaks {
		length -= max(0, min(b, k.hi)-max(a, k.lo))
	}
	return length
}

// y is where an elevation is drawn; inside a break it is the break's place.
func (e *elevations) y(elevationM float64) float64 {
	if elevationM < 0 {
		return e.datumY + e.drawnM(elevationM, 0)*e.scale
	}
	return e.datumY - e.drawnM(0, elevationM)*e.scale
}

// broken says whether an elevation is inside a break.
func (e *elevations) broken(elevationM float64) bool {
	for _, k := range e.breaks {
		if elevationM > k.lo && elevationM < k.hi {
			return true
		}
	}
	return false
}
