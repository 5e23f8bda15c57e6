package account

import (
	"math"
	"time"
)

// Estimate is the account as it stands, for a page or a report. Litres are a
// measuring jug's; SD fields are one standard deviation.
type Estimate struct {
	At time.Time
	// InLDay is the water that goes in a day; ExpectedLDay what is usual in this
	// air, with the band that holds nine days in ten.
	InLDay, InSD                            float64
	ExpectedLDay, ExpectedLowL, ExpectedHiL float64
	// LeakLDay is the salt water that leaves beyond the skimmer's habit.
	LeakLDay, LeakSD float64
	// SalinityPSU is what an instrument would read now.
	SalinityPSU, SalinitySD float64
	// FlowLMin is the top-off pump's flow, FillL one fill, MissingL what is
	// missing below the watch level now.
	FlowLMin, FlowSD, FillL, MissingL float64
	// ReservoirKnown says that the reservoir was filled to somebody's knowledge;
	// the days left are at the early end, the middle and the late end of nine
	// cases in ten.
	ReservoirKnown                      bool
	ReservoirL                          float64
	DaysLeftLow, DaysLeft, DaysLeftHigh float64
}

// Estimate reads the state. It changes nothing.
func (a *Account) Estimate(s *State) Estimate {
	w := clerk{a, s, nil}
	t, f := &a.tank, &s.Base
	scale := s.Supply.Base.Scale
	usual := w.usual()
	e := Estimate{At: s.At, FillL: scale * t.bandL * f.X[band], MissingL: scale * f.X[deficit]}
	e.InLDay, e.InSD = w.jug(w.demandLDay(f), w.demandSD(f))
	e.ExpectedLDay, _ = w.jug(usual.DemandLDay, 0)
	air := s.PredictedLDay * usual.Air
	half := ninety * scale * math.Hypot(math.Sqrt(s.Weather.Var)*air, s.PredictedLDay*f.sd(evap))
	e.ExpectedLowL, e.ExpectedHiL = max(e.ExpectedLDay-half, 0), e.ExpectedLDay+half
	e.LeakLDay, e.LeakSD = w.jug(f.X[leak], f.sd(leak))
	perL := f.X[salt] * scale / t.systemL
	e.SalinityPSU = f.X[salt] + perL*f.X[deficit]
	e.SalinitySD = math.Hypot(f.sd(salt), perL*f.sd(deficit))
	perMin := scale * t.flowLDay / minutesPerDay
	e.FlowLMin, e.FlowSD = perMin*f.X[flow], math.Hypot(perMin*f.sd(flow), perMin*f.X[flow]*math.Sqrt(s.Supply.Base.ScaleVar)/scale)
	if p := &s.Supply; p.Known && t.reservoirL > 0 {
		e.ReservoirKnown, e.ReservoirL = true, max(p.LeftL, 0)
		e.DaysLeftLow, e.DaysLeft, e.DaysLeftHigh = w.supplyDays()
	}
	return e
}
