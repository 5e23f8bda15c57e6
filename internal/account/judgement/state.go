// Package judgement decides which explanation holds: it believes hypotheses,
// keeps the findings that are open, and tells which began and ended.
package judgement

import (
	"slices"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/reservoir"
	"isohaline/internal/account/suspicion"
)

// State is what a judgement stands on.
type State struct {
	// Done is up to when all is believed to be known.
	Began, Done time.Time
	suspicion.Bank
	// AirAt is when the room's air was last read, ChangedAt when water was last
	// changed; zero: never.
	AirAt, ChangedAt time.Time

	Inputs      Inputs
	Usual       Usual
	Weather     belief.WeatherNoise
	Reservoir   reservoir.State
	Instruments []Instrument     `json:",omitempty"`
	Open        []finding.Record `json:",omitempty"`
}

// Contact is the last state of a two-state input.
type Contact struct {
	Known, Wet bool
	At         time.Time
}

// Turn sets the state at a time.
func (c *Contact) Turn(at time.Time, wet bool) {
	if !c.Known || c.Wet != wet {
		*c = Contact{Known: true, Wet: wet, At: at}
	}
}

// Inputs are the last states and readings of the devices. An input that never reported
// is absent, so no list of a tank's devices is needed.
type Inputs struct {
	LastSeen                         time.Time
	Silent                           bool
	Watch, Ceiling, Floor, Reservoir Contact
	// Return is Wet while the return pump runs.
	Return Contact
	// SettledAt is when the level may be believed again after a restart.
	SettledAt time.Time
	// LostAt is when runs last may have gone unheard; Unsure says that this was
	// since the level was last known to be at a switching level.
	LostAt time.Time
	Unsure bool
	// GaugeZeroMM is the gauge's level that counts as the watch level.
	GaugeZeroMM float64
	LevelMM     float64
	LevelAt     time.Time
}

// Settled reports whether the level can be believed at a time: not while the display
// has run down into the chamber, nor in the dip after a restart.
func (in *Inputs) Settled(at time.Time) bool {
	return !in.ReturnStopped() && !at.Before(in.SettledAt)
}

// ReturnStopped reports whether the return pump is known to stand still.
func (in *Inputs) ReturnStopped() bool { return in.Return.Known && !in.Return.Wet }

// Judge works on the state of one tank.
type Judge struct {
	Tank *design.Tank
	*State
	// Events are the findings that began or ended, in order.
	Events []Event
}

// Event is a finding that began or ended, with the facts at that time.
type Event struct {
	Record finding.Record
	Facts  finding.Facts
}

// Facts are those of this moment.
func (s *State) Facts() finding.Facts {
	return finding.Facts{At: s.At, Done: s.Done, Belief: s.Base, PredictedLDay: s.PredictedLDay, Reservoir: s.Reservoir, Dispersion: s.Usual.Dispersion}
}

// Find is the open record of a code, nil if there is none.
func (s *State) Find(code finding.Code) *finding.Record {
	for i := range s.Open {
		if s.Open[i].Code == code {
			return &s.Open[i]
		}
	}
	return nil
}

// Begin opens a finding and adds its event, unless a finding with its code is open.
func (j *Judge) Begin(r finding.Record) {
	if j.Find(r.Code) != nil {
		return
	}
	j.Open = append(j.Open, r)
	j.Events = append(j.Events, Event{r, j.Facts()})
}

// End closes the finding with a code, if it is open, and adds its event.
func (j *Judge) End(code finding.Code, at time.Time) {
	for i := range j.Open {
		if j.Open[i].Code == code {
			r, failed := j.Open[i], j.FillsFail()
			j.Open = slices.Delete(j.Open, i, i+1)
			r.Ended = at
			if code == finding.EvaporationChanged {
				j.Usual.Evaporation = j.Base.X[belief.Evaporation] + j.Base.X[belief.Weather]
			}
			j.Events = append(j.Events, Event{r, j.Facts()})
			if failed && !j.FillsFail() {
				j.repaired()
			}
			return
		}
	}
}

// FillsFail reports whether fills do not bring the level back. What the account would
// conclude from levels and salt then follows from that, and is not told.
func (j *Judge) FillsFail() bool {
	for _, code := range [...]finding.Code{finding.PumpSeized, finding.WatchStuck, finding.TopOffOverdue, finding.EndlessFill, finding.CeilingWet} {
		if j.Find(code) != nil {
			return true
		}
	}
	r := j.Find(finding.FreshLeak)
	return r != nil && r.Subject == finding.ByFloor || j.ReservoirEmpty()
}

// ReservoirEmpty reports whether the pump has, as far as is known, nothing to pump.
func (j *Judge) ReservoirEmpty() bool {
	if c := &j.Inputs.Reservoir; c.Known {
		return !c.Wet
	}
	return j.Reservoir.Empty(&j.Tank.Reservoir)
}

// repaired restarts the tests after that, but for what may have been the cause: a
// watch sensor that switches elsewhere.
func (j *Judge) repaired() {
	j.Inputs.Unsure, j.Inputs.LostAt = true, j.At
	j.RestartBut(suspicion.WatchLevel, &j.Tank.Model)
}

// Demand returns what the tank takes by the base, and one standard deviation of it,
// L/day of the filter.
func (j *Judge) Demand() (litresLDay, sd float64) {
	return j.Tank.DemandLDay(&j.Base, j.PredictedLDay), j.Base.DemandSD(j.PredictedLDay)
}

// Levels returns the levels of the base.
func (j *Judge) Levels() belief.Levels { return j.Tank.Levels(&j.Base, j.PredictedLDay) }
