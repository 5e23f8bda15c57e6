package alarm

import "time"

// Alarm is one alarm with all it remembers. It is a plain value: it can be
// written as JSON and taken up again.
type Alarm struct {
	Key
	// Sentence, Class and HarmAt are as last raised; HarmAt is zero for harm
	// that does not come.
	Sentence string
	Class    int
	HarmAt   time.Time

	// Priority is the present one; once the condition is gone, the last one.
	// Peak is the highest since the last call.
	Priority, Peak Priority

	// Present is what was last reported, Turned when that changed. Active
	// follows it after the on-delay or off-delay.
	Present bool
	Turned  time.Time
	Active  bool

	// Live is the state from Normal to LatchedAcknowledged. It stands still
	// while anything below hides the alarm.
	Live State
	// Called is when the alarm last called for a person, which tells one
	// occurrence from the next.
	Called time.Time
	// AckedBy is who acknowledged it last.
	AckedBy string

	// ShelvedUntil is zero unless a person shelved it; ShelvedAt is the
	// priority that was shelved.
	ShelvedUntil time.Time
	ShelvedBy    string
	ShelvedAt    Priority
	// Cause is what silences it, the zero Key if nothing does.
	Cause Key
	// OutBy is who took it out of service, empty while in service.
	OutBy string
	// CameHidden: the condition came while the alarm was shelved or
	// suppressed. A kind that latches does so when that ends.
	CameHidden bool
}

// State is the alarm's state in the standard's words. What hides it can
// overlap; what a person did is named before what the design did.
func (a *Alarm) State() State {
	switch {
	case a.OutBy != "":
		return OutOfService
	case !a.ShelvedUntil.IsZero():
		return Shelved
	case a.Cause != Key{}:
		return SuppressedByDesign
	}
	return a.Live
}

// hidden says whether anything hides the alarm.
func (a *Alarm) hidden() bool { return a.State() > LatchedAcknowledged }

// up says whether the alarm can explain others: its condition is there, or a
// latch remembers it, and nobody works on it.
func (a *Alarm) up(k *Kind) bool {
	settled := a.Live == Normal || a.Live == ReturnedUnacknowledged
	remembered := k.Latches && (!settled || a.CameHidden)
	return (a.Active || remembered) && a.OutBy == ""
}

// over says that the condition is gone and nobody is called for it any more.
func (a *Alarm) over() bool { return !a.Active && !a.hidden() && !a.State().Calls() }

// left is the time until harm.
func (a *Alarm) left(now time.Time) time.Duration {
	if a.HarmAt.IsZero() {
		return never
	}
	return a.HarmAt.Sub(now)
}

// delay is how long Present must stay as it is before Active follows it.
func (a *Alarm) delay(k *Kind) time.Duration {
	if a.Present {
		return k.OnDelay
	}
	return k.OffDelay
}

// deadline is when time alone next changes the alarm, zero if never.
func (a *Alarm) deadline(k *Kind, now time.Time) time.Time {
	var first time.Time
	sooner := func(t time.Time) {
		if first.IsZero() || t.Before(first) {
			first = t
		}
	}
	if a.Present != a.Active {
		sooner(a.Turned.Add(a.delay(k)))
	}
	if !a.ShelvedUntil.IsZero() {
		sooner(a.ShelvedUntil)
	}
	if a.Present && !a.HarmAt.IsZero() {
		for _, bound := range leftBounds {
			if at := a.HarmAt.Add(-bound); at.After(now) {
				sooner(at)
				break
			}
		}
	}
	return first
}

// believe makes times that lie beyond their own limits, because the clock was
// set back, count from now: no delay and no shelving is ever longer than itself.
func (a *Alarm) believe(now time.Time) {
	a.Turned = earlier(a.Turned, now)
	a.Called = earlier(a.Called, now)
	a.ShelvedUntil = earlier(a.ShelvedUntil, now.Add(ShelveMax(a.ShelvedAt)))
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// age takes what time alone changes, except for the end of a shelving.
func (a *Alarm) age(k *Kind, now time.Time) {
	if a.Present {
		a.Priority = PriorityOf(a.Class, a.left(now))
	}
	if a.Present == a.Active || now.Sub(a.Turned) < a.delay(k) {
		return
	}
	if a.Present {
		a.activate()
	} else {
		a.Active = false
	}
}

// activate lets the condition, which has lasted for its on-delay, be an alarm.
func (a *Alarm) activate() {
	a.Active = true
	a.CameHidden = a.CameHidden || a.hidden() && a.OutBy == ""
}

// follow brings Live up to what is the case, for an alarm that nothing hides,
// and returns why it changed, "" if it did not. emerged is why it has just
// stopped being hidden, "" if it has not: then what is still there calls again.
func (a *Alarm) follow(k *Kind, emerged Reason, now time.Time) Reason {
	was := a.Live
	var why Reason
	switch {
	case a.Active && !was.active():
		a.Live, why = was.occur()
	case a.Active && a.Priority > a.Peak:
		a.Live, why = Unacknowledged, Worsened
	case a.Active && emerged != "":
		a.Live, why = Unacknowledged, emerged
	case !a.Active && a.CameHidden && k.Latches:
		a.Live, why = LatchedUnacknowledged, ReturnedLatched
	case !a.Active && was.active():
		a.Live, why = was.goAway(k.Latches)
	}
	a.CameHidden = false
	calls := a.Live.Calls() && (emerged != "" || why != "" && a.Active)
	if calls {
		a.Called, a.Peak = now, a.Priority
	}
	return why
}

// shelve puts the alarm aside until a time that is never further away than its
// priority allows.
func (a *Alarm) shelve(by string, duration time.Duration, now time.Time) Reason {
	switch {
	case duration <= 0:
		return RefusedNoDuration
	case a.OutBy != "":
		return RefusedOutOfService
	}
	longest := ShelveMax(a.Priority)
	a.ShelvedUntil, a.ShelvedBy, a.ShelvedAt = now.Add(min(duration, longest)), by, a.Priority
	if duration > longest {
		return ShelvedShorter
	}
	return ShelvedByPerson
}

func (a *Alarm) unshelve() { a.ShelvedUntil, a.ShelvedBy, a.ShelvedAt = time.Time{}, "", NoPriority }
