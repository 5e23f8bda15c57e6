// Package reservoir is the mass balance of the top-off's reservoir. One filled to
// its mark tells twice: what is in it now, and, if somebody measured, what had
// left it. Litres that left it and never reached the tank are a fresh leak.
package reservoir

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
)

// Design is the reservoir as drawn.
type Design struct {
	// CapacityL is what the pump can take from a full one, LowL what is left at
	// its low sensor; 0 without one.
	CapacityL, LowL float64
	Endless         bool // a plumbed line behind pump or reservoir
}

// State is what is known of the reservoir.
type State struct {
	// Known says that the content is known; Fills how often it was filled as
	// far as anybody noted.
	Known bool
	Fills int
	// LeftL is what the pump can still take, LeftVar how well the mark was hit.
	LeftL, LeftVar float64
	// DrawnL is what the filter thinks the pump took since FilledAt.
	DrawnL   float64
	FilledAt time.Time
	// Unsure says that runs may have gone unheard since FilledAt.
	Unsure bool
	// Base is what is believed; Alternative supposes that water has begun to go
	// elsewhere at Since, with a Score against Base.
	Base, Alternative Outflow
	Since             time.Time
	Score             float64
}

// Outflow is a belief about what leaves a reservoir: the litres for one that the
// filter thinks the pump moved, the litres a day that go elsewhere, and their
// covariance.
type Outflow struct {
	Scale, ElsewhereLDay               float64
	ScaleVar, Covariance, ElsewhereVar float64
}

// update corrects by a fill: litres that left since the last, noise their
// variance.
func (o *Outflow) update(litres, drawnL, days, noise float64) (logLik float64) {
	phScale := drawnL*o.ScaleVar + days*o.Covariance
	phElse := drawnL*o.Covariance + days*o.ElsewhereVar
	all := drawnL*phScale + days*phElse + noise
	nu := litres - drawnL*o.Scale - days*o.ElsewhereLDay
	sound, outlier := belief.UsualMixture.LogLikelihoods(nu, all, wrongFillFrac*litres)
	if outlier > sound {
		all += max(square(wrongFillFrac*litres), nu*nu)
	}
	o.Scale += phScale / all * nu
	o.ElsewhereLDay += phElse / all * nu
	o.ScaleVar -= phScale * phScale / all
	o.Covariance -= phScale * phElse / all
	o.ElsewhereVar -= phElse * phElse / all
	return belief.LogSum(sound, outlier)
}

// Litres returns true litres, and their standard deviation, for litres of the filter
// and theirs.
func (o *Outflow) Litres(litres, sd float64) (trueL, trueSD float64) {
	return litres * o.Scale, math.Hypot(sd*o.Scale, litres*math.Sqrt(o.ScaleVar))
}

const (
	// FillMarkFrac is how well people hit the mark, in shares of the reservoir,
	// measureFrac how well they measure what they pour; wrongFillFrac how far a
	// wrong note is off. Judgements.
	FillMarkFrac  = 0.02
	measureFrac   = 0.04
	wrongFillFrac = 0.5
	// scaleWanderFrac is how the scale wanders in a square root of a day.
	scaleWanderFrac = 0.004
	// openElsewhereFrac of the demand is how much goes elsewhere, supposedly.
	openElsewhereFrac = 0.4
	// LeastElsewhereFrac of the demand is the least that matters.
	LeastElsewhereFrac = 0.08
	// Threshold is the log-likelihood ratio at which it is believed.
	Threshold = 6.0
)

// Pump takes litres of the filter out of the reservoir.
func (s *State) Pump(litres float64) {
	s.DrawnL += litres
	s.LeftL -= litres * s.Base.Scale
}

// overdrawnFrac of a reservoir below nothing, it must have been filled unnoted.
const overdrawnFrac = 0.15

// ForgetIfOverdrawn says whether more was pumped than can have been in it; then
// the content is not known any more.
func (s *State) ForgetIfOverdrawn(d *Design) bool {
	over := s.Known && s.LeftL < -overdrawnFrac*d.CapacityL
	if over {
		s.Known, s.Fills = false, 0
	}
	return over
}

// Fill notes that the reservoir was filled to its mark at a time.
func (s *State) Fill(d *Design, at time.Time) {
	s.Known, s.FilledAt, s.DrawnL, s.Unsure = true, at, 0, false
	s.Fills++
	s.LeftL, s.LeftVar = d.CapacityL, square(FillMarkFrac*d.CapacityL)
}

// Low notes that the reservoir is at its low sensor.
func (s *State) Low(d *Design) {
	s.Known, s.LeftL, s.LeftVar = true, d.LowL, square(FillMarkFrac*d.CapacityL)
}

// CompareFill compares what was poured in with what the pump took since the last
// fill, which must be known. It says whether water is found to go elsewhere, since
// when, and how much more than before.
func (s *State) CompareFill(d *Design, at time.Time, litres, demandLDay float64) (elsewhere bool, since time.Time, moreLDay float64) {
	days := at.Sub(s.FilledAt).Hours() / 24
	noise := 2*square(FillMarkFrac*d.CapacityL) + square(measureFrac*litres)
	s.Base.ScaleVar += square(scaleWanderFrac) * days
	s.Alternative.ScaleVar += square(scaleWanderFrac) * days
	s.Score += s.Alternative.update(litres, s.DrawnL, days, noise) - s.Base.update(litres, s.DrawnL, days, noise)
	switch {
	case s.Score <= 0:
		s.Suppose(demandLDay, at)
	case s.Score > Threshold:
		was := s.Base.ElsewhereLDay
		elsewhere, since = true, s.Since
		s.Base = s.Alternative
		s.Suppose(demandLDay, at)
		moreLDay = s.Base.ElsewhereLDay - was
	}
	return elsewhere, since, moreLDay
}

// Suppose starts the alternative again from what is believed.
func (s *State) Suppose(demandLDay float64, at time.Time) {
	s.Alternative, s.Since, s.Score = s.Base, at, 0
	s.Alternative.ElsewhereLDay += openElsewhereFrac * demandLDay / 2
	s.Alternative.ElsewhereVar += square(max(openElsewhereFrac*demandLDay, s.Base.ElsewhereLDay))
}

// CalibrateScale is what the pump's flow, once learned as a share of the drawing's,
// says about a litre of the filter: band and flow were both drawn, with these
// variances, and the truth lies between the two. It says whether it did.
func (o *Outflow) CalibrateScale(flow, bandVar, flowVar float64) bool {
	byFlow := bandVar / (bandVar + flowVar)
	if !(flow > 0) || o.ScaleVar < bandVar {
		return false
	}
	o.Scale = math.Pow(flow, -byFlow)
	o.ScaleVar = square(o.Scale) * bandVar * flowVar / (bandVar + flowVar)
	return true
}

const (
	// unpumpedSigmas and unpumpedFrac of the reservoir: so surely, and so much,
	// must be missing that the pump did not take.
	unpumpedSigmas = 4.0
	unpumpedFrac   = 0.15
)

// Unpumped is what is missing, now that it is at its low sensor, that the pump did
// not take; not ok: nothing that matters, as far as is known.
func (s *State) Unpumped(d *Design) (litres, sd float64, ok bool) {
	if !s.Known || s.Unsure || d.Endless {
		return 0, 0, false
	}
	litres = s.LeftL - d.LowL
	sd = math.Sqrt(s.LeftVar + square(s.DrawnL)*s.Base.ScaleVar + square(FillMarkFrac*d.CapacityL))
	return litres, sd, litres >= max(unpumpedSigmas*sd, unpumpedFrac*d.CapacityL)
}

const (
	// emptyFrac of a reservoir counts as empty: no mark is hit better.
	emptyFrac = 0.04
	// NotedFills: so many noted fills show that fills are noted.
	NotedFills = 3
)

// Empty reports whether the pump has, as far as the balance knows, nothing left to
// pump.
func (s *State) Empty(d *Design) bool {
	return s.Known && s.Fills >= NotedFills && d.CapacityL > 0 && !d.Endless && s.LeftL < emptyFrac*d.CapacityL
}

// NinetySigmas is how many standard deviations on both sides hold nine cases in
// ten of a normal law.
const NinetySigmas = 1.645

// DaysLeft is how long it lasts at a demand in litres of the filter, and at
// least at so many true litres a day: by the middle estimate, and at the early and
// the late end of nine cases in ten.
func (s *State) DaysLeft(d *Design, demandLDay, demandSD, leastLDay float64) (early, middle, late float64) {
	use := max(demandLDay*s.Base.Scale+s.Base.ElsewhereLDay, leastLDay)
	left := max(s.LeftL, 0)
	relative := math.Sqrt(square(demandSD/use) + s.Base.ScaleVar + s.LeftVar/square(max(left, emptyFrac*d.CapacityL)))
	spread := 1 + NinetySigmas*min(relative, 2)
	middle = left / use
	return middle / spread, middle, middle * spread
}

func square(x float64) float64 { return x * x }
