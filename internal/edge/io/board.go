package edgeio

import (
	"context"
	"errors"
	"fmt"
	"math"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
)

// Inputs is what the wires say now.
type Inputs struct {
	Contacts map[Input]guard.Contact `json:"contacts"`
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
		Watch: in.Contacts[Watch], Ceiling: in.Contacts[Ceiling], Floor: in.Contacts[Floor],
		ReservoirLow: in.Contacts[Reservoir], ReturnPump: in.Contacts[ReturnPump],
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

// Board is all the wires of one tank.
type Board struct {
	inputs map[Input]bool
	held   []wires
}

// Open takes hold of every wire, and turns every output off that can be reached. One
// that cannot, because its device or broker does not answer yet, is no reason not
// to begin: who drives the board sees the error and drives it again.
func Open(ctx context.Context, w *Wiring) (_ *Board, err error) {
	b := &Board{inputs: w.Inputs}
	defer func() {
		if err != nil {
			err = errors.Join(err, b.Close())
		}
	}()
	for _, d := range w.drivers {
		held, err := d.open(ctx)
		b.held = append(b.held, held...)
		if err != nil {
			return nil, err
		}
	}
	_ = b.Drive(ctx, lease.Outputs{})
	return b, nil
}

// Read is what every input says now. Inputs that cannot be read are faulty, and
// the error names them.
func (b *Board) Read(ctx context.Context) (Inputs, error) {
	in := Inputs{Contacts: map[Input]guard.Contact{}, LevelMM: 0}
	var errs []error
	for _, d := range b.held {
		errs = append(errs, d.read(ctx, &in))
	}
	for i := range b.inputs {
		if _, ok := in.Contacts[i]; !ok && i != Level {
			in.Contacts[i] = guard.Faulty
		}
	}
	return in, errors.Join(errs...)
}

// Drive makes the outputs so.
func (b *Board) Drive(ctx context.Context, o lease.Outputs) error {
	var errs []error
	for _, d := range b.held {
		errs = append(errs, d.drive(ctx, o))
	}
	return errors.Join(errs...)
}

// Close turns everything off and lets go.
func (b *Board) Close() error {
	var errs []error
	for _, d := range b.held {
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
