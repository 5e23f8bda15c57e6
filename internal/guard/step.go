package guard

import "time"

// Step is the whole guard: it takes the state as it was, the inputs and the
// time now (any monotonic origin), and returns the state as it is and what to
// do. It is total: every input, every time, even one that runs backwards, has
// an answer, and when in doubt the answer is off. The first state comes from
// Boot.
//
// The rules are asked in one order: what time has done, what a person asks,
// whether this is a fault, whether anything forbids a fill; and only when
// nothing does, whether one is wanted.
func Step(settings *Settings, state State, in Inputs, now time.Duration) (State, Outputs) {
	settings.read(&in)

	since, sound := state.tick(settings, now)
	if !sound {
		// Nothing is known of the time that went by: as after a power cut.
		state = Boot(settings, state, now)
		state.ClockBad = true
	}
	state.age(settings, &in, since)
	refused := state.obey(&in)
	if state.Latch == NoReason {
		state.Latch = state.fault(settings, &in)
	}

	forbids := settings.forbids(&in)
	switch {
	case state.Latch != NoReason:
		state.bar(settings, Latched)
	case state.OnHold:
		state.bar(settings, Held)
	case forbids != NoReason:
		state.bar(settings, Settling)
	default:
		state.proceed(settings, &in)
	}
	if in.Request == Give {
		refused = state.give(settings, &in, forbids)
	}
	if in.Request == Clear && refused == NoReason {
		refused = state.Latch // the cause is still there
	}
	out := state.answer(settings, &in, forbids)
	out.Refused = refused
	return state, out
}

// tick takes the clock's reading: how long since the last step, and whether
// that can be believed.
func (st *State) tick(s *Settings, now time.Duration) (since time.Duration, sound bool) {
	if now < st.Last {
		return 0, false
	}
	since = now - st.Last
	if since < 0 { // a jump longer than a Duration holds
		since = Never
	}
	st.Last = now
	if st.Phase != Filling || since > 0 {
		st.Stalls = 0
		return since, true
	}
	st.Stalls++
	return 0, int(st.Stalls) < s.StallCalls
}

// age carries everything that time alone changes. The time since the last step
// belongs to what held then; what begins at this step begins at 0.
func (st *State) age(s *Settings, in *Inputs, since time.Duration) {
	var watchMatters time.Duration
	switch in.Watch {
	case Dry:
		watchMatters = s.ConfirmDry
	case Wet:
		watchMatters = max(s.ConfirmWet, s.WetTooLong)
	}
	st.WatchFor = older(st.WatchFor, st.Watch == in.Watch, since, watchMatters)
	st.CeilingFor = older(st.CeilingFor, st.Ceiling == in.Ceiling && in.Ceiling == Wet, since, s.CeilingConfirm)
	st.ReturnFor = older(st.ReturnFor, st.Return == in.ReturnPump && running(in.ReturnPump), since, s.RestartSettle)
	st.HeldFor = older(st.HeldFor, st.OnHold && !st.Shut, since, s.HoldExpires)
	st.Watch, st.Ceiling, st.Return = in.Watch, in.Ceiling, in.ReturnPump

	switch st.Phase {
	case Filling:
		st.For = older(st.For, true, since, Never)
		if in.LevelMM-st.LevelFromMM >= s.LevelAnswerMM {
			st.Answered = true
		}
	case Settling:
		st.For = older(st.For, !st.Barred, since, s.MinOff)
	case Confirming:
		st.For = older(st.For, true, since, s.ConfirmDry)
	}
	if st.Phase != Filling {
		st.Owed = max(st.Owed-since, 0)
	}
	if st.wetConfirmed(s) {
		st.Spent = false
	}
	if s.HoldExpires > 0 && st.HeldFor >= s.HoldExpires {
		st.OnHold, st.HeldFor = false, 0
	}
}

// older is an age after more time: 0 if what it counts was broken, and never
// above the most that matters.
func older(age time.Duration, unbroken bool, since, matters time.Duration) time.Duration {
	if !unbroken || matters <= 0 {
		return 0
	}
	if since >= matters-age {
		return matters
	}
	return age + since
}

// obey does what a person asks, but for a Give, which has to wait for all the
// rules. Each request undoes one thing only: Resume a hold, Clear a latch. It
// returns why it was refused.
func (st *State) obey(in *Inputs) (refused Reason) {
	switch in.Request {
	case Hold:
		st.OnHold, st.HeldFor = true, 0
	case ShutValve:
		st.OnHold, st.Shut, st.HeldFor = true, true, 0
	case Resume:
		st.OnHold, st.Shut, st.HeldFor = false, false, 0
	case Clear:
		if in.Remote {
			return ClearOnSite
		}
		st.Latch = NoReason
	}
	return NoReason
}

// give begins a measured fill, or says why not. It asks for rest: where
// anything else goes on, that is the answer. All that is given above the watch
// level counts together until the watch has been dry, so that many small
// amounts are bounded as one is.
func (st *State) give(s *Settings, in *Inputs, forbids Reason) (refused Reason) {
	switch {
	case st.Phase != Resting:
		return st.reason(s, forbids)
	case in.GiveFor <= 0, in.GiveFor > s.GiveMost-st.Above, in.GiveFor >= s.Limit(st.Learned):
		return GiveTooMuch
	case in.GiveFor > room(s.DailyBudget, st.Owed):
		return BudgetSpent
	}
	st.start(s, in, in.GiveFor)
	return NoReason
}

// start begins a fill: of a measured length, or with 0 to the watch level.
func (st *State) start(s *Settings, in *Inputs, measure time.Duration) {
	st.enter(s, Filling)
	st.Measure, st.LevelFromMM = measure, in.LevelMM
	if measure == 0 {
		st.Above = 0 // the watch is dry
	}
	if st.Latch = st.fault(s, in); st.Latch != NoReason { // a limit of nothing
		st.bar(s, Latched)
	}
}

// fault is what must latch now, NoReason if nothing.
func (st *State) fault(s *Settings, in *Inputs) Reason {
	if in.Floor == Wet {
		return FloorWet
	}
	if in.Ceiling == Wet && st.CeilingFor >= s.CeilingConfirm {
		switch {
		case in.Watch == Dry && st.WatchFor >= s.ConfirmDry:
			return CeilingWetWatchDry
		case st.steady(s):
			return CeilingWet
		}
	}
	if st.Phase == Filling {
		switch {
		case st.For >= s.Limit(st.Learned):
			return RunLimit
		case s.LevelFitted && finite(in.LevelMM) && !st.Answered && st.For >= s.LevelAnswer:
			return LevelNotAnswering
		}
	}
	return NoReason
}

// running is false while the return pump is known to stand still, or its input
// cannot be read.
func running(returnPump Contact) bool { return returnPump == Wet || returnPump == Absent }

// steady is true once drain-down and refill are over: until then the ceiling
// may be wet without a fault.
func (st *State) steady(s *Settings) bool {
	return running(st.Return) && st.ReturnFor >= s.RestartSettle
}

// wetConfirmed says that the watch level is surely wet.
func (st *State) wetConfirmed(s *Settings) bool {
	return st.Watch == Wet && st.WatchFor >= s.ConfirmWet
}

// enter begins a phase, and settles the account of a fill it ends.
func (st *State) enter(s *Settings, phase Phase) {
	if st.Phase == Filling {
		st.Owed = charge(s.DailyBudget, st.Owed, st.For)
		if st.Measure > 0 {
			st.Above = older(st.Above, true, st.For, s.GiveMost)
		}
		st.Answered, st.LevelFromMM, st.Measure = false, 0, 0
	}
	st.Phase = phase
	st.For = 0
}

// bar enters a phase with the pump off because something forbids a fill.
func (st *State) bar(s *Settings, phase Phase) {
	st.enter(s, phase)
	st.Barred = true
}

// proceed moves through the phases when nothing forbids a fill. Each may pass
// into the next within the one step, in this order, and no further round.
func (st *State) proceed(s *Settings, in *Inputs) {
	if st.Barred {
		st.Barred = false
		st.enter(s, Settling)
	}
	if st.Phase == Filling {
		switch {
		case st.Measure > 0:
			if st.For >= st.Measure {
				st.enter(s, Settling)
			}
		case st.wetConfirmed(s):
			if st.Learned == 0 {
				st.Learned = st.For
			}
			st.enter(s, Settling)
		case st.For >= room(s.DailyBudget, st.Owed):
			st.Spent = true
			st.enter(s, Settling)
		}
	}
	if st.Phase == Settling && st.For >= s.MinOff && st.steady(s) {
		st.ClockBad = false
		st.enter(s, Resting)
	}
	if st.Phase == Resting && in.Watch == Dry {
		st.enter(s, Confirming)
	}
	if st.Phase == Confirming {
		switch {
		case in.Watch == Wet:
			st.enter(s, Resting)
		case st.For < s.ConfirmDry:
		case room(s.DailyBudget, st.Owed) <= 0:
			st.Spent = true
		default:
			st.start(s, in, 0)
		}
	}
}

// answer is what the state means for the pump, the valve and the person.
func (st *State) answer(s *Settings, in *Inputs, forbids Reason) Outputs {
	on, alarms := st.Phase == Filling, st.alarms(s, in, forbids)
	st.Silenced &= alarms // one that comes back sounds again
	if in.Request == Silence {
		st.Silenced = alarms
	}
	return Outputs{Pump: on, Valve: on, Horn: alarms&^st.Silenced != 0, Reason: st.reason(s, forbids), Alarms: alarms}
}

func (st *State) reason(s *Settings, forbids Reason) Reason {
	switch st.Phase {
	case Latched:
		return st.Latch
	case Held:
		if st.Shut {
			return ValveShut
		}
		return HeldByPerson
	case Filling:
		if st.Measure > 0 {
			return GivingMeasure
		}
		return FillingToWatch
	case Confirming:
		if st.Spent && st.For >= s.ConfirmDry {
			return BudgetSpent
		}
		return ConfirmingDry
	case Resting:
		return WatchWet
	}
	switch {
	case forbids != NoReason:
		return forbids
	case st.ClockBad:
		return ClockFault
	case !st.steady(s):
		return RestartSettle
	case st.Spent:
		return BudgetSpent
	}
	return MinimumOff
}

func (st *State) alarms(s *Settings, in *Inputs, forbids Reason) Alarms {
	var a Alarms
	if st.Latch != NoReason {
		a |= alarm(st.Latch)
	}
	// A guard latched by one fault still tells of the next.
	if in.Floor == Wet {
		a |= alarm(FloorWet)
	}
	if in.Ceiling == Wet && st.CeilingFor >= s.CeilingConfirm && st.steady(s) && st.Latch != CeilingWetWatchDry {
		a |= alarm(CeilingWet)
	}
	if forbids == InputFault {
		a |= alarm(InputFault)
	}
	if in.ReservoirLow == Dry {
		a |= alarm(ReservoirEmpty)
	}
	if st.Spent {
		a |= alarm(BudgetSpent)
	}
	if st.ClockBad {
		a |= alarm(ClockFault)
	}
	if s.WetTooLong > 0 && st.Watch == Wet && st.WatchFor >= s.WetTooLong {
		a |= alarm(WatchWetTooLong)
	}
	return a
}
