// Package edgeio is what a tank is wired to: GPIO lines, Modbus devices, MQTT topics,
// or a simulated tank. It reads wiring files, strictly: a sensor that is wired to the
// wrong line is a flood, so nothing is guessed and nothing unknown is let pass. And it
// holds the wires: it turns them into the guard's contacts, and the agent's outputs
// into them. It decides nothing.
//
// # A new kind of wire
//
// Each kind of wire has one file here, a driver: how its part of a wiring file is read
// and checked, how its wires are read and driven, and what guarantees that an output
// goes off when this process can no longer see to it. For a new one write a file with
// a driver beside gpio.go, modbus.go and mqtt.go, name it in drivers below, and say in
// docs/install-edge.md how it is wired and what its off rests on. What no driver can
// cover, the hardware has to.
//
// Package wire is something else: how readings travel from devices and edges to the
// hub. The folder is called io for what it is; the package is not, so that io stays
// the standard library's wherever both are used.
package edgeio

import (
	"context"
	"slices"
	"time"

	"isohaline/internal/edge/lease"
)

// Wiring is a file that has been read and checked.
type Wiring struct {
	// Lease is how long an output stays on without another word.
	Lease time.Duration
	// Inputs and Outputs are what is wired.
	Inputs  map[Input]bool
	Outputs map[Output]bool
	// Warnings are what is no fault of the file, and should be known.
	Warnings []string

	drivers []driver
}

// driver is one kind of wire in one wiring file. It is first given its part of the
// file, piece by piece, and then opened.
type driver interface {
	// section reads the group of the driver's name at the top of the file; of a
	// file without one it is not called.
	section(r *reader, path string, n *node)
	// inputKeys and outputKeys are the keys that the wiring of an input or output
	// may have, the driver's name first; none if it cannot be wired so.
	inputKeys(Input) []string
	outputKeys() []string
	// input and output read how an input or output is wired and return its place,
	// which nothing else may have; empty after a problem.
	input(g group, i Input) (place string)
	output(g group, o Output) (place string)
	// open takes hold of all that was read; none of nothing.
	open(context.Context) ([]wires, error)
}

// wires are some inputs and outputs that are held.
type wires interface {
	// read adds what its inputs say. One that cannot be read is left out, and
	// the error says why.
	read(context.Context, *Inputs) error
	// drive makes its outputs so. Off comes first: it is tried for every output
	// even if one fails.
	drive(context.Context, lease.Outputs) error
	// close turns its outputs off and lets go of them.
	close() error
}

// drivers are the kinds of wire by the key that names them in a wiring file, in the
// order in which messages list them.
var drivers = []struct {
	name string
	// grouped: what all its wires share stands in a group of its name at the top
	// of the file.
	grouped bool
	begin   func() driver
}{
	{"gpio", false, newGPIO},
	{"modbus", true, newModbus},
	{"mqtt", true, newMQTT},
}

// Input is one of the guard's inputs.
type Input string

const (
	Watch      Input = "watch"
	Ceiling    Input = "ceiling"
	Floor      Input = "floor"
	Reservoir  Input = "reservoir"
	ReturnPump Input = "return pump"
	Level      Input = "level"
)

// inputs are all of them, in the order of a file.
var inputs = []Input{Watch, Ceiling, Floor, Reservoir, ReturnPump, Level}

// states are the words of a file for an input's two states.
func (i Input) states() (on, off string) {
	if i == ReturnPump {
		return "running", "stopped"
	}
	return "wet", "dry"
}

// when is the key that says which of a line's two states means on.
func (i Input) when() string {
	on, _ := i.states()
	return on + " when"
}

// onWhen is the key that says which of a line's two states turns an output on.
const onWhen = "on when"

// Output is one of the agent's outputs.
type Output string

const (
	Pump  Output = "pump"
	Valve Output = "valve"
	Horn  Output = "horn"
)

// outputs are all of them, in the order of a file.
var outputs = []Output{Pump, Valve, Horn}

// Of is what an output shall be.
func (o Output) Of(l lease.Outputs) bool {
	switch o {
	case Pump:
		return l.Pump
	case Valve:
		return l.Valve
	}
	return l.Horn
}

// scale makes a level of a number: OffsetMM + PerMM × the number.
type scale struct{ perMM, offsetMM float64 }

func (s scale) mm(x float64) float64 { return s.offsetMM + s.perMM*x }

// union is lists one after the other, each word once.
func union(lists ...[]string) []string {
	var out []string
	for _, w := range slices.Concat(lists...) {
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}
