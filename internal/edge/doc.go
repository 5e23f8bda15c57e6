// Package edge is the on-site agent: it drives the guard that the check has
// verified on a tank's real inputs and outputs, keeps what must survive, and
// needs no network. The network may only ask.
//
//	inputs ──▶ decide.Step ──▶ save ──▶ outputs, under a lease
//	             ▲     │
//	   requests ─┘     └─▶ answers, events
//
// Package decide is the decision, pure; requests decides which requests reach
// the guard; prooftest guides a person through the monthly test; lease is how an
// output stays on; io is the wires, real and simulated; keeper is the process that
// holds them; page is the tank's own page. Agent turns the wheel: ten times a
// second it reads, decides, saves if something must survive, and drives.
//
// # What a transport needs
//
// Agent.Ask takes a request and returns its answer; a request may be sent again
// until it is answered, because it takes effect once at most. Options.Heard is
// given every event, View.Channels is what the tank reads, and View the rest.
// With the four subjects that package wire has for an edge,
// isohaline.edge.<site>.<device>.:
//
//	ask   hub to edge   one requests.Request, as JSON
//	tell  edge to hub   one talk.Tell, as JSON: received, an answer, a picture
//	push  edge to hub   readings, by Channels; events that must not be lost too
//
// The hub sends an ask again every few seconds, until it is answered or
// requests.Fresh is over. It numbers what it asks of a tank (seq) and never goes
// back: microseconds since 1970 do, and an answer's last_seq says where to go on
// from. An ask has no field for "on site": what comes by a transport came from
// afar, and ends no latch.
package edge

import (
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/edge/decide"
	"isohaline/internal/guard"
)

// View is an agent at one moment.
type View struct {
	At      time.Time
	State   decide.State
	In      guard.Inputs
	Out     guard.Outputs
	Trouble []string // of the agent itself: wires, disk
	// GiveMostML is the most that may be given now.
	GiveMostML float64
	// Ends is when the guard will do something else by itself, zero if nothing is
	// due.
	Ends time.Time
}

// Channels is a view as readings, by the names and in the units of package channel.
// What cannot be read is left out.
func (v *View) Channels() map[string]float64 {
	readings := map[string]float64{channel.TopOffPump: number(v.Out.Pump), channel.Heartbeat: 1,
		channel.Latched: number(v.State.Guard.Phase == guard.Latched)}
	for name, c := range map[string]guard.Contact{channel.WatchLevel: v.In.Watch, channel.CeilingLevel: v.In.Ceiling, channel.Floor: v.In.Floor,
		channel.Reservoir: v.In.ReservoirLow, channel.ReturnPump: v.In.ReturnPump} {
		if c == guard.Wet || c == guard.Dry {
			readings[name] = number(c == guard.Wet)
		}
	}
	if mm := v.In.LevelMM; mm-mm == 0 { // a number
		readings[channel.Level] = mm / mmPerM
	}
	return readings
}

const mmPerM = 1000

func number(on bool) float64 {
	if on {
		return 1
	}
	return 0
}
