package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// standing is what the harm classes are read from, at one instant.
type standing struct {
	at                 time.Duration // since the onset
	psu, floorM3       float64
	pumpDry, returnDry time.Duration
}

func (r *run) standing() standing {
	return standing{
		at: r.segment.since - r.onset, psu: r.animalsPSU(), floorM3: counted(r.floorM3),
		pumpDry: r.out.PumpDry, returnDry: r.out.ReturnDry,
	}
}

// observe keeps the outcome's extremes after a segment.
func (r *run) observe(before standing) {
	o, since := &r.out, r.now-r.onset
	after := before
	after.at, after.psu, after.floorM3 = since, r.animalsPSU(), counted(r.floorM3)
	if mixed, at, ok := r.mixedSoon(); ok {
		o.LowPSU, o.HighPSU = min(o.LowPSU, mixed), max(o.HighPSU, mixed)
		o.HourPSU = max(o.HourPSU, r.hour.change(at, mixed))
	}
	o.LowPSU, o.HighPSU = min(o.LowPSU, after.psu), max(o.HighPSU, after.psu)
	o.HighChamberM, o.LowChamberM = max(o.HighChamberM, r.chamberM3), min(o.LowChamberM, r.chamberM3)
	o.HourPSU = max(o.HourPSU, r.hour.change(since, after.psu))
	step := r.now - r.segment.since
	if r.pumpPowered && hasReservoir(r.tw.site) && !r.segment.governors.source {
		o.PumpDry += step
	}
	if r.segment.governors.starved || r.segment.governors.halted {
		o.ReturnDry += step
	}
	after.pumpDry, after.returnDry = o.PumpDry, o.ReturnDry
	if r.segment.topOff > 0 {
		o.FlowEndedAt = since
	}
	if o.EmptyAt == never && hasReservoir(r.tw.site) && r.reservoirM3 <= r.tw.reservoirIntakeM3+fullWithin {
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

// mixedTimes is how many time constants of the mixing make display and chamber
// one water.
const mixedTimes = 4

// mixedSoon is the salinity that display and chamber came to early in a long
// segment, and when. A fill leaves the chamber fresher than the display; once
// they have mixed the display stands lowest, and evaporation lifts it from
// there, so neither end of the segment shows it.
func (r *run) mixedSoon() (psu float64, at time.Duration, ok bool) {
	s := &r.segment
	both := min(s.returned, s.overflowed)
	if both <= 0 || s.at.displayM3 <= 0 || s.at.chamberM3 <= 0 {
		return 0, 0, false
	}
	after := seconds(mixedTimes / (both * (1/s.at.displayM3 + 1/s.at.chamberM3)))
	if after >= r.now-s.since {
		return 0, 0, false
	}
	return s.mixedPSU, s.since - r.onset + after, true
}

// reach notes that a class began, and with it every class below.
func (o *Outcome) reach(c Class, t time.Duration) {
	for ; c > NoHarm; c-- {
		o.ReachedAt[c] = min(o.ReachedAt[c], t)
	}
}

// reached is when between two instants a class began; never if it did not.
func (r *run) reached(c Class, before, after standing) time.Duration {
	l := &r.tw.site.Limits
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
	target := r.tw.targetPSU
	passes(math.Abs(before.psu-target), math.Abs(after.psu-target), l.SalinityOffPSU[i])
	passes(before.floorM3, after.floorM3, l.FloorM3[i])
	if r.out.HourPSU >= l.SalinityHourPSU[i] {
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
	o, psu := &r.out, r.animalsPSU()
	since := r.now - r.onset
	o.LowPSU, o.HighPSU = min(o.LowPSU, psu), max(o.HighPSU, psu)
	o.HourPSU = max(o.HourPSU, r.hour.jump(since, psu))
	// The classes follow at the segment's end, which reads the hour's change.
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

// hourWindow remembers the last hour of salinity, thinned.
type hourWindow struct {
	at         [hourWindowSize]time.Duration
	psu        [hourWindowSize]float64
	head, tail int // newest, oldest: indices that only grow
}

const (
	hourWindowSize = 128
	hourSpacing    = time.Hour / (hourWindowSize - 8)
)

func (w *hourWindow) reset(now time.Duration, psu float64) {
	w.head, w.tail = 0, 0
	w.at[0], w.psu[0] = now, psu
}

// jump adds a reading that follows the last at once, and returns how far it is
// from an hour earlier.
func (w *hourWindow) jump(now time.Duration, psu float64) float64 {
	was := w.change(now, w.psu[w.head%hourWindowSize])
	w.push(now, psu)
	return max(was, w.change(now, psu))
}

func (w *hourWindow) push(now time.Duration, psu float64) {
	if w.head-w.tail == hourWindowSize-1 {
		w.tail++
	}
	w.head++
	j := w.head % hourWindowSize
	w.at[j], w.psu[j] = now, psu
}

// change adds a reading and returns how far it is from an hour earlier, or
// from the beginning if that is nearer.
func (w *hourWindow) change(now time.Duration, psu float64) float64 {
	from := now - time.Hour
	for w.tail < w.head && w.at[(w.tail+1)%hourWindowSize] <= from {
		w.tail++
	}
	i := w.tail % hourWindowSize
	old := w.psu[i]
	if w.at[i] < from {
		// The oldest is more than an hour old: walk the line to the hour.
		nextAt, nextPSU := now, psu
		if w.tail < w.head {
			j := (w.tail + 1) % hourWindowSize
			nextAt, nextPSU = w.at[j], w.psu[j]
		}
		if nextAt > w.at[i] {
			old += (nextPSU - old) * float64(from-w.at[i]) / float64(nextAt-w.at[i])
		}
	}
	if now-w.at[w.head%hourWindowSize] >= hourSpacing {
		w.push(now, psu)
	}
	return math.Abs(psu - old)
}
