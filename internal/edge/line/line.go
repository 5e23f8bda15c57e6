// Package line speaks with what a tank is wired to: GPIO lines, Modbus devices,
// MQTT topics. It turns them into the guard's contacts, and the agent's outputs
// into them; it decides nothing.
//
// What guarantees that an output goes off when this process can no longer see to
// it differs by wire, and each driver says it: see Open in gpio.go, modbus.go and
// mqtt.go. What no driver can cover, the hardware has to: docs/install-edge.md.
package line

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/wiring"
	"isohaline/internal/guard"
)

// Inputs is what the wires say now.
type Inputs struct {
	Contacts map[wiring.Input]guard.Contact `json:"contacts"`
	// LevelMM is NaN where none is fitted or none can be read; JSON has no
	// NaN, so it travels as LevelRead.
	LevelMM   float64 `json:"level_mm"`
	LevelRead bool    `json:"level_read"`
	// Deaf: an output did not take what it was told.
	Deaf bool `json:"deaf,omitempty"`
}

// Guard is the inputs as the guard takes them. What is not wired is Absent, and a
// guard that expects it calls it faulty. A deaf output is no input, and reads as a
// watch sensor that is faulty: the guard is off, and calls a person, for a pump that
// may not be.
func (in *Inputs) Guard() guard.Inputs {
	g := guard.Inputs{
		Watch: in.Contacts[wiring.Watch], Ceiling: in.Contacts[wiring.Ceiling], Floor: in.Contacts[wiring.Floor],
		ReservoirLow: in.Contacts[wiring.Reservoir], ReturnPump: in.Contacts[wiring.ReturnPump],
		LevelMM: math.NaN(),
	}
	if in.LevelRead {
		g.LevelMM = in.LevelMM
	}
	if in.Deaf {
		g.Watch = guard.Faulty
	}
	return g
}

// contact is a two-state reading.
func contact(on bool) guard.Contact {
	if on {
		return guard.Wet
	}
	return guard.Dry
}

// driver is one way of wiring.
type driver interface {
	// read adds what its inputs say. One that cannot be read is left out, and
	// the error says why.
	read(context.Context, *Inputs) error
	// drive makes its outputs so. Off comes first: it is tried for every output
	// even if one fails.
	drive(context.Context, lease.Outputs) error
	// close turns its outputs off and lets go of them.
	close() error
}

// Board is all the wires of one tank.
type Board struct {
	wiring  *wiring.Wiring
	drivers []driver
}

// Open takes hold of every wire, and turns every output off that can be reached. One
// that cannot, because its device or broker does not answer yet, is no reason not
// to begin: who drives the board sees the error and drives it again.
func Open(ctx context.Context, w *wiring.Wiring) (_ *Board, err error) {
	b := &Board{wiring: w}
	defer func() {
		if err != nil {
			err = errors.Join(err, b.Close())
		}
	}()
	add := func(d driver, err error) error {
		if err == nil && d != nil {
			b.drivers = append(b.drivers, d)
		}
		return err
	}
	if err := add(openGPIO(w)); err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(w.Devices)) {
		if err := add(openModbus(name, w)); err != nil {
			return nil, err
		}
	}
	if err := add(openMQTT(ctx, w)); err != nil {
		return nil, err
	}
	_ = b.Drive(ctx, lease.Outputs{})
	return b, nil
}

// Read is what every input says now. Inputs that cannot be read are faulty, and
// the error names them.
func (b *Board) Read(ctx context.Context) (Inputs, error) {
	in := Inputs{Contacts: map[wiring.Input]guard.Contact{}, LevelMM: 0}
	var errs []error
	for _, d := range b.drivers {
		errs = append(errs, d.read(ctx, &in))
	}
	for i := range b.wiring.Inputs {
		if _, ok := in.Contacts[i]; !ok && i != wiring.Level {
			in.Contacts[i] = guard.Faulty
		}
	}
	return in, errors.Join(errs...)
}

// Drive makes the outputs so.
func (b *Board) Drive(ctx context.Context, o lease.Outputs) error {
	var errs []error
	for _, d := range b.drivers {
		errs = append(errs, d.drive(ctx, o))
	}
	return errors.Join(errs...)
}

// Close turns everything off and lets go.
func (b *Board) Close() error {
	var errs []error
	for _, d := range b.drivers {
		errs = append(errs, d.close())
	}
	return errors.Join(errs...)
}

// failed names the input or output that an error is about.
func failed[N ~string](what N, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", string(what), err)
}
