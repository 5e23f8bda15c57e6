// Package lease is how an output stays on: only while the guard that wants it on
// says so again and again. What holds the line, a process of its own or the
// device itself, turns it off when the lease ends, whatever became of the guard.
//
// The package is pure; package keeper gives it a clock.
package lease

import "time"

const (
	// Usual is how long an output stays on without another word. A judgement:
	// twenty of the agent's steps, and about 30 mL of an ordinary pump.
	Usual = 2 * time.Second
	// Shortest and Longest are what a wiring may ask for.
	Shortest, Longest = 500 * time.Millisecond, 30 * time.Second
)

// Outputs is what can be on.
type Outputs struct {
	Pump  bool `json:"pump"`
	Valve bool `json:"valve"`
	Horn  bool `json:"horn"`
}

// Lease is outputs and until when they may be on. The zero value is off.
type Lease struct {
	Outputs Outputs
	Until   time.Duration
}

// Grant is a lease that begins now. A lease for nothing has no end to wait for.
func Grant(o Outputs, now, lasts time.Duration) Lease {
	if o == (Outputs{}) || lasts <= 0 {
		return Lease{}
	}
	return Lease{Outputs: o, Until: now + lasts}
}

// At is what may be on now. A clock that has gone back ends the lease: nothing is
// known of the time between.
func (l Lease) At(now, last time.Duration) Outputs {
	if now < last || now >= l.Until {
		return Outputs{}
	}
	return l.Outputs
}
