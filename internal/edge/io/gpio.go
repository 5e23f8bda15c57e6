package edgeio

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"periph.io/x/conn/v3/driver/driverreg"
	periph "periph.io/x/conn/v3/gpio"
	"periph.io/x/host/v3/gpioioctl"

	"isohaline/internal/edge/lease"
)

// gpio is lines of GPIO chips, over Linux's character device. Inputs and outputs of
// a chip are one request each, so that they are read and written together and an
// error of the chip is an error here.
//
// Off is guaranteed by the process that holds the lines, which is not the one
// that runs the guard: it turns them off when the lease or its pipe ends. The
// kernel does not promise what a line does when its holder is killed; most chips
// leave it as it is until the agent has started another holder. If both are
// stopped at once nothing in software is left: that is for the hardware, a relay
// that needs pulses or a timer of its own.
type gpio struct {
	inputs  map[Input]pin
	outputs map[Output]pin
}

func newGPIO() driver { return &gpio{inputs: map[Input]pin{}, outputs: map[Output]pin{}} }

// pin is a line of a GPIO chip, by the names that the kernel has for them.
type pin struct {
	chip, line string
	// pull is "up", "down" or "" for none, of an input.
	pull string
	// activeLow: low means wet, running or on.
	activeLow bool
}

func (*gpio) section(*reader, string, *node) {}

func (*gpio) inputKeys(i Input) []string {
	if i == Level {
		return nil
	}
	return []string{"gpio", "pull", i.when()}
}

func (*gpio) outputKeys() []string { return []string{"gpio", onWhen} }

func (d *gpio) input(g group, i Input) string {
	p, place := pinOf(g, i.when())
	if pull := g.word("pull", "none", "up", "down"); pull != "none" {
		p.pull = pull
	}
	d.inputs[i] = p
	return place
}

func (d *gpio) output(g group, o Output) string {
	p, place := pinOf(g, onWhen)
	d.outputs[o] = p
	return place
}

// pinOf reads "chip/line". Which level means wet or on is never guessed.
func pinOf(g group, when string) (p pin, place string) {
	place = g.text("gpio", "", `"chip/line" by the kernel's names`)
	p.chip, p.line, _ = strings.Cut(place, "/")
	if place != "" && (p.chip == "" || p.line == "") {
		g.wrong("gpio", "is not a chip and a line", `write it like "gpiochip0/GPIO17"; the kernel's gpioinfo lists them`)
		place = ""
	}
	p.activeLow = g.word(when, "", "high", "low") == "low"
	return p, place
}

// gpioLines are the lines that are held.
type gpioLines struct{ chips []*gpioChip }

// gpioChip is what is wired to one chip.
type gpioChip struct {
	inputs, outputs *gpioSet
}

// kernelLines is one request to the kernel; a LineSet, or in tests a fake.
type kernelLines interface {
	Read(mask periph.GPIOValue) (periph.GPIOValue, error)
	Out(bits, mask periph.GPIOValue) error
	Close() error
}

// gpioSet is some lines of a chip, in one request to the kernel. A line's place
// in names is its bit.
type gpioSet struct {
	set   kernelLines
	names []string
	pins  []pin
	in    []Input
	out   []Output
}

// open takes hold of the lines.
func (d *gpio) open(context.Context) ([]wires, error) {
	sets := map[string]*[2]gpioSet{} // of each chip: inputs and outputs
	add := func(p pin, which int) *gpioSet {
		if sets[p.chip] == nil {
			sets[p.chip] = &[2]gpioSet{}
		}
		s := &sets[p.chip][which]
		s.names, s.pins = append(s.names, p.line), append(s.pins, p)
		return s
	}
	for _, i := range inputs {
		if p, ok := d.inputs[i]; ok {
			s := add(p, 0)
			s.in = append(s.in, i)
		}
	}
	for _, o := range outputs {
		if p, ok := d.outputs[o]; ok {
			s := add(p, 1)
			s.out = append(s.out, o)
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
	return []wires{lines}, nil
}

var pulls = map[string]periph.Pull{"": periph.PullNoChange, "up": periph.PullUp, "down": periph.PullDown}

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
	config := gpioioctl.LineSetConfig{Lines: s.names, DefaultDirection: direction, DefaultEdge: periph.NoEdge, DefaultPull: periph.PullNoChange}
	for i, p := range s.pins {
		if p.pull != "" {
			if err := config.AddOverrides(direction, periph.NoEdge, pulls[p.pull], s.names[i]); err != nil {
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
			in.Contacts[name] = contact(high != c.inputs.pins[i].activeLow)
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
		var bits periph.GPIOValue
		for i, o := range c.outputs.out {
			if o.Of(out) != c.outputs.pins[i].activeLow {
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
