package verify

import (
	"cmp"
	"math"
	"slices"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/site"
)

// atLeast is how long every combination runs unattended.
const atLeast = 30 * 24 * time.Hour

// horizon is how long a site's faults run.
func horizon(s *site.Site) time.Duration {
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

// try runs one combination in one season and judges it. Pairs need not go on
// once all is lost.
func (b *bench) try(season int, faults []plant.Fault) Row {
	s := b.site
	sc := plant.Scenario{Conditions: conditionsOf(b.twins[season], faults), Length: horizon(s)}
	if len(faults) > 1 {
		sc.StopAt = plant.Loss
	}
	result := b.onsets[season].Run(sc)
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
	return row
}

// alike says whether a run did to animals and floor what the healthy system
// does, within what anybody could notice.
func alike(o, healthy *plant.Outcome) bool {
	const noticedPSU = 0.1
	near := func(a, b, within float64) bool { return math.Abs(a-b) < within }
	return o.Class() <= healthy.Class() && o.LatchedAt == healthy.LatchedAt &&
		near(o.LowPSU, healthy.LowPSU, noticedPSU) && near(o.HighPSU, healthy.HighPSU, noticedPSU) &&
		near(o.HourPSU, healthy.HourPSU, noticedPSU) &&
		near(o.FloorTotalM3(), healthy.FloorTotalM3(), noticedM3) &&
		near(float64(o.PumpDry-healthy.PumpDry), 0, float64(time.Minute)) &&
		near(float64(o.ReturnDry-healthy.ReturnDry), 0, float64(time.Minute))
}

var finders = map[plant.Finder]Finder{plant.Nobody: Nobody, plant.ByAlarm: ByAlarm, plant.ByVisit: ByVisit}

// stoppedBy names the first automatic barrier that acted before a person came.
func stoppedBy(s *site.Site, row *Row) Barrier {
	o := &row.Outcome
	if row.Unattended == plant.NoHarm || row.Unnoticed {
		return NoNeed
	}
	first, at := NoBarrier, plant.NotReached
	consider := func(b Barrier, t time.Duration) {
		if t < at {
			first, at = b, t
		}
	}
	consider(latchBarrier(o.LatchReason), o.LatchedAt)
	consider(BudgetBarrier, o.BudgetAt)
	freshened := o.LowPSU < s.Water.SalinityPSU-s.Limits.SalinityOffPSU[0] || o.FloorTotalM3() > 0
	if freshened {
		consider(EmptyBarrier, o.EmptyAt)
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
