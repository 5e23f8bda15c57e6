package verify

import (
	"cmp"
	"math"
	"slices"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
)

// atLeast is how long every combination runs unattended.
const atLeast = 30 * 24 * time.Hour

// horizon is how long a tank's faults run.
func horizon(s *tankfile.Tank) time.Duration {
	return max(atLeast, seconds(s.People.DaysBetweenVisits*day.Seconds()))
}

// conditionsOf puts faults together.
func conditionsOf(tw *plant.Twin, faults []plant.Fault) plant.Conditions {
	c := plant.Healthy()
	for _, f := range faults {
		f.Apply(tw, &c)
	}
	return c
}

// lateAfter is how long after the other fault of a pair an interruption may
// come: half a day, when the other has done its work and is not yet found.
const lateAfter = 12 * time.Hour

// try runs one combination in one season and judges it.
func (b *bench) try(season int, faults []plant.Fault) Row {
	row, _ := b.worstWay(season, faults)
	return row
}

// worstWay tries every way in which a combination may come about, and returns
// the worst of them. An interruption that meets another fault is tried together
// with it and late: a power cut on a full sump does what it does not on one that
// is still filling.
func (b *bench) worstWay(season int, faults []plant.Fault) (Row, plant.Scenario) {
	way := b.scenario(season, faults)
	row := b.judged(season, faults, way)
	if len(faults) < 2 {
		return row, way
	}
	for i, f := range faults {
		alone := conditionsOf(b.twins[season], []plant.Fault{f})
		if !once(alone.PowerOff) && !once(alone.ReturnOff) {
			continue
		}
		both := b.scenario(season, faults)
		sc := both
		sc.Conditions = conditionsOf(b.twins[season], []plant.Fault{faults[1-i]})
		sc.Later = []plant.Later{{After: lateAfter, Conditions: both.Conditions}}
		if late := b.judged(season, faults, sc); worse(late, row) < 0 {
			row, way = late, sc
		}
	}
	return row, way
}

// once says whether an interruption comes one time only. One that comes again
// and again meets the other fault at every hour by itself.
func once(p plant.Pulse) bool { return p.On > 0 && p.Period == 0 }

// scenario is a combination begun all at once. Pairs need not go on once all is
// lost.
func (b *bench) scenario(season int, faults []plant.Fault) plant.Scenario {
	sc := plant.Scenario{Conditions: conditionsOf(b.twins[season], faults), Length: horizon(b.tank)}
	if len(faults) > 1 {
		sc.StopAt = plant.Loss
	}
	return sc
}

func (b *bench) judged(season int, faults []plant.Fault, sc plant.Scenario) Row {
	s := b.tank
	result := b.onsets[season].Run(sc)
	b.tankDays.Add(int64(result.Alone.Length / day))
	row := Row{
		Faults: faults, Season: s.Room.Seasons[season].Name,
		Outcome: result.Attended, Alone: result.Alone,
		FoundBy: finders[result.FoundBy], FoundAfter: result.FoundAt,
		Class: result.Attended.Class(), Unattended: result.Alone.Class(),
	}
	row.HarmAfter = row.Outcome.ReachedAt[row.Class]
	row.AloneAfter = row.Alone.ReachedAt[row.Unattended]
	row.Unnoticed = len(faults) > 0 && alike(&result.Alone, &b.healthy[season].Alone)
	row.StoppedBy = stoppedBy(s, &row)
	row.OfDanger = dangerShare(s, &row.Outcome, &b.healthy[season].Alone)
	return row
}

// dangerShare is the outcome as a share of class 3's nearest border. For pH it is a
// share of the way there from where the healthy system goes.
func dangerShare(s *tankfile.Tank, o, healthy *plant.Outcome) float64 {
	const danger = plant.Danger - 1
	off := func(low, high, target float64) float64 { return max(target-low, high-target) }
	way := func(from, to, border float64) float64 {
		if from == border || math.Signbit(border-from) != math.Signbit(to-from) {
			return 0 // the other way
		}
		return (to - from) / (border - from)
	}
	return max(
		off(o.LowPSU, o.HighPSU, s.Water.SalinityPSU)/s.Limits.SalinityOffPSU[danger],
		o.HourPSU/s.Limits.SalinityHourPSU[danger],
		off(o.LowDKH, o.HighDKH, s.Water.AlkalinityDKH)/plant.AlkalinityOffDKH[danger],
		o.DayDKH/plant.AlkalinityDayDKH[danger],
		way(healthy.HighPH, o.HighPH, plant.HighPH[danger]), way(healthy.LowPH, o.LowPH, plant.LowPH[danger]),
		o.FloorTotalM3()/s.Limits.FloorM3[danger], o.ReturnDry.Hours()/plant.StarvedDanger.Hours())
}

// alike says whether a run did to animals and floor what the healthy system
// does, within what anybody could notice.
func alike(o, healthy *plant.Outcome) bool {
	const noticedPSU, noticedPH = 0.1, 0.05
	near := func(a, b, within float64) bool { return math.Abs(a-b) < within }
	return o.Class() <= healthy.Class() && o.LatchedAt == healthy.LatchedAt &&
		near(o.LowPSU, healthy.LowPSU, noticedPSU) && near(o.HighPSU, healthy.HighPSU, noticedPSU) &&
		near(o.HourPSU, healthy.HourPSU, noticedPSU) &&
		near(o.LowDKH, healthy.LowDKH, noticedDKH) && near(o.HighDKH, healthy.HighDKH, noticedDKH) &&
		near(o.LowPH, healthy.LowPH, noticedPH) && near(o.HighPH, healthy.HighPH, noticedPH) &&
		near(o.FloorTotalM3(), healthy.FloorTotalM3(), noticedM3) &&
		near(float64(o.PumpDry-healthy.PumpDry), 0, float64(time.Minute)) &&
		near(float64(o.ReturnDry-healthy.ReturnDry), 0, float64(time.Minute))
}

var finders = map[plant.Finder]Finder{plant.Nobody: Nobody, plant.ByAlarm: ByAlarm, plant.ByVisit: ByVisit}

// flowEnds is how soon after a barrier acted the flow must have ended for the
// barrier to have ended it.
const flowEnds = time.Minute

// stoppedBy names what kept too much water from coming, if anything did. Where
// too little comes, a latch is no barrier: only a person helps.
func stoppedBy(s *tankfile.Tank, row *Row) Barrier {
	o := &row.Outcome
	if row.Unattended == plant.NoHarm || row.Unnoticed {
		return NoNeed
	}
	tooMuch := o.LowPSU < s.Water.SalinityPSU-s.Limits.SalinityOffPSU[0] ||
		o.HighDKH > s.Water.AlkalinityDKH+plant.AlkalinityOffDKH[0] || o.HighPH > plant.HighPH[0]
	first, at := NoBarrier, plant.NotReached
	consider := func(b Barrier, t time.Duration) {
		if b != NoBarrier && t < at && o.FlowEndedAt <= t+flowEnds {
			first, at = b, t
		}
	}
	if o.PumpDry < flowEnds || !tooMuch && o.FloorTotalM3() == 0 {
		consider(latchBarrier(o.LatchReason), o.LatchedAt)
		consider(BudgetBarrier, o.BudgetAt)
		consider(TimerBarrier, o.RunTimerAt)
	}
	if tooMuch || o.FloorTotalM3() > 0 {
		consider(EmptyBarrier, o.EmptyAt)
	} else if o.HighPSU >= s.Water.SalinityPSU+s.Limits.SalinityOffPSU[0] || o.ReturnDry >= flowEnds {
		first = NoBarrier
	}
	if first == NoBarrier && row.FoundBy != Nobody {
		return PersonBarrier
	}
	return first
}

func latchBarrier(r guard.Reason) Barrier {
	switch r {
	case guard.CeilingWet:
		return CeilingBarrier
	case guard.FloorWet:
		return FloorBarrier
	case guard.RunLimit:
		return RunLimitBarrier
	case guard.LevelNotAnswering:
		return GaugeBarrier
	case guard.CeilingWetWatchDry:
		return SenseBarrier
	}
	return NoBarrier
}

// worse orders rows: the more harm, the sooner, the more water.
func worse(a, b Row) int {
	return cmp.Or(
		cmp.Compare(b.Class, a.Class),
		cmp.Compare(b.Unattended, a.Unattended),
		cmp.Compare(a.HarmAfter, b.HarmAfter),
		cmp.Compare(b.Outcome.FloorTotalM3(), a.Outcome.FloorTotalM3()),
		cmp.Compare(a.ID(), b.ID()),
	)
}

func rank(rows []Row) { slices.SortStableFunc(rows, worse) }
