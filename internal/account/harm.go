package account

import (
	"math"
	"time"
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
func (w *clerk) harm(r *Record) (class int, in time.Duration) {
	s, t := w.s, &w.tank
	demand := s.Supply.Base.Scale * w.demandLDay(&s.Base)
	switch r.Code {
	case TankLeak:
		lost := max(r.Amount, worthLeakFrac*t.systemL)
		floor := days(t.limits.FloorM3[danger-1]*litresPerM3/lost) - s.Done.Sub(r.Since)
		return w.soonest(danger, max(floor, 0), w.untilOff(lost))
	case SalinityCreeping:
		return w.soonest(stress, w.untilOff(max(math.Abs(r.Amount), worthLeakFrac*t.systemL)))
	case FreshLeak:
		if r.Subject == byFloor {
			return danger, 0
		}
		lost := max(r.Amount, leastElsewhereFrac*demand)
		return w.soonest(danger, max(days(t.limits.FloorM3[danger-1]*litresPerM3/lost)-s.Done.Sub(r.Since), 0))
	case DemandChanged:
		if r.Amount <= 0 {
			return 0, never
		}
		return w.soonest(stress, w.untilOff(r.Amount)) // as if it were a leak
	case PumpSeized, TopOffOverdue, WatchStuck:
		return w.soonest(danger, w.untilDry(0))
	case ReservoirEmptyBy:
		return w.soonest(danger, w.untilDry(days(r.Amount)))
	case EndlessFill:
		return w.flood(r)
	case EvaporationChanged:
		return 0, never
	}
	return 1, never
}

// soonest is the first of several ways to class 3; the class is less if none is
// near.
func (w *clerk) soonest(class int, ways ...time.Duration) (int, time.Duration) {
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
func (w *clerk) untilOff(lostLDay float64) time.Duration {
	t := &w.tank
	now := w.s.Base.X[salt]
	least := t.targetPSU - t.limits.SalinityOffPSU[danger-1]
	if now <= least || least <= 0 {
		return 0
	}
	// d(salt)/dt = -lost salt/V.
	return days(math.Log(now/least) * t.systemL / lostLDay)
}

// untilDry is when a tank without top-off comes to class 3: salt too strong, or
// the return pump starved for too long.
func (w *clerk) untilDry(from time.Duration) time.Duration {
	t := &w.tank
	scale := w.s.Supply.Base.Scale
	demand := scale * max(w.demandLDay(&w.s.Base), leastUseFrac*t.thirst.usualLDay)
	missing := scale * max(w.s.Base.X[deficit], 0)
	most := t.targetPSU + t.limits.SalinityOffPSU[danger-1]
	strong := t.systemL * (1 - w.s.Base.X[salt]/most)
	first := days(max(strong-missing, 0) / demand)
	if t.reserveL > 0 {
		first = min(first, days(max(t.reserveL-missing, 0)/demand)+starved)
	}
	return from + first
}

// flood is what a fill without end does: as much as the source has.
func (w *clerk) flood(r *Record) (class int, in time.Duration) {
	s, t := w.s, &w.tank
	l := &t.limits
	has := math.Inf(1)
	if !t.endless {
		has = t.reservoirL
		if s.Supply.Known {
			has = max(s.Supply.LeftL, 0)
		}
	}
	scale := s.Supply.Base.Scale
	perDay := max(scale*t.flowLDay*s.Base.X[flow], 1)
	// Fresh litres over the deficit that dilute the tank by so much, or spill.
	litres := func(c int) float64 {
		dilute := t.systemL * l.SalinityOffPSU[c-1] / max(s.Base.X[salt]-l.SalinityOffPSU[c-1], 1)
		spill := t.marginL + l.FloorM3[c-1]*litresPerM3
		return max(min(dilute, spill), 0) + scale*max(s.Base.X[deficit], 0)
	}
	class = 1
	for c := stress; c <= loss && litres(c) <= has; c++ {
		class = c
	}
	if class < danger {
		return class, never
	}
	return class, days(litres(danger) / perDay)
}
