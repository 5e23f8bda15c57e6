package account

import (
	"time"
)

// Contact is what a two-state input said last.
type Contact struct {
	Known, Wet bool
	At         time.Time
}

func (c *Contact) turn(at time.Time, wet bool) {
	if !c.Known || c.Wet != wet {
		*c = Contact{Known: true, Wet: wet, At: at}
	}
}

// Inputs is what the devices said last. What was never heard of is not there:
// no list of what a tank has needs to be kept.
type Inputs struct {
	LastSeen                         time.Time
	Silent                           bool
	Watch, Ceiling, Floor, Reservoir Contact
	// Return is Wet while the return pump runs.
	Return Contact
	// SettledAt is when the level may be believed again after a restart.
	SettledAt time.Time
	// LostAt is when runs last may have gone unheard.
	LostAt   time.Time
	HasGauge bool
	// GaugeZeroMM is the gauge's level that counts as the watch level.
	GaugeZeroMM float64
	LevelMM     float64
	LevelAt     time.Time
}

// settled says whether the level means anything: not while the display has run
// down into the chamber, nor in the dip after a restart.
func (in *Inputs) settled(at time.Time) bool {
	return !(in.Return.Known && !in.Return.Wet) && !at.Before(in.SettledAt)
}

// lostAfter is how long a device may be silent before runs may have gone
// unheard, in heartbeats.
const lostAfter = 1.25

// hear notes that the device is alive.
func (w *clerk) hear(at time.Time) {
	s := w.s
	if hb := w.settings.Heartbeat; hb > 0 && at.Sub(s.Inputs.LastSeen).Seconds() > lostAfter*hb.Seconds() {
		w.lostTrack(at)
	}
	s.Inputs.LastSeen = at
	if s.Run.On && s.Run.OverAt.IsZero() && at.After(w.longestRun()) {
		s.Run.OverAt = at
	}
	if s.Inputs.Silent {
		s.Inputs.Silent = false
		w.end(DeviceSilent, at)
	}
}

// lostTrack says that nobody knows what the pump did since the device was last
// heard: the level may be anywhere, and tells nothing about what left.
func (w *clerk) lostTrack(at time.Time) {
	s := w.s
	w.carry(at)
	s.Run.On, s.Run.Waits = false, false
	s.Run.Unsure = true
	s.Inputs.LostAt = at
	// The return pump may have stopped and started.
	s.Inputs.SettledAt = later(s.Inputs.SettledAt, at.Add(w.settings.RestartSettle))
	// The reservoir went on giving, as far as anybody can tell.
	lost := w.demandLDay(&s.Base) * at.Sub(s.Inputs.LastSeen).Hours() / 24
	s.Supply.draw(lost)
	s.Supply.Unsure = true
	w.blur(lost)
}

// blur lets the level be anywhere that it may be with so many litres unaccounted
// for. Where it was about the watch level, it is there again.
func (w *clerk) blur(litres float64) {
	t := &w.tank
	w.eachFilter(func(f *Filter) {
		spread := openLevelBands * t.bandL
		if f.X[deficit]-litres < 1.5*t.bandL {
			f.X[deficit] = t.bandL / 2
		} else {
			f.X[deficit] -= litres / 2
			spread += litres
		}
		f.settle(deficit)
		f.P[deficit][deficit] = square(spread)
	})
}

// eachFilter does the same to every belief.
func (w *clerk) eachFilter(do func(*Filter)) {
	do(&w.s.Base)
	for i := range w.s.Suspicions {
		do(&w.s.Suspicions[i].Filter)
	}
	if r := w.s.Rivals; r != nil {
		do(&r.Air.Filter)
		do(&r.Leak.Filter)
	}
}

// watchTurns: the watch sensor reads dry or wet.
func (w *clerk) watchTurns(at time.Time, wet bool) {
	s := w.s
	w.carry(at)
	changed := !s.Inputs.Watch.Known || s.Inputs.Watch.Wet != wet
	s.Inputs.Watch.turn(at, wet)
	switch {
	case !wet || !changed:
	case s.Run.Waits:
		s.Run.Waits = false
		w.broughtLevel(at)
	case !s.Run.On && s.Inputs.settled(at) && s.Rhythm.Marks > 0:
		w.lostTrack(at) // filled, and nobody heard the pump
	}
	if wet || !changed || s.Run.On || !s.Inputs.settled(at) {
		return
	}
	w.end(WatchStuck, at)
	w.markDry()
}

// returnTurns: the return pump starts or stops.
func (w *clerk) returnTurns(at time.Time, running bool) {
	in := &w.s.Inputs
	w.carry(at)
	restarts := in.Return.Known && !in.Return.Wet && running
	in.Return.turn(at, running)
	if restarts {
		in.SettledAt = later(in.SettledAt, at.Add(w.settings.RestartSettle))
	}
}

// powerBack: the device starts again after a power cut.
func (w *clerk) powerBack(at time.Time) {
	w.carry(at)
	w.s.Run.On = false
	w.s.Inputs.SettledAt = later(w.s.Inputs.SettledAt, at.Add(w.settings.RestartSettle))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// floorTurns: the floor sensor. While the pump runs, or just after, the water is
// the pump's.
func (w *clerk) floorTurns(at time.Time, wet bool) {
	s := w.s
	s.Inputs.Floor.turn(at, wet)
	r := &s.Run
	if !wet {
		if f := s.find(FreshLeak); f != nil && f.Subject == byFloor {
			w.end(FreshLeak, at)
		}
		return
	}
	if ran := at.Sub(r.Since); r.On || at.Sub(r.EndedAt) < togetherWithin {
		litres := w.tank.flowLDay * s.Base.X[flow] * min(ran.Hours(), 1) / 24
		w.begin(Record{Code: FreshLeak, Since: r.Since, Found: at, Confidence: 0.9, Subject: byFloor,
			Amount: litres, AmountSD: litres * s.Base.sd(flow)})
	}
}
