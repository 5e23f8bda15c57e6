package account

import (
	"time"

	"isohaline/internal/account/finding"
)

// Observe takes one observation into the state and returns the findings that began or
// ended by it. Code and Found together identify a finding. An observation that cannot
// be true is an error and changes nothing. It may come a little late and more than
// once: see ReorderWindow.
func (a *Account) Observe(s *State, o Observation) ([]Finding, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	o.At = o.At.UTC().Round(0)
	s.file(o, s.Done)
	return a.catchUp(s), nil
}

// Advance lets time pass up to now, so that the account notices what did not come, and
// returns the findings that began or ended by it. Without it, time stands still
// between observations.
func (a *Account) Advance(s *State, now time.Time) []Finding {
	now = now.UTC().Round(0)
	if now.After(latest) {
		now = latest
	}
	if now.After(s.Newest) {
		s.Newest = now
	}
	return a.catchUp(s)
}

// Findings returns the findings that have not ended, with their present figures, in
// the order in which they were found. It changes nothing.
func (a *Account) Findings(s *State) []Finding {
	var all []Finding
	facts := s.Facts()
	for i := range s.Open {
		all = append(all, a.words.Finding(&s.Open[i], &facts))
	}
	return all
}

func (a *Account) catchUp(s *State) []Finding {
	u := a.update(s)
	for _, o := range s.LateHand {
		u.handle(&o)
	}
	s.LateHand = nil
	for {
		o, ok := s.due()
		if !ok {
			break
		}
		u.runTo(o.At)
		u.handle(&o)
	}
	u.runTo(s.Newest.Add(-ReorderWindow))
	var told []Finding
	for i := range u.Events {
		told = append(told, a.words.Finding(&u.Events[i].Record, &u.Events[i].Facts))
	}
	return told
}

// longestSilence is how long nothing may be heard of a tank before its account
// starts afresh: nothing that was believed then is worth believing now.
const longestSilence = 365 * 24 * time.Hour

// runTo lets time pass: whatever falls due on the way is done at its own time,
// so that it makes no difference how often anybody asks.
func (u *update) runTo(t time.Time) {
	s := u.s
	if !t.After(s.Done) {
		return
	}
	if t.Sub(s.Done) > longestSilence {
		window := s.Window
		for len(s.Open) > 0 {
			u.End(s.Open[0].Code, s.Done)
		}
		*s = u.account.Begin(t)
		s.Window = window
	}
	for {
		at, what := u.nextDeadline()
		if at.After(t) {
			break
		}
		if at.After(s.Done) {
			s.Done = at
		}
		what(u, s.Done)
	}
	s.Done = t
}

// handle takes one observation, in its turn.
func (u *update) handle(o *Observation) {
	at := later(o.At, u.Done) // it may have been written down late
	u.s.remember(o)
	if !kindTable[o.Kind].byHand {
		u.heard(at)
	}
	switch on := o.Value == 1; o.Kind {
	case PumpOn:
		u.startRun(at)
	case PumpOff:
		u.endRun(at)
	case PumpRan:
		u.wholeRun(at, time.Duration(o.Value*float64(time.Second)))
	case Watch:
		u.watch(at, on)
	case Ceiling:
		u.Inputs.Ceiling.Turn(at, on)
		if !on {
			u.End(finding.CeilingWet, at)
		}
	case Floor:
		u.floor(at, on)
	case ReservoirLow:
		u.reservoirLow(at, on)
	case ReturnPump:
		u.returnPump(at, on)
	case Level:
		u.gauge(at, o)
	case Salinity:
		u.salinity(at, o)
	case WaterTemp:
		u.carry(at)
		u.s.WaterC = o.Value
	case RoomAir:
		u.roomAir(at, o.Value, o.Second)
	case ReservoirFilled:
		u.carry(at)
		u.ReservoirFilled(at, o.Value)
	case WaterChange:
		u.waterChange(at, o)
	case PowerRestored:
		u.powerRestored(at)
	}
}
