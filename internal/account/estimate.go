package account

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/reservoir"
)

const minutesPerDay = 1440.0

// Estimate is the account as it is at one moment, for a page or a report. Litres are
// true litres, as a measuring jug has them, also those a day and a minute; fields that
// end in SD are one standard deviation in the unit of the field before.
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

// Estimate returns what the state says. It changes nothing.
func (a *Account) Estimate(s *State) Estimate {
	t, b, p := &a.tank, &s.Base, &s.Reservoir
	u := a.update(s)
	scale := p.Base.Scale
	demand, sd := u.Demand()
	usual := u.UsualLevels()
	e := Estimate{At: s.At, FillL: scale * t.BandL * b.X[belief.Band], MissingL: scale * b.X[belief.Deficit]}
	e.InLDay, e.InSD = p.Base.Litres(demand, sd)
	e.ExpectedLDay, _ = p.Base.Litres(usual.DemandLDay, 0)
	air := s.PredictedLDay * usual.Air
	half := reservoir.NinetySigmas * scale * math.Hypot(math.Sqrt(s.Weather.Var)*air, s.PredictedLDay*b.SD(belief.Evaporation))
	e.ExpectedLowL, e.ExpectedHiL = max(e.ExpectedLDay-half, 0), e.ExpectedLDay+half
	e.LeakLDay, e.LeakSD = p.Base.Litres(b.X[belief.Leak], b.SD(belief.Leak))
	perL := b.X[belief.Salt] * scale / t.SystemL
	e.SalinityPSU = b.X[belief.Salt] + perL*b.X[belief.Deficit]
	e.SalinitySD = math.Hypot(b.SD(belief.Salt), perL*b.SD(belief.Deficit))
	perMin := scale * t.FlowLDay / minutesPerDay
	flow, flowSD := b.X[belief.Flow], b.SD(belief.Flow)
	e.FlowLMin, e.FlowSD = perMin*flow, math.Hypot(perMin*flowSD, perMin*flow*math.Sqrt(p.Base.ScaleVar)/scale)
	if p.Known && t.Reservoir.CapacityL > 0 {
		e.ReservoirKnown, e.ReservoirL = true, max(p.LeftL, 0)
		e.DaysLeftLow, e.DaysLeft, e.DaysLeftHigh = p.DaysLeft(&t.Reservoir, demand, sd, t.LeastUseLDay())
	}
	return e
}
