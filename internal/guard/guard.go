// Package guard is the top-off controller: a pure state machine from (state,
// inputs, time) to (state, outputs). The same code runs in the design check, in
// the simulator and on the device at the tank. It reads no clock, allocates
// nothing, blocks on nothing and imports nothing of ours.
//
// A caller boots it once and steps it for ever:
//
//	state := guard.Boot(&settings, saved, now)
//	for {
//		state, outputs = guard.Step(&settings, state, inputs, now)
//		// drive the pump and the valve, save what must survive, wait
//	}
//
// A device waits a tenth of a second; a simulator waits until an input changes
// or until Deadline. The answers are the same.
//
// docs/guard.md explains the states, the settings, what is proved of them, and
// what no controller can do.
package guard

import (
	"strconv"
	"time"
)

// Contact is what a two-state input says.
type Contact uint8

const (
	Absent Contact = iota // not fitted
	Dry                   // no water at it; for ReturnPump: not running
	Wet                   // water at it; for ReturnPump: running
	Faulty                // fitted, but its reading cannot be true
)

// String is the contact in one word.
func (c Contact) String() string { return word(c, "absent", "dry", "wet", "faulty") }

// Phase is the state the guard is in.
type Phase uint8

const (
	Resting    Phase = iota // watch wet, nothing to do
	Confirming              // watch reads dry; waiting until that is certain
	Filling                 // pump on
	Settling                // pump off, waiting: after a fill, a start or a return-pump restart
	Held                    // off, by a person
	Latched                 // off, by a fault, until a person on site clears it
)

// String is the phase in one word.
func (p Phase) String() string {
	return word(p, "resting", "confirming", "filling", "settling", "held", "latched")
}

// Request is what a person asks at this step.
type Request uint8

const (
	NoRequest Request = iota
	Hold              // from anywhere
	Resume            // from anywhere: ends a hold, never a latch
	Clear             // on site only: ends a latch
	Give              // a measured amount, Inputs.GiveFor, beyond the watch level
	ShutValve         // from anywhere: a hold that does not expire
	Silence           // from anywhere: the horn, not the alarm
)

// String is the request in one word.
func (r Request) String() string {
	return word(r, "none", "hold", "resume", "clear", "give", "shut-valve", "silence")
}

// word is a small number's word, or the number itself where it has none.
func word[N ~uint8](n N, words ...string) string {
	if int(n) < len(words) {
		return words[n]
	}
	return strconv.Itoa(int(n))
}

// Inputs is one reading of everything the guard can see.
type Inputs struct {
	Watch, Ceiling, Floor Contact
	// ReservoirLow is Wet while there is water at the low sensor.
	ReservoirLow Contact
	// ReturnPump is Wet while the return pump runs.
	ReturnPump Contact
	// Request belongs to this step alone.
	Request Request
	// Remote says that it came over a network, from somebody who cannot see
	// the tank.
	Remote bool
	// GiveFor is how long the pump is to run for a Give.
	GiveFor time.Duration
	// LevelMM is the level above the chamber floor, NaN when not fitted.
	LevelMM float64
}

// Outputs is what the guard wants done now.
type Outputs struct {
	Pump  bool // run the top-off pump
	Valve bool // open the shut-off valve
	Horn  bool // sound: an alarm that nobody has silenced
	// Reason is why, and of a request that was taken the answer to it.
	Reason Reason
	// Refused is why this step's request was not taken, NoReason if it was.
	Refused Reason
	Alarms  Alarms
}

// Never is a deadline that does not come.
const Never time.Duration = 1<<63 - 1
