package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// standing is what the harm classes are read from, at one instant.
type standing struct {
	at                 time.Duration // since the onset
	animals            water
	floorM3            float64
	pumpDry, returnDry time.Duration
}

func (r *run) standing() standing {
	return standing{
		at: r.segment.since - r.onset, animals: r.animals(), floorM3: counted(r.floorM3),
		pumpDry: r.out.PumpDry, returnDry: r.out.ReturnDry,
	}
}

// observe keeps the outcome's extremes after a segment.
func (r *run) observe(before standing) {
	o, since := &r.out, r.now-r.onset
	after := before
	after.at, after.animals, after.floorM3 = since, r.animals(), counted(r.floorM3)
	if at, ok := r.mixedSoon(); ok {
		r.taste(at, r.segment.mixed)
	}
	r.taste(since, after.animals)
	o.HighChamberM, o.LowChamberM = max(o.HighChamberM, r.chamberM3), min(o.LowChamberM, r.chamberM3)
	step := r.now - r.segment.since
	if r.pumpPowered && hasReservoir(r.tw.tank) && !r.segment.governors.source {
		o.PumpDry += step
	}
	if r.segment.governors.starved || r.segment.governors.halted {
		o.ReturnDry += step
	}
	after.pumpDry, after.returnDry = o.PumpDry, o.ReturnDry
	if r.segment.topOff > 0 {
		o.FlowEndedAt = since
	}
	if o.EmptyAt == never && hasReservoir(r.tw.tank) && r.reservoirM3 <= r.tw.reservoirIntakeM3+fullWithin {
		o.EmptyAt = since
	}
	for c := o.Class() + 1; c <= Loss; c++ {
		if t := r.reached(c, before, after); t != never {
			o.reach(c, t)
		} else if c > Nuisance {
			break
		}
	}
}

// taste takes the animals' water at a time since the onset into the outcome.
func (r *run) taste(since time.Duration, w water) {
	o := &r.out
	o.LowPSU, o.HighPSU = min(o.LowPSU, w.psu), max(o.HighPSU, w.psu)
	o.LowDKH, o.HighDKH = min(o.LowDKH, w.dkh), max(o.HighDKH, w.dkh)
	o.HourPSU = max(o.HourPSU, math.Abs(w.psu-r.hour.ago(since, w).psu))
	dayAgo := r.day.ago(since, w)
	o.DayDKH = max(o.DayDKH, math.Abs(w.dkh-dayAgo.dkh))
	if settled, closed := rankOf(w, dayAgo); r.settled.reaches(settled, quietSettled) || r.closed.reaches(closed, quietClosed) {
		r.gaugePH(w, dayAgo)
	}
}

// reach is how far something has gone either way.
type reach struct{ low, high float64 }

func (s *reach) reaches(v, further float64) bool { return v < s.low-further || v > s.high+further }
func (s *reach) include(v float64)               { s.low, s.high = min(s.low, v), max(s.high, v) }

// gaugePH works out pH, which takes far longer than all else in a segment, so
// it is done only where the water goes further than before. Water that
// carbonate cannot answer for, such as a sump that has dried out, leaves the
// outcome as it is.
func (r *run) gaugePH(w, dayAgo water) {
	rankSettled, rankClosed := rankOf(w, dayAgo)
	r.settled.include(rankSettled)
	r.closed.include(rankClosed)
	closed, settled, ok := r.tw.chemistry.states(w, dayAgo)
	if !ok {
		return
	}
	o := &r.out
	o.LowPH = min(o.LowPH, closed.PHTotal, settled.PHTotal)
	o.HighPH = max(o.HighPH, closed.PHTotal, settled.PHTotal)
	o.HighOmega = max(o.HighOmega, closed.OmegaAragonite, settled.OmegaAragonite)
}

// mixedTimes is how many time constants of the mixing make display and chamber
// one water.
const mixedTimes = 4

// mixedSoon is when display and chamber became one water early in a long
// segment. A fill leaves the chamber fresher than the display; once
// they have mixed the display stands lowest, and evaporation lifts it from
// there, so neither end of the segment shows it.
func (r *run) mixedSoon() (at time.Duration, ok bool) {
	s := &r.segment
	both := min(s.returned, s.overflowed)
	if both <= 0 || s.at.displayM3 <= 0 || s.at.chamberM3 <= 0 {
		return 0, false
	}
	after := seconds(mixedTimes / (both * (1/s.at.displayM3 + 1/s.at.chamberM3)))
	if after >= r.now-s.since {
		return 0, false
	}
	return s.since - r.onset + after, true
}

// reach notes that a class began, and with it every class below.
func (o *Outcome) reach(c Class, t time.Duration) {
	for ; c > NoHarm; c-- {
		o.ReachedAt[c] = min(o.ReachedAt[c], t)
	}
}

// reached is when between two instants a class began; never if it did not.
func (r *run) reached(c Class, before, after standing) time.Duration {
	l := &r.tw.tank.Limits
	i := int(c) - 1
	first := never
	passes := func(from, to, limit float64) {
		if to < limit {
			return
		}
		t := before.at
		if from < limit {
			t += time.Duration(float64(after.at-before.at) * (limit - from) / (to - from))
		}
		first = min(first, t)
	}
	from, to := before.animals.minus(r.tw.target), after.animals.minus(r.tw.target)
	passes(math.Abs(from.psu), math.Abs(to.psu), l.SalinityOffPSU[i])
	passes(math.Abs(from.dkh), math.Abs(to.dkh), AlkalinityOffDKH[i])
	passes(before.floorM3, after.floorM3, l.FloorM3[i])
	o := &r.out
	if o.HourPSU >= l.SalinityHourPSU[i] || o.DayDKH >= AlkalinityDayDKH[i] || o.HighPH >= HighPH[i] || o.LowPH <= LowPH[i] {
		first = min(first, after.at)
	}
	dry := func(from, to, limit time.Duration) { passes(float64(from), float64(to), float64(limit)) }
	switch c {
	case Nuisance:
		dry(before.pumpDry, after.pumpDry, pumpDryNuisance)
		dry(before.returnDry, after.returnDry, starvedNuisance)
	case Stress:
		dry(before.returnDry, after.returnDry, starvedStress)
	case Danger:
		dry(before.returnDry, after.returnDry, StarvedDanger)
	}
	return first
}

// jolted keeps the outcome's extremes after a change that took no time.
func (r *run) jolted() {
	if !r.onsetDone {
		return
	}
	since, w := r.now-r.onset, r.animals()
	r.hour.jump(since, w)
	r.day.jump(since, w)
	r.taste(since, w)
	// The classes follow at the segment's end, which reads the outcome.
}

// hear notes the guard's alarms as they come.
func (r *run) hear() {
	o, since := &r.out, r.now-r.onset
	if r.guardOut.Alarms == 0 || !r.onsetDone {
		return
	}
	if o.AlarmAt == never {
		o.AlarmAt, o.Alarms = since, r.guardOut.Alarms
		o.reach(Nuisance, since)
		r.alarmCalls()
	}
	if o.LatchedAt == never && r.guardState.Phase == guard.Latched {
		o.LatchedAt, o.LatchReason = since, r.guardOut.Reason
	}
	if o.BudgetAt == never && r.guardOut.Alarms.Has(guard.BudgetSpent) {
		o.BudgetAt = since
	}
}
