package edgeio

import (
	"errors"
	"testing"

	periph "periph.io/x/conn/v3/gpio"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
)

// fakeLines are lines without a kernel.
type fakeLines struct {
	bits   periph.GPIOValue
	broken error
	closed bool
}

func (f *fakeLines) Read(periph.GPIOValue) (periph.GPIOValue, error) { return f.bits, f.broken }
func (f *fakeLines) Out(bits, _ periph.GPIOValue) error {
	if f.broken == nil {
		f.bits = bits
	}
	return f.broken
}
func (f *fakeLines) Close() error { f.closed = true; return nil }

// TestGPIOBits: which bit is which line, and which way round.
func TestGPIOBits(t *testing.T) {
	high, low := pin{}, pin{activeLow: true}
	in, out := &fakeLines{}, &fakeLines{}
	lines := &gpioLines{chips: []*gpioChip{{
		inputs:  &gpioSet{set: in, pins: []pin{high, low}, in: []Input{Watch, Ceiling}},
		outputs: &gpioSet{set: out, pins: []pin{low, high}, out: []Output{Pump, Valve}},
	}}}
	b := &Board{inputs: map[Input]bool{Watch: true, Ceiling: true}, held: []wires{lines}}
	for _, tt := range []struct {
		bits           periph.GPIOValue
		watch, ceiling guard.Contact
	}{
		{0b00, guard.Dry, guard.Wet},
		{0b01, guard.Wet, guard.Wet},
		{0b10, guard.Dry, guard.Dry},
		{0b11, guard.Wet, guard.Dry},
	} {
		in.bits = tt.bits
		got, err := b.Read(t.Context())
		if g := got.Guard(); err != nil || g.Watch != tt.watch || g.Ceiling != tt.ceiling {
			t.Errorf("%02b: %+v, %v", tt.bits, g, err)
		}
	}
	for _, tt := range []struct {
		out  lease.Outputs
		bits periph.GPIOValue
	}{
		{lease.Outputs{}, 0b01},
		{lease.Outputs{Pump: true}, 0b00},
		{lease.Outputs{Valve: true}, 0b11},
		{lease.Outputs{Pump: true, Valve: true, Horn: true}, 0b10},
	} {
		if err := b.Drive(t.Context(), tt.out); err != nil || out.bits != tt.bits {
			t.Errorf("%+v: %02b, %v; want %02b", tt.out, out.bits, err, tt.bits)
		}
	}
	if deaf := (&Inputs{Contacts: map[Input]guard.Contact{Watch: guard.Wet}, Deaf: true}).Guard(); deaf.Watch != guard.Faulty {
		t.Errorf("with a deaf output the guard reads %+v", deaf)
	}
	in.broken = errors.New("no such device")
	got, err := b.Read(t.Context())
	if g := got.Guard(); err == nil || g.Watch != guard.Faulty || g.Ceiling != guard.Faulty {
		t.Errorf("a chip that cannot be read reads %+v, %v", g, err)
	}
	if err := b.Close(); err != nil || out.bits != 0b01 || !out.closed || !in.closed {
		t.Errorf("closed with %02b: %v", out.bits, err)
	}
}
