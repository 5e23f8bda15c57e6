package account

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
)

// What is noticed because it did not come. Each has a time at which it falls
// due; runTo does it at that time, however late anybody asks.

// nextDeadline is the next thing to fall due.
func (u *update) nextDeadline() (time.Time, func(*update, time.Time)) {
	at, what := u.s.NextTick, (*update).tick
	for _, d := range [...]struct {
		at   time.Time
		what func(*update, time.Time)
	}{
		{u.silentAt(), (*update).silent},
		{u.overdueAt(), (*update).overdue},
		{u.endlessAt(), (*update).endlessRun},
		{u.ceilingAt(), (*update).ceilingWet},
		{u.siphonAt(), (*update).siphon},
		{u.shortfallAt(), (*update).shortfall},
	} {
		if d.at.Before(at) {
			at, what = d.at, d.what
		}
	}
	return at, what
}

// tick is every full hour.
func (u *update) tick(at time.Time) {
	u.s.NextTick = at.Add(time.Hour)
	u.carry(at)
	u.CheckReservoir(at)
	if in := &u.Inputs; in.Watch.Known && in.Watch.Wet && in.Settled(at) && !u.run.On && !in.Silent && !u.FillsFail() {
		u.aboveLowerLevel()
	}
	if at.Equal(at.Truncate(belief.WeatherEvery)) && !u.FillsFail() {
		u.LearnWeather()
	}
	u.EndStale(at)
}

const (
	// silentBeats and leastSilence: a device is silent when it has missed so
	// many heartbeats, and not before so long. Links break for minutes.
	silentBeats  = 6
	leastSilence = time.Hour
)

func (u *update) silentAt() time.Time {
	if u.settings.Heartbeat == 0 || u.Inputs.Silent {
		return far
	}
	return u.Inputs.LastSeen.Add(max(silentBeats*u.settings.Heartbeat, leastSilence))
}

func (u *update) silent(at time.Time) {
	u.Inputs.Silent = true
	u.Begin(finding.Record{Code: finding.DeviceSilent, Since: u.Inputs.LastSeen, Found: at, Confidence: finding.Surely})
}

const (
	// overduePauses: so many expected pauses without a fill cannot be a humid
	// spell or a new lid; overdueRelative adds what is not known of the demand.
	overduePauses   = 3.0
	overdueRelative = 4.0
	leastOverdue    = 5 * time.Hour
	// overdueDemandFrac of what the tank took at its last fill, it still takes:
	// else a watch sensor that sticks would pass for ever damper air.
	overdueDemandFrac = 0.5
	// dryOverdue: so long after the watch reads dry, a controller that can fill
	// has filled.
	dryOverdue = 75 * time.Minute
	// overdueFills: nobody knows what is late before so many fills.
	overdueFills = 6
)

// overdueAt is when the lack of a fill becomes a finding.
func (u *update) overdueAt() time.Time {
	t, in := u.Tank, &u.Inputs
	if t.BandL == 0 || u.Usual.Fills < overdueFills || u.run.On || in.Silent || u.ReservoirEmpty() || in.ReturnStopped() || u.FillsFail() {
		return far
	}
	if in.Ceiling.Known && in.Ceiling.Wet {
		return far // there is water enough
	}
	// A stop of the return pump brings no water: it only keeps the controller from
	// filling in that time, and the display's water from being the ceiling's fault.
	last := later(later(u.Usual.FilledAt, u.run.EndedAt), in.LostAt)
	if in.Ceiling.At.After(in.SettledAt) {
		last = later(last, in.Ceiling.At)
	}
	patience := max(dryOverdue, 3*u.settings.MinOff)
	afterStop := later(in.SettledAt, last).Add(patience)
	if in.Watch.Known && !in.Watch.Wet {
		return later(in.Watch.At.Add(patience), afterStop)
	}
	demand, sd := u.Demand()
	demand = max(demand, overdueDemandFrac*u.Usual.FillDemandLDay, t.LeastUseLDay())
	relative := min(math.Hypot(sd/demand, u.Base.SD(belief.Band)), 1)
	pause := t.BandL * max(u.Base.X[belief.Band], 0.2) / demand
	late := design.Days(pause * (overduePauses + overdueRelative*relative))
	// What is believed to stand above the watch level must go first.
	late += design.Days(max(-u.Base.X[belief.Deficit], 0) / demand)
	return later(last.Add(max(late, leastOverdue)), afterStop)
}

func (u *update) overdue(at time.Time) {
	u.carry(at)
	since := later(u.Usual.FilledAt, u.run.EndedAt)
	r := finding.Record{Code: finding.TopOffOverdue, Since: since, Found: at, Confidence: 0.95,
		Amount: at.Sub(since).Hours(), Was: u.Levels()}
	if w := &u.Inputs.Watch; w.Known && w.Wet {
		r.Code, r.Subject, r.Confidence = finding.WatchStuck, finding.ByWet, 0.85
	}
	u.Begin(r)
}

// ceilingConfirm is longer than a wave.
const ceilingConfirm = 10 * time.Second

func (u *update) ceilingAt() time.Time {
	c := &u.Inputs.Ceiling
	if !c.Known || !c.Wet || u.Find(finding.CeilingWet) != nil || u.Inputs.ReturnStopped() {
		return far
	}
	return later(c.At.Add(ceilingConfirm), u.Inputs.SettledAt)
}

func (u *update) ceilingWet(at time.Time) {
	u.Begin(finding.Record{Code: finding.CeilingWet, Since: u.Inputs.Ceiling.At, Found: at, Confidence: finding.Surely})
}

// siphonAt is when the level, after a run that ended well, should long have
// sunk, and the ceiling is wet instead.
func (u *update) siphonAt() time.Time {
	in, ended := &u.Inputs, u.run.EndedAt
	if u.run.On || u.Find(finding.CeilingWet) == nil || !in.Watch.Known || !in.Watch.Wet || u.Find(finding.EndlessFill) != nil ||
		in.Ceiling.At.Before(ended) || in.Ceiling.At.Sub(ended) > siphonWithin {
		return far
	}
	demand, _ := u.Demand()
	pause := u.Tank.BandL * u.Base.X[belief.Band] / max(demand, u.Tank.LeastUseLDay())
	return ended.Add(max(design.Days(siphonPauses*pause), siphonLeast))
}

const (
	// siphonWithin of a run's end, a ceiling that turns wet was reached by water
	// that went on running.
	siphonWithin = time.Hour
	// siphonPauses: by then a level that was at the watch level has sunk.
	siphonPauses = 2.5
	siphonLeast  = 2 * time.Hour
)

func (u *update) siphon(at time.Time) {
	u.Begin(finding.Record{Code: finding.EndlessFill, Since: u.run.Since, Found: at, Confidence: 0.9, Subject: finding.BySiphon})
}
