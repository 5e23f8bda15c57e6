package words

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/reservoir"
)

// never is a harm that does not come.
const never = time.Duration(-1)

const (
	stress = 2 // harm classes: animals stressed
	danger = 3 // animals at risk, or a wet floor
	loss   = 4
)

const (
	// starved is how long animals live without circulation once the return pump
	// draws air. Common practice, no source.
	starved = 48 * time.Hour
	// farHarm: what would take longer is not foreseen.
	farHarm = 90 * 24 * time.Hour
)

// harm is the class that a finding leads to if nobody acts, and how long until
// class 3.
func (w *telling) harm(r *finding.Record) (class int, in time.Duration) {
	t := w.Tank
	demand := w.Reservoir.Base.Scale * w.DemandLDay(w.Tank)
	switch r.Code {
	case finding.TankLeak:
		lost := max(r.Amount, t.LeastLeakLDay())
		floor := design.Days(t.Limits.FloorM3[danger-1]*design.LitresPerM3/lost) - w.Done.Sub(r.Since)
		return w.soonest(danger, max(floor, 0), w.untilOff(lost))
	case finding.SalinityCreeping:
		return w.soonest(stress, w.untilOff(max(math.Abs(r.Amount), t.LeastLeakLDay())))
	case finding.FreshLeak:
		if r.Subject == finding.ByFloor {
			return danger, 0
		}
		lost := max(r.Amount, reservoir.LeastElsewhereFrac*demand)
		return w.soonest(danger, max(design.Days(t.Limits.FloorM3[danger-1]*design.LitresPerM3/lost)-w.Done.Sub(r.Since), 0))
	case finding.DemandChanged:
		if r.Amount <= 0 {
			return 0, never
		}
		return w.soonest(stress, w.untilOff(r.Amount)) // as if it were a leak
	case finding.PumpSeized, finding.TopOffOverdue, finding.WatchStuck:
		return w.soonest(danger, w.untilDry(0))
	case finding.ReservoirEmptyBy:
		return w.soonest(danger, w.untilDry(design.Days(r.Amount)))
	case finding.EndlessFill:
		return w.flood(r)
	case finding.EvaporationChanged:
		return 0, never
	}
	return 1, never
}

// soonest is the first of several ways to class 3; the class is less if none is
// near.
func (w *telling) soonest(class int, ways ...time.Duration) (int, time.Duration) {
	first := never
	for _, way := range ways {
		if way >= 0 && way < farHarm && (first < 0 || way < first) {
			first = way
		}
	}
	switch {
	case first >= 0:
		return danger, first
	case class > stress:
		return stress, never
	}
	return class, never
}

// untilOff is when salt water leaving at a rate, with fresh water replacing it,
// takes salinity to class 3.
func (w *telling) untilOff(lostLDay float64) time.Duration {
	t := w.Tank
	now := w.Belief.X[belief.Salt]
	least := t.TargetPSU - t.Limits.SalinityOffPSU[danger-1]
	if now <= least || least <= 0 {
		return 0
	}
	// d(salt)/dt = -lost salt/V.
	return design.Days(math.Log(now/least) * t.SystemL / lostLDay)
}

// untilDry is when a tank without top-off comes to class 3: salt too strong, or
// the return pump starved for too long.
func (w *telling) untilDry(from time.Duration) time.Duration {
	t := w.Tank
	scale := w.Reservoir.Base.Scale
	demand := scale * max(w.DemandLDay(w.Tank), t.LeastUseLDay())
	missing := scale * max(w.Belief.X[belief.Deficit], 0)
	most := t.TargetPSU + t.Limits.SalinityOffPSU[danger-1]
	strong := t.SystemL * (1 - w.Belief.X[belief.Salt]/most)
	first := design.Days(max(strong-missing, 0) / demand)
	if t.ReserveL > 0 {
		first = min(first, design.Days(max(t.ReserveL-missing, 0)/demand)+starved)
	}
	return from + first
}

// flood is what a fill without end does: as much as the source has.
func (w *telling) flood(r *finding.Record) (class int, in time.Duration) {
	t := w.Tank
	l := &t.Limits
	has := math.Inf(1)
	if !t.Reservoir.Endless {
		has = t.Reservoir.CapacityL
		if w.Reservoir.Known {
			has = max(w.Reservoir.LeftL, 0)
		}
	}
	scale := w.Reservoir.Base.Scale
	perDay := max(scale*t.FlowLDay*w.Belief.X[belief.Flow], 1)
	// Fresh litres over the deficit that dilute the tank by so much, or spill.
	litres := func(c int) float64 {
		dilute := t.SystemL * l.SalinityOffPSU[c-1] / max(w.Belief.X[belief.Salt]-l.SalinityOffPSU[c-1], 1)
		spill := t.MarginL + l.FloorM3[c-1]*design.LitresPerM3
		return max(min(dilute, spill), 0) + scale*max(w.Belief.X[belief.Deficit], 0)
	}
	class = 1
	for c := stress; c <= loss && litres(c) <= has; c++ {
		class = c
	}
	if class < danger {
		return class, never
	}
	return class, design.Days(litres(danger) / perDay)
}
