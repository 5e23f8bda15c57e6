package alarm

import (
	"cmp"
	"time"

	"isohaline/internal/account"
)

// Key names one alarm of a site: its kind and where it is. Tank is empty for an
// alarm of the whole site, Device for one of the whole tank.
type Key struct {
	Code   account.Code
	Tank   string
	Device string
}

// compare orders keys: by tank, device, code.
func (k Key) compare(other Key) int {
	return cmp.Or(cmp.Compare(k.Tank, other.Tank), cmp.Compare(k.Device, other.Device), cmp.Compare(k.Code, other.Code))
}

// covers says whether an alarm here explains one there: a site's alarm explains
// any, a tank's that tank's and its devices', a device's its own and its
// tank's.
func (k Key) covers(there Key) bool {
	return (k.Tank == "" || k.Tank == there.Tank) &&
		(k.Device == "" || there.Device == "" || k.Device == there.Device)
}

// Action is what an event does.
type Action string

const (
	Tick        Action = ""                    // nothing but time
	Raise       Action = "raise"               // the condition is there
	Clear       Action = "clear"               // the condition is gone
	Acknowledge Action = "acknowledge"         // a person knows
	Reset       Action = "reset"               // a person takes a latch back
	Shelve      Action = "shelve"              // a person puts it aside for a time
	Unshelve    Action = "unshelve"            // a person takes it back earlier
	TakeOut     Action = "take out of service" // a person works on it
	PutBackIn   Action = "put back in service" // the work is done
)

// Event is one thing that happened to one alarm of a site.
type Event struct {
	Do  Action
	Key Key

	// For Raise: the harm class, 0 to 4 (0 is harmless and no alarm); the time
	// left until harm, negative if it does not come to class 3; and the
	// sentence a person reads.
	Class    int
	HarmIn   time.Duration
	Sentence string

	// For Clear, and for Tick where a condition went and came again: how long it was
	// there by the clock of what saw it. A condition that lasted for its on-delay is an
	// alarm though it is over when the alarms hear of it.
	Lasted time.Duration

	// For what a person asks: who. For Shelve also for how long, shortened to
	// ShelveMax of the priority.
	By  string
	For time.Duration
}

// FromFinding is the event a finding makes at a tank, and at a device if the
// finding is one of a device.
func FromFinding(tank, device string, f account.Finding) Event {
	e := Event{Do: Raise, Key: Key{Code: f.Code, Tank: tank, Device: device}}
	if !f.Ended.IsZero() {
		e.Do = Clear
		return e
	}
	e.Class, e.HarmIn, e.Sentence = f.Class, f.HarmIn, f.Sentence
	return e
}

// Transition is one change of one alarm, or one refusal, in which From and To
// are the same.
type Transition struct {
	Key      Key
	From, To State
	Reason   Reason
	At       time.Time
	By       string // the person, empty if none
	Priority Priority
	// Cause is what silences it, for To SuppressedByDesign.
	Cause Key
	// Until is the end of the shelving, for To Shelved.
	Until time.Time
}
