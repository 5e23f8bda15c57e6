package account

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/judgement"
	"isohaline/internal/account/suspicion"
	"isohaline/internal/bench/instrument"
)

// heard notes that the device is alive.
func (u *update) heard(at time.Time) {
	in := &u.Inputs
	if beat := u.settings.Heartbeat; beat > 0 && at.Sub(in.LastSeen).Seconds() > lostBeats*beat.Seconds() {
		u.lostTrack(at)
	}
	in.LastSeen = at
	if u.run.On && u.run.OverAt.IsZero() && at.After(u.longestRun()) {
		u.run.OverAt = at
	}
	if in.Silent {
		in.Silent = false
		u.End(finding.DeviceSilent, at)
	}
}

// lostBeats is how long a device may be silent before runs may have gone unheard,
// in heartbeats.
const lostBeats = 1.25

// watch: the watch sensor reads dry or wet.
func (u *update) watch(at time.Time, wet bool) {
	in := &u.Inputs
	u.carry(at)
	changed := !in.Watch.Known || in.Watch.Wet != wet
	in.Watch.Turn(at, wet)
	switch {
	case !wet || !changed:
	case u.run.Waits:
		u.run.Waits = false
		u.levelReached(at)
	case !u.run.On && in.Settled(at) && u.Usual.Fills > 0:
		u.lostTrack(at) // filled, and nobody heard the pump
	}
	if wet || !changed || u.run.On || !in.Settled(at) {
		return
	}
	u.End(finding.WatchStuck, at)
	u.atLowerLevel()
}

// returnPump: the return pump starts or stops.
func (u *update) returnPump(at time.Time, running bool) {
	in := &u.Inputs
	u.carry(at)
	restarts := in.ReturnStopped() && running
	in.Return.Turn(at, running)
	if restarts {
		u.unsettle(at)
	}
}

// powerRestored: the device starts again after a power cut.
func (u *update) powerRestored(at time.Time) {
	u.carry(at)
	u.run.On = false
	u.unsettle(at)
}

// floor: the floor sensor. While the pump runs, or just after, the water is
// the pump's.
func (u *update) floor(at time.Time, wet bool) {
	u.Inputs.Floor.Turn(at, wet)
	r := u.run
	if !wet {
		u.FloorDry(at)
	} else if r.On || at.Sub(r.EndedAt) < togetherWithin {
		u.FloorWet(r.Since, at, u.pumpedL(min(at.Sub(r.Since), time.Hour)))
	}
}

// reservoirLow: the reservoir's low sensor.
func (u *update) reservoirLow(at time.Time, wet bool) {
	c := &u.Inputs.Reservoir
	u.carry(at)
	changed := !c.Known || c.Wet != wet
	c.Turn(at, wet)
	if changed && !wet && u.Tank.Reservoir.CapacityL > 0 {
		u.ReservoirLow(at)
	}
}

// airSmoothHours is over how long the room's readings are averaged: the tank
// knows nothing of an instrument's noise.
const airSmoothHours = 3.0

// roomAir follows the prediction for the room.
func (u *update) roomAir(at time.Time, airC, rhFrac float64) {
	u.carry(at)
	predicted := u.Tank.Evaporation.PredictLDay(airC, rhFrac, u.s.WaterC)
	share := 1.0
	if u.AirAt.IsZero() {
		u.Weather.Var = square(belief.UnreadFrac)
	}
	if hours := at.Sub(u.AirAt).Hours(); hours < judgement.AirFreshFor.Hours() {
		share = 1 - math.Exp(-hours/airSmoothHours)
	}
	u.PredictedLDay += share * (predicted - u.PredictedLDay)
	u.AirAt = at
}

const (
	// gaugeMM is a level gauge's error where none is stated: ripples.
	gaugeMM      = 1.0
	leastGaugeMM = 0.2
	// aboveIntakeMM keeps a gauge out of the return pump's vortex.
	aboveIntakeMM    = 5.0
	leastSalinityPSU = 0.05
	// lateSalinityPSUDay is the error that a day's delay adds to a reading.
	lateSalinityPSUDay = 0.3
	// mixPSU is the error of a new mix, mixUnknownPSU when nobody measured it.
	mixPSU        = 0.7
	mixUnknownPSU = 1.5
	// changeBands is how well people restore the level at a water change.
	changeBands = 1.0
)

// gauge: the level in the chamber.
func (u *update) gauge(at time.Time, o *Observation) {
	t, in := u.Tank, &u.Inputs
	if !u.HasGauge {
		u.HasGauge, in.GaugeZeroMM = true, t.WatchMM
		if math.IsNaN(t.WatchMM) {
			in.GaugeZeroMM = o.Value
		}
		u.carry(at)
		u.RestartAll(&t.Model)
	}
	in.LevelMM, in.LevelAt = o.Value, at
	if !in.Settled(at) || o.Value < t.IntakeMM+aboveIntakeMM {
		return
	}
	u.carry(at)
	sd := o.SD
	if sd == 0 {
		sd = gaugeMM
	}
	u.Update(&t.Model, t.GaugeLevel(t.MissingL(in.GaugeZeroMM, o.Value), max(sd, leastGaugeMM)), suspicion.GaugeReading)
	u.Decide(suspicion.GaugeReading)
}

// salinity: somebody or something read the tank's salinity.
func (u *update) salinity(at time.Time, o *Observation) {
	u.carry(at)
	sd := o.SD
	if sd == 0 {
		sd = instrument.HandSDPSU("")
	}
	variance := square(max(sd, leastSalinityPSU)) + square(lateSalinityPSUDay*at.Sub(o.At).Hours()/24)
	p := &u.Reservoir.Base
	noFill := u.FillsFail()
	m := u.Tank.Salinity(&u.Base, o.Value, variance, p.Scale, p.ScaleVar, noFill)
	if noFill || u.CheckInstrument(at, o.Instrument, m) {
		u.Update(&u.Tank.Model, m, suspicion.SalinityReading)
		u.Decide(suspicion.SalinityReading)
	}
	u.CheckSalinity(at)
}

// waterChange: old water for new.
func (u *update) waterChange(at time.Time, o *Observation) {
	u.carry(at)
	u.ChangedAt = at
	share := min(o.Value/u.Tank.SystemL, 1)
	mix, sd := o.Second, mixPSU
	if mix == 0 {
		mix, sd = u.Tank.TargetPSU, mixUnknownPSU
	}
	u.Each(func(b *belief.Belief) {
		b.X[belief.Salt] += share * (mix - b.X[belief.Salt])
		for i := range belief.Size {
			b.P[belief.Salt][i] *= 1 - share
		}
		for i := range belief.Size {
			b.P[i][belief.Salt] *= 1 - share
		}
		b.P[belief.Salt][belief.Salt] += square(share * sd)
		b.P[belief.Deficit][belief.Deficit] += square(changeBands * u.Tank.BandL)
	})
}
