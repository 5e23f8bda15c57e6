// Package design is what a tank's description says, worked out once for the
// account. It is where the filter starts from, never what it ends with: a
// drawing's flow, band and evaporation are wrong by tens of per cent on a real
// tank.
package design

import (
	"fmt"
	"math"
	"time"

	"isohaline/hydraulics"
	"isohaline/internal/account/belief"
	"isohaline/internal/account/reservoir"
	"isohaline/internal/tankfile"
	"isohaline/reliability"
)

const (
	LitresPerM3   = 1000.0
	MMPerM        = 1000.0
	secondsPerDay = 86400.0
	daysAYear     = reliability.DaysPerYear
)

// Tank is the tank as drawn.
type Tank struct {
	belief.Model
	TargetPSU float64
	// chamber is the vessel where the level shows.
	chamber hydraulics.Vessel
	WatchMM float64 // the watch sensor's level; NaN: not known
	// IntakeMM is where the return pump draws air: below, the display takes the
	// losses, and the chamber's level says nothing.
	IntakeMM float64
	// ReserveL is the water between watch level and return-pump intake, MarginL
	// what fits between watch level and rim after drain-down.
	ReserveL, MarginL float64
	Reservoir         reservoir.Design
	VisitDays         float64
	Limits            tankfile.Limits
	Evaporation       Evaporation
}

// New works out a validated tank; watchM is the watch sensor's level as it was
// set up, above the datum, 0 if as drawn. Errors name what cannot be calculated.
func New(s *tankfile.Tank, watchM float64) (Tank, error) {
	t := Tank{TargetPSU: s.Water.SalinityPSU, Limits: s.Limits, VisitDays: s.People.DaysBetweenVisits}
	if s.Skimmer != nil {
		t.SkimLDay = s.Skimmer.SkimmateM3Day * LitresPerM3
	}
	display, err := s.Display.Shape.Vessel()
	if err != nil {
		return t, fmt.Errorf("account: display: %w", err)
	}
	chamber, fixedM3 := display, 0.0
	if s.HasSump() {
		if chamber, err = s.Sump.Vessel(); err != nil {
			return t, fmt.Errorf("account: sump: %w", err)
		}
		fixedM3 = s.Sump.FixedM3() + display.VolumeM3(s.Overflow.CrestHeightM)
	}
	levelM := watchLevelM(s, watchM)
	t.WatchMM = levelM * MMPerM
	if math.IsNaN(levelM) {
		levelM = chamber.RimM() / 2
	}
	t.SystemL = (fixedM3 + chamber.VolumeM3(levelM)) * LitresPerM3
	t.chamber, t.LitresPerMM = chamber, chamber.AreaM2(levelM) // 1 m² × 1 mm = 1 L
	if w := s.TopOff.Watch; w != nil {
		t.BandL = (chamber.VolumeM3(levelM+w.HysteresisM/2) - chamber.VolumeM3(levelM-w.HysteresisM/2)) * LitresPerM3
	}
	t.MarginL = (chamber.CapacityM3() - chamber.VolumeM3(levelM)) * LitresPerM3
	if s.HasSump() {
		t.ReserveL = (chamber.VolumeM3(levelM) - chamber.VolumeM3(s.Return.IntakeElevationM)) * LitresPerM3
		t.IntakeMM = s.Return.IntakeElevationM * MMPerM
		lowest := max(s.Return.OutletHeightM, s.Return.SiphonBreakHeightM)
		down := display.VolumeM3(s.Overflow.CrestHeightM) - display.VolumeM3(lowest)
		t.MarginL -= max(down, 0) * LitresPerM3
	}
	if err := t.source(s, levelM); err != nil {
		return t, err
	}
	t.Evaporation, err = newEvaporation(s)
	return t, err
}

// MissingL returns the water, L, that the chamber holds between levelMM and zeroMM,
// both in mm above the datum; positive where the level is below the zero.
func (t *Tank) MissingL(zeroMM, levelMM float64) float64 {
	return (t.chamber.VolumeM3(zeroMM/MMPerM) - t.chamber.VolumeM3(levelMM/MMPerM)) * LitresPerM3
}

// WeatherFrac returns how much the evaporation of such a tank usually comes and goes,
// one standard deviation as a share of it, before the tank has shown its own.
func (t *Tank) WeatherFrac() float64 { return math.Hypot(belief.UnreadFrac, t.Evaporation.dayFrac) }

// watchLevelM is where the watch sensor switches: as set up, else as drawn.
func watchLevelM(s *tankfile.Tank, setUpM float64) float64 {
	switch w := s.TopOff.Watch; {
	case setUpM > 0:
		return setUpM
	case w != nil && !math.IsNaN(w.ElevationM):
		return w.ElevationM
	case s.TopOff.FloatValve != nil:
		return s.TopOff.FloatValve.ShutElevationM
	case !s.HasSump():
		return s.Display.FillHeightM
	}
	return math.NaN()
}

// source is where the fresh water comes from and how fast.
func (t *Tank) source(s *tankfile.Tank, levelM float64) error {
	top := &s.TopOff
	if top.Plumbed != nil {
		t.Reservoir.Endless = true
		t.FlowLDay = top.Plumbed.ProductM3S * LitresPerM3 * secondsPerDay
		return nil
	}
	r := top.Reservoir
	v, err := r.Shape.Vessel()
	if err != nil {
		return fmt.Errorf("account: reservoir: %w", err)
	}
	intakeM3 := v.VolumeM3(r.PumpIntakeHeightM)
	t.Reservoir.CapacityL = (v.VolumeM3(r.FillHeightM) - intakeM3) * LitresPerM3
	if r.LowSensor != nil {
		t.Reservoir.LowL = max(v.VolumeM3(r.LowSensor.HeightM)-intakeM3, 0) * LitresPerM3
	}
	t.Reservoir.Endless = r.Refill != nil
	if top.Pump == nil {
		return nil
	}
	points := make([]hydraulics.PumpPoint, len(top.Pump.Curve))
	for i, p := range top.Pump.Curve {
		points[i] = hydraulics.PumpPoint{FlowM3S: p.FlowM3S, HeadM: p.HeadM}
	}
	curve, err := hydraulics.NewPumpCurve(points)
	if err != nil {
		return fmt.Errorf("account: top-off pump: %w", err)
	}
	line := hydraulics.Tube{LengthM: top.Tube.LengthM, BoreM: top.Tube.BoreM,
		MinorLossK: top.Tube.MinorLossK, RoughnessM: hydraulics.RoughnessSmoothM}
	// Half a reservoir is the lift on average.
	surfaceM := r.FloorElevationM + (r.FillHeightM+r.PumpIntakeHeightM)/2
	liftM := max(top.TubeEndElevationM, levelM) - surfaceM
	flow := hydraulics.OperatingFlowM3S(curve, line, liftM, hydraulics.FreshWaterViscosityM2S(s.Water.TempC))
	t.FlowLDay = max(flow, 0) * LitresPerM3 * secondsPerDay
	return nil
}

// leastUseFrac of the usual evaporation is always used.
const leastUseFrac = 0.02

// LeastUseLDay returns the least water that the tank is taken to use, L/day.
func (t *Tank) LeastUseLDay() float64 { return leastUseFrac * t.Evaporation.UsualLDay }

const (
	// leastLeakFrac of the system's water a day is the least leak that counts.
	leastLeakFrac = 0.0008
	// creepSkims times its usual is what a wet skimmer takes; creepFrac of the
	// system's water a day is what splash and salt creep do. Above either it is
	// a leak until shown otherwise. Judgements.
	creepSkims = 5.0
	creepFrac  = 0.0035
)

// LeastLeakLDay returns the least loss of salt water that counts, L/day.
func (t *Tank) LeastLeakLDay() float64 { return leastLeakFrac * t.SystemL }

// CreepLDay returns the most salt water, L/day, that a wet skimmer, splash and salt
// creep take.
func (t *Tank) CreepLDay() float64 { return max(creepSkims*t.SkimLDay, creepFrac*t.SystemL) }

// Days returns a number of days as a duration, at most ten years either way.
func Days(d float64) time.Duration {
	const most = 3650.0
	return time.Duration(min(max(d, -most), most) * 24 * float64(time.Hour))
}
