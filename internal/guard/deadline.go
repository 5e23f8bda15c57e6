package guard

import "time"

// Deadline is the earliest time at which Step would answer differently though
// no input changed; Never if none. state and in are those of the last step, and
// it lies after that step. An event-driven caller needs to call Step only at
// input changes and at deadlines; a device calls it many times a second and
// gets the same answers.
//
// A level gauge moves all the time and need not be stepped at every millimetre:
// the guard looks whether a fill has lifted it, and a step at the deadline
// looks for the last time.
func Deadline(settings *Settings, state State, in Inputs) time.Duration {
	settings.read(&in)
	s, st := settings, &state

	next := Never
	within := func(wait time.Duration) { // not one that has passed, nor one set to 0 for never
		if wait > 0 {
			next = min(next, wait)
		}
	}
	settled := Never // when the return pump's restart is over
	if running(in.ReturnPump) {
		settled = s.RestartSettle - st.ReturnFor
	}

	if in.Watch == Wet {
		within(s.WetTooLong - st.WatchFor)
		if st.Spent || st.Phase == Filling && st.Measure == 0 {
			within(s.ConfirmWet - st.WatchFor)
		}
	}
	if in.Ceiling == Wet && st.Latch != CeilingWet && st.Latch != CeilingWetWatchDry {
		confirmed := s.CeilingConfirm - st.CeilingFor
		within(max(confirmed, settled))
		if in.Watch == Dry && st.Phase != Latched {
			within(max(confirmed, s.ConfirmDry-st.WatchFor))
		}
	}

	switch st.Phase {
	case Settling:
		switch {
		case st.Barred:
		case st.ClockBad: // the reason stays until both are over
			within(max(settled, s.MinOff-st.For))
		case settled > 0:
			within(settled)
		default:
			within(s.MinOff - st.For)
		}
	case Confirming:
		within(s.ConfirmDry - st.For)
		if st.For >= s.ConfirmDry {
			within(timeToRoom(s.DailyBudget, st.Owed))
		}
	case Filling:
		within(s.Limit(st.Learned) - st.For)
		if st.Measure > 0 {
			within(st.Measure - st.For)
		}
		within(room(s.DailyBudget, st.Owed) - st.For)
		if s.LevelFitted && !st.Answered {
			within(s.LevelAnswer - st.For)
		}
	case Held:
		if !st.Shut {
			within(s.HoldExpires - st.HeldFor)
		}
	}

	if next == Never || st.Last > Never-next {
		return Never
	}
	return st.Last + next
}
