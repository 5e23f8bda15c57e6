package account

import (
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/judgement"
	"isohaline/internal/account/suspicion"
)

// update is one call's work on a state.
type update struct {
	judgement.Judge
	account  *Account
	settings *Settings
	s        *State
	run      *Run
}

func (a *Account) update(s *State) *update {
	return &update{judgement.Judge{Tank: &a.tank, State: &s.State}, a, &a.settings, s, &s.Run}
}

// far is a deadline that does not come.
var far = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// carry brings base and tests to a time.
func (u *update) carry(to time.Time) {
	var ran time.Duration
	if u.run.On {
		ran = max(to.Sub(u.At), 0)
	}
	u.carryRunning(to, ran)
}

// carryRunning is carry with the pump on for so long of it.
func (u *update) carryRunning(to time.Time, ran time.Duration) {
	span := max(to.Sub(u.At), 0)
	if span == 0 && ran == 0 {
		return
	}
	pumped := min(u.Tank.FlowLDay*ran.Hours()/24, u.run.SourceL)
	u.run.SourceL -= pumped
	step := u.Tank.Step(&u.Base, belief.Input{Days: span.Hours() / 24, PumpedL: pumped, PredictedLDay: u.PredictedLDay,
		WeatherVar: u.Weather.Var, Scale: u.Reservoir.Base.Scale})
	u.Each(func(b *belief.Belief) { b.Predict(&step) })
	if to.After(u.At) {
		u.At = to
	}
}

// switching is the watch sensor at one of its levels: see belief.Model.
func (u *update) switching(a, b float64) *belief.Measurement {
	return u.Tank.Switching(a, b, u.Usual.Dispersion, u.Usual.OutlierFrac)
}

// togetherWithin is how near in time two events must be for one to explain the
// other.
const togetherWithin = 15 * time.Second

// atLowerLevel: the watch sensor turns dry.
func (u *update) atLowerLevel() {
	u.run.DrySeen = true
	if u.Tank.BandL == 0 || u.Inputs.Unsure && u.At.Sub(u.Inputs.LostAt) < togetherWithin {
		return // it may have been dry for long: a device that comes back says how all stands
	}
	m := u.switching(1, -1)
	if z := u.Base.Z(m); u.HasGauge && z > judgement.EarlySigmas {
		// The gauge knows where the water is: it is the sensor that moved, and
		// the water stands somewhere below it.
		u.Usual.EarlyZ = z
		u.UpdateAbove(&u.Tank.Model, m)
		return
	}
	seen := u.Update(&u.Tank.Model, m, suspicion.Switching)
	u.Usual.EarlyZ = seen.Z
	if !u.Inputs.Unsure {
		u.LearnTurn(seen)
	}
	u.Inputs.Unsure = false // it is at the lower level, whatever was not heard
	u.Decide(suspicion.Switching)
}

// atUpperLevel: the level is back at the upper one.
func (u *update) atUpperLevel(at time.Time) {
	u.Usual.FilledAt = at
	if u.Tank.BandL == 0 {
		return
	}
	if m := u.switching(1, 0); u.Inputs.Unsure {
		// It is there now, and nobody knows from where: nothing is learned of pump
		// or air.
		u.setDeficit(func(float64) (litres, variance float64) { return 0, m.Variance })
		u.Inputs.Unsure = false
	} else {
		u.LearnTurn(u.Update(&u.Tank.Model, m, suspicion.Switching))
	}
	u.Usual.Fills++
	u.Decide(suspicion.Switching)
	u.Usual.FillDemandLDay, _ = u.Demand()
	u.CheckFills(at)
}

// boundBands: a bound that the level has hardly moved towards says nothing new.
const boundBands = 0.25

// belowUpperLevel: the watch sensor has not turned wet yet.
func (u *update) belowUpperLevel() {
	if u.Tank.BandL == 0 || u.run.UnboundL < boundBands*u.Tank.BandL {
		return
	}
	u.run.UnboundL = 0
	u.UpdateAbove(&u.Tank.Model, u.switching(1, 0))
	u.Decide(suspicion.Switching)
}

// aboveLowerLevel: it has not turned dry yet. That counts as evidence, but nothing
// is believed on it before the sensor turns: it may be stuck.
func (u *update) aboveLowerLevel() {
	if u.Tank.BandL > 0 && !u.Inputs.Unsure {
		u.UpdateAbove(&u.Tank.Model, u.switching(-1, 1))
	}
}

// setDeficit gives every belief another deficit, made from its own.
func (u *update) setDeficit(of func(deficitL float64) (litres, variance float64)) {
	u.Each(func(b *belief.Belief) {
		litres, variance := of(b.X[belief.Deficit])
		b.X[belief.Deficit] = litres
		b.Fix(belief.Deficit)
		b.P[belief.Deficit][belief.Deficit] = variance
	})
}

// lostTrack says that nobody knows what the pump did since the device was last
// heard: the level may be anywhere, and tells nothing about what left.
func (u *update) lostTrack(at time.Time) {
	u.carry(at)
	u.run.On, u.run.Waits = false, false
	u.Inputs.Unsure, u.Inputs.LostAt = true, at
	u.unsettle(at) // the return pump may have stopped and started
	// The reservoir went on giving, as far as anybody can tell.
	demand, _ := u.Demand()
	lost := demand * at.Sub(u.Inputs.LastSeen).Hours() / 24
	u.Reservoir.Pump(lost)
	u.Reservoir.Unsure = true
	// The level may be anywhere that it may be with so many litres unaccounted
	// for. Where it was about the watch level, it is there again.
	bandL := u.Tank.BandL
	u.setDeficit(func(deficit float64) (litres, variance float64) {
		spread := suspicion.OpenLevelBands * bandL
		if deficit-lost < 1.5*bandL {
			return bandL / 2, square(spread)
		}
		return deficit - lost/2, square(spread + lost)
	})
}

// unsettle says that the level means nothing for a while after a restart.
func (u *update) unsettle(at time.Time) {
	u.Inputs.SettledAt = later(u.Inputs.SettledAt, at.Add(u.settings.RestartSettle))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func square(x float64) float64 { return x * x }
