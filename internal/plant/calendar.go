package plant

import (
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/tankfile"
)

// calendar is what comes by the clock.
type calendar struct {
	visit, change, reboot time.Duration
	hand                  time.Duration // when somebody tops off by hand
	mixed                 time.Duration // when that water has gone round
	find                  time.Duration // when the alarm's answer arrives
}

var emptyCalendar = calendar{visit: never, change: never, reboot: never, hand: never, mixed: never, find: never}

// mixedAfter is when a bucket has gone round: most return pumps turn a tank over
// several times an hour (common practice, no source).
const mixedAfter = time.Hour

func days(d float64) time.Duration { return time.Duration(d * float64(day)) }

func (c *calendar) begin(s *tankfile.Tank, onset time.Duration) {
	*c = emptyCalendar
	if d := s.People.DaysBetweenVisits; d > 0 {
		c.visit = onset + days(d)
	}
	if w := s.WaterChange; w != nil {
		c.change = onset + days(w.EveryDays)
	}
}

// followCalendar does what is due at this instant.
func (r *run) followCalendar() {
	if len(r.later) > 0 && r.now >= r.onset+r.later[0].After {
		r.settle()
		r.change(r.later[0].Conditions)
		r.later = r.later[1:]
	}
	since := r.now - r.since
	powered := !r.cond.PowerOff.activeAt(since)
	if powered && !r.powered && r.tw.setup.Guard != nil {
		if r.frozen { // starting again ends a hang
			r.frozen = false
			r.cond.Controller = Running
		}
		r.powered = true
		r.bootGuard(r.guardState)
	}
	r.powered = powered
	if r.now >= r.calendar.reboot {
		r.bootGuard(r.guardState)
		r.calendar.reboot += RebootPeriod
	}
	returnRuns := r.tw.tank.HasSump() && powered && !r.cond.ReturnOff.activeAt(since) && !r.floorStopsReturn()
	if returnRuns != r.returnRuns {
		r.returnRuns = returnRuns
		r.guardStale = true
		r.returnSiphons = !returnRuns
		r.mode = moving
	}
	if r.now >= r.calendar.find {
		r.calendar.find = never
		r.finds(ByAlarm)
	}
	if r.now >= r.calendar.visit {
		r.visit()
		r.calendar.visit += days(r.tw.tank.People.DaysBetweenVisits)
	}
	if r.now >= r.calendar.hand {
		r.settle()
		r.topOffByHand()
		r.calendar.hand += r.cond.HandEvery
		r.calendar.mixed = r.now + mixedAfter
	}
	if r.now >= r.calendar.mixed {
		r.settle() // so that the change is seen for as sudden as it was
		r.calendar.mixed = never
	}
	if r.now >= r.calendar.change {
		r.settle()
		r.changeWater()
		r.calendar.change += days(r.tw.tank.WaterChange.EveryDays)
	}
}

func (r *run) floorStopsReturn() bool {
	c := r.tw.tank.Controller
	return c != nil && c.StopsReturnOnFloor && r.guardIn.Floor == guard.Wet && !r.frozen
}

// nextCalendarEvent is the next instant at which followCalendar has something to do.
func (r *run) nextCalendarEvent() time.Duration {
	t := min(r.end, r.calendar.visit, r.calendar.change, r.calendar.reboot, r.calendar.hand, r.calendar.mixed, r.calendar.find)
	if len(r.later) > 0 {
		t = min(t, r.onset+r.later[0].After)
	}
	since := r.now - r.since
	if n := r.cond.PowerOff.nextChange(since); n != never {
		t = min(t, r.since+n)
	}
	if n := r.cond.ReturnOff.nextChange(since); n != never {
		t = min(t, r.since+n)
	}
	return t
}

// finds notes that a person has come who mends things. The run goes on as if
// they had not.
func (r *run) finds(by Finder) {
	if r.result.FoundBy != Nobody {
		return
	}
	r.settle()
	r.result.FoundBy, r.result.FoundAt = by, r.now-r.onset
	r.result.Attended = r.finish()
}

// alarmCalls starts the way of somebody whom the alarm reaches.
func (r *run) alarmCalls() {
	s := r.tw.tank
	reaches := s.Alarm.Remote || s.Alarm.Audible && s.People.HearsAudible
	if reaches && !r.cond.AlarmSilent {
		r.calendar.find = r.now + seconds(s.People.AnswerHours*time.Hour.Seconds())
	}
}

// visit is the routine: fill the reservoir, empty the cup, and see whether
// anything is amiss.
func (r *run) visit() {
	r.settle()
	if r.out.ReachedAt[Nuisance] != never {
		r.finds(ByVisit)
	}
	r.fillReservoir()
	r.out.Books.leave(r.cup)
	r.cup = parcel{}
	r.measure()
}

func (r *run) fillReservoir() {
	if !hasReservoir(r.tw.tank) || hasRefill(r.tw.tank) || r.cond.ReservoirForgotten {
		return
	}
	if missing := r.tw.reservoirFullM3 - r.reservoirM3; missing > 0 {
		fresh := r.tw.fluid.parcelOf(missing, r.tw.topOffWater)
		r.reservoir.add(fresh)
		r.out.Books.enter(fresh)
	}
}

// topOffByHand pours in at once what the system lacks.
func (r *run) topOffByHand() {
	missing := r.tw.SystemM3() - r.chamberM3 - r.displayM3
	if missing <= 0 {
		return
	}
	water := r.tw.fluid.parcelOf(missing, r.tw.topOffWater)
	r.chamber.add(water)
	r.out.Books.enter(water)
	r.out.TopOffM3 += missing
	r.measure()
	r.jolted()
	// A return pump that had run dry has water again, and fills the display.
	r.starved = r.starved && r.chamberM3 <= r.tw.chamberIntakeM3
	if r.trace != nil {
		r.trace(r.sample())
	}
}

// changeWater swaps old water for new, the same share of every volume. A weak
// mix is weak in everything.
func (r *run) changeWater() {
	w := r.tw.tank.WaterChange
	m := r.tw.newWater
	if psu := r.cond.WaterChangePSU; psu > 0 {
		m = r.tw.seaAt(psu)
	}
	share := min(w.VolumeM3/(r.chamberM3+r.displayM3), 1)
	swap := func(p *parcel, volumeM3 float64) {
		r.out.Books.leave(p.take(share))
		fresh := r.tw.fluid.parcelOf(share*volumeM3, m)
		p.add(fresh)
		r.out.Books.enter(fresh)
	}
	swap(&r.chamber, r.chamberM3)
	swap(&r.display, r.displayM3)
	r.measure()
	r.jolted()
}
