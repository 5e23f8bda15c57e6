// Package keeper holds the wires in a process of its own.
//
// The agent decides, its keeper holds. The two speak over a pipe: the agent says
// what shall be on, ten times a second, and the keeper answers with what the
// inputs say. Each word is a lease. An agent that hangs, is stopped, is killed,
// or has its memory or disk taken away, says nothing more, and the keeper turns
// everything off when the lease ends, or at once when the pipe does.
//
// The other way round, a keeper that does not answer is killed and replaced, and
// the new one begins by turning everything off; meanwhile the agent reads no
// inputs, and its guard is off.
//
// If both are stopped at one moment, software has no word left. A Modbus device
// with a watchdog and an MQTT broker with a last will still have one; a GPIO
// line has not: docs/install-edge.md says what the hardware has to do there.
package keeper

import (
	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/lease"
)

// hello is the agent's first word: the wiring file.
type hello struct {
	File   string `json:"file"`
	Wiring []byte `json:"wiring"`
}

// word is what the agent says: what shall be on, for a lease from now.
type word struct {
	N   uint64        `json:"n"`
	Out lease.Outputs `json:"out"`
}

// answer is what the keeper says to a word, or with N 0 to the hello.
type answer struct {
	N     uint64        `json:"n"`
	In    edgeio.Inputs `json:"in"`
	Error string        `json:"error,omitempty"`
}
