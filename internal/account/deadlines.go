package account

import (
	"math"
	"time"
)

// What is noticed because it did not come. Each has a time at which it falls
// due; runTo does it at that time, however late anybody asks.

// far is a deadline that does not come.
var far = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// nextDeadline is the next thing to fall due.
func (w *clerk) nextDeadline() (time.Time, func(*clerk, time.Time)) {
	at, what := w.s.NextTick, (*clerk).tick
	for _, d := range [...]struct {
		at   time.Time
		what func(*clerk, time.Time)
	}{
		{w.silentAt(), (*clerk).fallsSilent},
		{w.overdueAt(), (*clerk).isOverdue},
		{w.endlessAt(), (*clerk).runsOn},
		{w.ceilingAt(), (*clerk).ceilingStaysWet},
		{w.siphonAt(), (*clerk).siphons},
		{w.fallsShortAt(), (*clerk).fellShort},
	} {
		if d.at.Before(at) {
			at, what = d.at, d.what
		}
	}
	return at, what
}

// tick is every full hour.
func (w *clerk) tick(at time.Time) {
	s := w.s
	s.NextTick = at.Add(time.Hour)
	w.carry(at)
	w.checkSupply(at)
	if in := &s.Inputs; in.Watch.Known && in.Watch.Wet && in.settled(at) && !s.Run.On && !in.Silent && !w.broken() {
		w.stillWet()
	}
	if at.Equal(at.Truncate(weatherEvery)) && !w.broken() {
		w.followWeather()
	}
	for _, r := range s.Open {
		if stale := r.staleAt(); !at.Before(stale) {
			w.end(r.Code, at)
			break // the next one at the next hour
		}
	}
}

// newNormal is how long a harmless change is news, dipForgotten how long a fill
// into the dip is held against a controller.
const (
	newNormal    = 14 * 24 * time.Hour
	dipForgotten = 14 * 24 * time.Hour
)

// staleAt is when a finding ends by itself.
func (r *Record) staleAt() time.Time {
	switch {
	case r.Code == EvaporationChanged, r.Code == WatchFouled && r.Subject != byBand:
		return r.Found.Add(newNormal)
	case r.Code == RestartDip:
		return r.Last.Add(dipForgotten)
	}
	return far
}

const (
	// silentBeats and leastSilence: a device is silent when it has missed so
	// many heartbeats, and not before so long. Links break for minutes.
	silentBeats  = 6
	leastSilence = time.Hour
)

func (w *clerk) silentAt() time.Time {
	s := w.s
	if w.settings.Heartbeat == 0 || s.Inputs.Silent {
		return far
	}
	return s.Inputs.LastSeen.Add(max(silentBeats*w.settings.Heartbeat, leastSilence))
}

func (w *clerk) fallsSilent(at time.Time) {
	s := w.s
	s.Inputs.Silent = true
	w.begin(Record{Code: DeviceSilent, Since: s.Inputs.LastSeen, Found: at, Confidence: surely})
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
	// overdueMarks: nobody knows what is late before so many fills.
	overdueMarks = 6
)

// overdueAt is when the lack of a fill becomes a finding.
func (w *clerk) overdueAt() time.Time {
	s, t := w.s, &w.tank
	in := &s.Inputs
	if t.bandL == 0 || s.Rhythm.Marks < overdueMarks || s.Run.On || in.Silent || w.reservoirEmpty() ||
		in.Return.Known && !in.Return.Wet || w.broken() {
		return far
	}
	if in.Ceiling.Known && in.Ceiling.Wet {
		return far // there is water enough
	}
	// A stop of the return pump brings no water: it only keeps the controller from
	// filling meanwhile, and the display's water from being the ceiling's fault.
	last := later(later(s.Rhythm.MarkAt, s.Run.EndedAt), in.LostAt)
	if in.Ceiling.At.After(in.SettledAt) {
		last = later(last, in.Ceiling.At)
	}
	afterStop := later(in.SettledAt, last).Add(max(dryOverdue, 3*w.settings.MinOff))
	if in.Watch.Known && !in.Watch.Wet {
		return later(in.Watch.At.Add(max(dryOverdue, 3*w.settings.MinOff)), afterStop)
	}
	f := &s.Base
	demand := max(w.demandLDay(f), overdueDemandFrac*s.Rhythm.MarkDemandLDay, leastUseFrac*t.thirst.usualLDay)
	relative := min(math.Hypot(w.demandSD(f)/demand, f.sd(band)), 1)
	pause := t.bandL * max(f.X[band], 0.2) / demand
	late := days(pause * (overduePauses + overdueRelative*relative))
	// What is believed to stand above the watch level must go first.
	late += days(max(-f.X[deficit], 0) / demand)
	return later(last.Add(max(late, leastOverdue)), afterStop)
}

func (w *clerk) isOverdue(at time.Time) {
	s := w.s
	w.carry(at)
	in := &s.Inputs
	since := later(s.Rhythm.MarkAt, s.Run.EndedAt)
	rec := Record{Code: TopOffOverdue, Since: since, Found: at, Confidence: 0.95,
		Amount: at.Sub(since).Hours(), Was: w.levels(&s.Base)}
	if in.Watch.Known && in.Watch.Wet {
		rec.Code, rec.Subject, rec.Confidence = WatchStuck, byWet, 0.85
	}
	w.begin(rec)
}

const (
	// endlessOver the run limit, with a little for timing, no controller lets a
	// run go on.
	endlessOver  = 1.1
	endlessGrace = 30 * time.Second
)

func (w *clerk) endlessAt() time.Time {
	s := w.s
	if !s.Run.On || s.find(EndlessFill) != nil {
		return far
	}
	// The end may have gone unheard: the device must have spoken since. Without
	// a heartbeat, it is found when the run ends.
	if s.Run.OverAt.IsZero() {
		return far
	}
	return s.Run.OverAt.Add(endlessGrace)
}

// longestRun is until when the present run may last.
func (w *clerk) longestRun() time.Time {
	return w.s.Run.Since.Add(time.Duration(endlessOver*float64(w.settings.RunLimit)) + endlessGrace)
}

func (w *clerk) runsOn(at time.Time) {
	s, t := w.s, &w.tank
	w.carry(at)
	litres := t.flowLDay * s.Base.X[flow] * at.Sub(s.Run.Since).Hours() / 24
	w.begin(Record{Code: EndlessFill, Since: s.Run.Since, Found: at, Confidence: surely,
		Amount: litres, AmountSD: litres * s.Base.sd(flow)})
}

// ceilingConfirm is longer than a wave.
const ceilingConfirm = 10 * time.Second

func (w *clerk) ceilingAt() time.Time {
	s := w.s
	c := &s.Inputs.Ceiling
	if !c.Known || !c.Wet || s.find(CeilingWet) != nil || s.Inputs.Return.Known && !s.Inputs.Return.Wet {
		return far
	}
	return later(c.At.Add(ceilingConfirm), s.Inputs.SettledAt)
}

func (w *clerk) ceilingStaysWet(at time.Time) {
	w.begin(Record{Code: CeilingWet, Since: w.s.Inputs.Ceiling.At, Found: at, Confidence: surely})
}

// siphonAt is when the level, after a run that ended well, should long have
// sunk, and the ceiling is wet instead.
func (w *clerk) siphonAt() time.Time {
	s := w.s
	in := &s.Inputs
	if s.Run.On || s.find(CeilingWet) == nil || !in.Watch.Known || !in.Watch.Wet || s.find(EndlessFill) != nil ||
		in.Ceiling.At.Before(s.Run.EndedAt) || in.Ceiling.At.Sub(s.Run.EndedAt) > siphonWithin {
		return far
	}
	pause := w.tank.bandL * s.Base.X[band] / max(w.demandLDay(&s.Base), leastUseFrac*w.tank.thirst.usualLDay)
	return s.Run.EndedAt.Add(max(days(siphonPauses*pause), siphonLeast))
}

const (
	// siphonWithin of a run's end, a ceiling that turns wet was reached by water
	// that went on running.
	siphonWithin = time.Hour
	// siphonPauses: by then a level that was at the watch level has sunk.
	siphonPauses = 2.5
	siphonLeast  = 2 * time.Hour
)

func (w *clerk) siphons(at time.Time) {
	w.begin(Record{Code: EndlessFill, Since: w.s.Run.Since, Found: at, Confidence: 0.9, Subject: bySiphon})
}

const bySiphon = "siphon"
