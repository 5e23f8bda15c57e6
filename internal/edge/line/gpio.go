package line

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"periph.io/x/conn/v3/driver/driverreg"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/host/v3/gpioioctl"

	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/wiring"
)

// gpioLines are lines of GPIO chips, over Linux's character device. Inputs and
// outputs of a chip are one request each, so that they are read and written
// together and an error of the chip is an error here.
//
// Off is guaranteed by the process that holds the lines, which is not the one
// that runs the guard: it turns them off when the lease or its pipe ends. The
// kernel does not promise what a line does when its holder is killed; most chips
// leave it as it is until the agent has started another holder. If both are
// stopped at once nothing in software is left: that is for the hardware, a relay
// that needs pulses or a timer of its own.
type gpioLines struct{ chips []*gpioChip }

// gpioChip is what is wired to one chip.
type gpioChip struct {
	inputs, outputs *gpioSet
}

// kernelLines is one request to the kernel; a LineSet, or in tests a fake.
type kernelLines interface {
	Read(mask gpio.GPIOValue) (gpio.GPIOValue, error)
	Out(bits, mask gpio.GPIOValue) error
	Close() error
}

// gpioSet is some lines of a chip, in one request to the kernel. A line's place
// in names is its bit.
type gpioSet struct {
	set   kernelLines
	names []string
	pins  []*wiring.Pin
	in    []wiring.Input
	out   []wiring.Output
}

// openGPIO takes hold of the lines; nil if none is wired.
func openGPIO(w *wiring.Wiring) (driver, error) {
	sets := map[string]*[2]gpioSet{} // of each chip: inputs and outputs
	of := func(chip string) *[2]gpioSet {
		if sets[chip] == nil {
			sets[chip] = &[2]gpioSet{}
		}
		return sets[chip]
	}
	for _, i := range wiring.Inputs {
		if p := w.Inputs[i].Pin; p != nil {
			s := &of(p.Chip)[0]
			s.names, s.pins, s.in = append(s.names, p.Line), append(s.pins, p), append(s.in, i)
		}
	}
	for _, o := range wiring.Outputs {
		if p := w.Outputs[o].Pin; p != nil {
			s := &of(p.Chip)[1]
			s.names, s.pins, s.out = append(s.names, p.Line), append(s.pins, p), append(s.out, o)
		}
	}
	if len(sets) == 0 {
		return nil, nil
	}
	if _, err := driverreg.Init(); err != nil {
		return nil, fmt.Errorf("gpio: %w", err)
	}
	lines := &gpioLines{}
	for name, s := range sets {
		i := slices.IndexFunc(gpioioctl.Chips, func(c *gpioioctl.GPIOChip) bool { return c.Name() == name || c.Label() == name })
		if i < 0 {
			return nil, fmt.Errorf("gpio: there is no chip %q; gpioinfo lists the chips, and the agent's user needs to be in the group that owns /dev/gpiochip*", name)
		}
		c := &gpioChip{}
		var err error
		if c.inputs, err = s[0].request(gpioioctl.Chips[i], gpioioctl.LineInput); err == nil {
			c.outputs, err = s[1].request(gpioioctl.Chips[i], gpioioctl.LineOutput)
		}
		lines.chips = append(lines.chips, c)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("gpio %s: %w", name, err), lines.close())
		}
	}
	return lines, nil
}

var pulls = map[string]gpio.Pull{"": gpio.PullNoChange, "up": gpio.PullUp, "down": gpio.PullDown}

// request asks the kernel for the lines; nil for none. Outputs begin low, and a
// relay that is on when low is on for the moment until the first Drive: too short
// for a coil to move.
func (s *gpioSet) request(chip *gpioioctl.GPIOChip, direction gpioioctl.LineDir) (*gpioSet, error) {
	if len(s.names) == 0 {
		return nil, nil
	}
	for _, n := range s.names {
		if chip.ByName(n) == nil {
			return nil, fmt.Errorf("there is no line %q", n)
		}
	}
	config := gpioioctl.LineSetConfig{Lines: s.names, DefaultDirection: direction, DefaultEdge: gpio.NoEdge, DefaultPull: gpio.PullNoChange}
	for i, p := range s.pins {
		if p.Pull != "" {
			if err := config.AddOverrides(direction, gpio.NoEdge, pulls[p.Pull], s.names[i]); err != nil {
				return nil, err
			}
		}
	}
	set, err := chip.LineSetFromConfig(&config)
	if err != nil {
		return nil, err
	}
	s.set = set
	return s, nil
}

func (l *gpioLines) read(_ context.Context, in *Inputs) error {
	var errs []error
	for _, c := range l.chips {
		if c.inputs == nil {
			continue
		}
		bits, err := c.inputs.set.Read(0)
		errs = append(errs, failed("gpio", err))
		if err != nil {
			continue
		}
		for i, name := range c.inputs.in {
			high := bits&(1<<i) != 0
			in.Contacts[name] = contact(high != c.inputs.pins[i].ActiveLow)
		}
	}
	return errors.Join(errs...)
}

func (l *gpioLines) drive(_ context.Context, out lease.Outputs) error {
	var errs []error
	for _, c := range l.chips {
		if c.outputs == nil {
			continue
		}
		var bits gpio.GPIOValue
		for i, o := range c.outputs.out {
			if o.Of(out) != c.outputs.pins[i].ActiveLow {
				bits |= 1 << i
			}
		}
		errs = append(errs, failed("gpio", c.outputs.set.Out(bits, 0)))
	}
	return errors.Join(errs...)
}

func (l *gpioLines) close() error {
	err := l.drive(context.Background(), lease.Outputs{})
	for _, c := range l.chips {
		for _, s := range []*gpioSet{c.inputs, c.outputs} {
			if s != nil {
				err = errors.Join(err, s.set.Close())
			}
		}
	}
	return err
}
