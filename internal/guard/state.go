package guard

import "time"

// State is all the guard remembers. It is a plain comparable value, and every
// age in it stops counting at the setting it is compared with, so that the
// states of one guard can be counted and every one of them visited.
type State struct {
	// Last is the time of the last step and the only absolute time: a rule
	// looks at nothing but how far the clock has moved since.
	Last time.Duration
	// For is how long, in Settling, nothing has forbidden a fill; in
	// Confirming, the watch has read dry; in Filling, the pump has been on.
	For time.Duration
	// WatchFor, CeilingFor and ReturnFor are how long these inputs have read
	// what they read now.
	WatchFor, CeilingFor, ReturnFor time.Duration
	// HeldFor is how long ago the hold was last asked for.
	HeldFor time.Duration
	// Learned is the length of the first fill that the watch sensor ended, 0
	// while there is none. It is learned once.
	Learned time.Duration
	// Owed is the rest after which the daily budget is whole again; budget.go.
	Owed time.Duration
	// Measure is how long this fill is to last, where a person asked for a
	// measured amount; 0: until the watch level is wet.
	Measure time.Duration
	// Above is the pump time given by measure since the watch level was last
	// surely dry: how far above it the level may stand by a person's wish.
	Above time.Duration
	// LevelFromMM is the level as the fill began.
	LevelFromMM float64

	// Silenced are the alarms for which a person has silenced the horn.
	Silenced Alarms
	// Stalls counts the steps since the clock last moved in this fill.
	Stalls uint16
	Phase  Phase
	// Latch is the fault that latched the guard, NoReason while none has.
	Latch Reason
	// What the inputs read at the last step.
	Watch, Ceiling, Return Contact

	OnHold   bool // a person's hold is on, also beneath a latch
	Shut     bool // ... and does not expire
	Barred   bool // at the last step something forbade a fill: For stands still
	Answered bool // the level has answered this fill
	Spent    bool // the budget ran out, and the watch level was not wet since
	ClockBad bool // the clock was at fault, and Settling has not ended since
}

// Boot is the state at power-up. What a person must end survives from the saved
// state, a latch and a hold, and so do the learned fill and the budget; every
// timer starts again, the horn sounds again and the guard settles first. saved may be the zero State:
// that is a guard which has yet to learn its first fill, and the only way to
// make it learn again.
//
// A device saves the state whenever its Phase, Latch or OnHold changes, before
// it switches the pump on. A fill found in progress is charged to the budget as
// if it had run to its limit, because nobody knows when it stopped: a pump that
// takes the power down with it soon spends its budget.
func Boot(settings *Settings, saved State, now time.Duration) State {
	state := State{
		Last:    now,
		Learned: max(saved.Learned, 0),
		Owed:    min(max(saved.Owed, 0), Day),
		Above:   min(max(saved.Above, 0), max(settings.GiveMost, 0)),
		Phase:   Settling,
		Latch:   saved.Latch,
		Watch:   Faulty, // not read yet
		Ceiling: Faulty,
		Return:  Faulty,
		OnHold:  saved.OnHold || saved.Shut,
		Shut:    saved.Shut,
		Barred:  true,
		Spent:   saved.Spent,
	}
	if saved.Phase == Filling {
		ran := max(saved.For, settings.Limit(state.Learned), 0)
		state.Owed = charge(settings.DailyBudget, state.Owed, ran)
		if saved.Measure > 0 {
			state.Above = older(state.Above, true, ran, settings.GiveMost)
		}
	}
	switch {
	case state.Latch != NoReason:
		state.Phase = Latched
	case state.OnHold:
		state.Phase = Held
	}
	return state
}
