// Package wiring knows which real thing stands behind each input and output of a
// tank: a GPIO line, a point of a Modbus device, a topic of an MQTT broker. It
// reads and checks wiring files, strictly: a sensor that is wired to the wrong
// line is a flood, so nothing is guessed and nothing unknown is let pass.
//
// docs/install-edge.md shows a file.
package wiring

import (
	"time"

	"isohaline/internal/edge/lease"
)

// Wiring is a file that has been read and checked.
type Wiring struct {
	// Lease is how long an output stays on without another word.
	Lease time.Duration
	// Broker is nil where nothing is wired over MQTT.
	Broker  *Broker
	Devices map[string]Device // of Modbus, by name
	Inputs  map[Input]Source
	Outputs map[Output]Sink
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

// Inputs are all of them, in the order of a file.
var Inputs = []Input{Watch, Ceiling, Floor, Reservoir, ReturnPump, Level}

// Output is one of the agent's outputs.
type Output string

const (
	Pump  Output = "pump"
	Valve Output = "valve"
	Horn  Output = "horn"
)

// Outputs are all of them, in the order of a file.
var Outputs = []Output{Pump, Valve, Horn}

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

// Source is where an input comes from: exactly one of the three.
type Source struct {
	Pin   *Pin
	Point *Point
	Topic *Topic
}

// Sink is where an output goes: exactly one of the three.
type Sink struct {
	Pin   *Pin
	Point *Point
	Topic *Topic
}

// Pin is a line of a GPIO chip, by the names that the kernel has for them.
type Pin struct {
	Chip, Line string
	// Pull is "up", "down" or "" for none, of an input.
	Pull string
	// ActiveLow: low means wet, running or on.
	ActiveLow bool
}

// Device is a Modbus device.
type Device struct {
	// URL is tcp://host:port or rtu:///dev/ttyUSB0.
	URL     string
	Unit    uint8
	Baud    uint // of a serial line
	Timeout time.Duration
	// Watchdog is a holding register that is written with a value at the start
	// and at every word: a device that has one turns its outputs off by itself
	// when nobody speaks to it. Nil: it has none.
	Watchdog *Register
}

// Register is a holding register and what is written to it.
type Register struct{ Address, Value uint16 }

// Table is one of the four kinds of point of Modbus.
type Table string

const (
	Coil     Table = "coil"
	Discrete Table = "discrete"
	Holding  Table = "holding"
	InputReg Table = "register" // an input register
)

// Point is a point of a Modbus device.
type Point struct {
	Device  string
	Table   Table
	Address uint16
	// ActiveLow: off means wet, running or on.
	ActiveLow bool
	// A level is OffsetMM + ScaleMM × the register.
	ScaleMM, OffsetMM float64
}

// Broker is where MQTT devices meet.
type Broker struct {
	URL            string // tcp://host:port
	User, Password string
	ClientID       string
}

// Topic is where an input is heard or an output commanded.
type Topic struct {
	Name string
	// On is the payload for wet, running or on; Off for the other.
	On, Off string
	// SilentAfter is how long an input is believed without another message.
	SilentAfter time.Duration
	// A level is OffsetMM + ScaleMM × the number in the payload.
	ScaleMM, OffsetMM float64
}
