package judgement

import (
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
)

// FilledIntoDip takes a run of litres by which the controller filled the dip after a
// restart as if it were evaporation. It will do so again at the next restart, so the
// finding stays until some restarts have passed.
func (j *Judge) FilledIntoDip(since, at time.Time, litres float64) {
	sd := litres * j.Base.SD(belief.Flow)
	if r := j.Find(finding.RestartDip); r != nil {
		r.Amount, r.AmountSD, r.Last = litres, sd, at
		return
	}
	j.Begin(finding.Record{Code: finding.RestartDip, Since: since, Found: at, Last: at, Confidence: finding.Surely, Amount: litres, AmountSD: sd})
}

// FailedRun is a run that did not bring the level back, and nothing else is known
// to have ended it.
type FailedRun struct {
	// Since is when it began, First when the first of such runs in a row did.
	Since, First time.Time
	Ran          time.Duration
	// Litres are those of a sound pump.
	Litres float64
	// GaugeSaw says that a gauge saw the level during it, RoseFrac the share of
	// the litres by which it rose.
	GaugeSaw bool
	RoseFrac float64
	// SoundS is how long a sound pump would have needed, LongS so long that it says
	// something, s.
	SoundS, LongS float64
}

// EarlySigmas is how many standard deviations too early the watch sensor turns dry
// when evaporation cannot be the reason.
const EarlySigmas = 4.0

// RunFailed takes a run that did not bring the level back, and decides why.
func (j *Judge) RunFailed(at time.Time, f FailedRun) {
	in := &j.Inputs
	r := finding.Record{Since: f.First, Found: at, Amount: f.Ran.Seconds(), Number: f.Litres, Was: j.Levels()}
	const within = time.Minute
	switch {
	case in.Floor.Known && in.Floor.Wet && in.Floor.At.After(f.Since.Add(-within)):
		r.Code, r.Confidence, r.Subject = finding.FreshLeak, 0.9, finding.ByFloor
		r.Amount, r.AmountSD = f.Litres, f.Litres*j.Base.SD(belief.Flow)
	case in.Ceiling.Known && in.Ceiling.Wet && in.Ceiling.At.After(f.Since),
		f.GaugeSaw && f.RoseFrac > 0.5:
		r.Code, r.Confidence, r.Subject = finding.WatchStuck, 0.97, finding.ByDry
	case f.GaugeSaw:
		r.Code, r.Confidence = finding.PumpSeized, 0.95
	case j.Usual.EarlyZ > EarlySigmas:
		r.Code, r.Confidence, r.Subject = finding.WatchStuck, 0.85, finding.ByDry
	case f.LongS > f.Ran.Seconds():
		// A sound pump needs nearly as long: it need not have seized.
		r.Code, r.Confidence = finding.PumpWeak, 0.7
		r.Amount, r.AmountSD = f.SoundS/f.Ran.Seconds(), 0.1
		r.Was.Flow = j.Usual.Flow
	default:
		r.Code, r.Confidence = finding.PumpSeized, 0.75
	}
	if j.Find(r.Code) == nil && (r.Code == finding.WatchStuck || j.Find(finding.WatchStuck) == nil) {
		j.Begin(r)
	}
}

// FloorWet takes the floor sensor turning wet while the pump ran or just after, with
// litres pumped since: the water is the pump's.
func (j *Judge) FloorWet(since, at time.Time, litres float64) {
	j.Begin(finding.Record{Code: finding.FreshLeak, Since: since, Found: at, Confidence: 0.9, Subject: finding.ByFloor,
		Amount: litres, AmountSD: litres * j.Base.SD(belief.Flow)})
}

// FloorDry takes the floor sensor turning dry.
func (j *Judge) FloorDry(at time.Time) {
	if r := j.Find(finding.FreshLeak); r != nil && r.Subject == finding.ByFloor {
		j.End(finding.FreshLeak, at)
	}
}

// LevelBack takes a fill that ended as it should.
func (j *Judge) LevelBack(at time.Time) {
	j.End(finding.PumpSeized, at)
	j.End(finding.TopOffOverdue, at)
	if r := j.Find(finding.WatchStuck); r != nil && r.Subject == finding.ByDry {
		j.End(finding.WatchStuck, at)
	}
}

// How long a harmless change is news, and a fill into the dip is held against a
// controller.
const (
	newNormal    = 14 * 24 * time.Hour
	dipForgotten = 14 * 24 * time.Hour
)

// EndStale ends the first finding that ends by itself, if one does; the next one
// at the next hour.
func (j *Judge) EndStale(at time.Time) {
	for _, r := range j.Open {
		stale := r.Code == finding.RestartDip && !at.Before(r.Last.Add(dipForgotten)) ||
			(r.Code == finding.EvaporationChanged || r.Code == finding.WatchFouled && r.Subject != finding.ByBand) && !at.Before(r.Found.Add(newNormal))
		if stale {
			j.End(r.Code, at)
			return
		}
	}
}
