package wire

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"isohaline/internal/problem"
)

// Profile is what a device may say and in which words. The caller keeps one per
// device; it must not change once handed over.
type Profile struct {
	// Channels is what the device measures, by name.
	Channels map[string]Channel
	// Plain maps the device's own words to channels: the end of a topic below
	// <site>/<device>/, or a member of a JSON object.
	Plain map[string]Mapping
	// Names maps SenML names to channels, for devices whose names are not ours,
	// like "urn:dev:ow:10e2073a01080063". A channel's own name needs no entry.
	Names map[string]string
}

// Channel is one thing that a device measures.
type Channel struct {
	Kind Kind
	// Unit is a symbol registered for SenML. A reading may come in a unit that
	// RFC 8798 defines as a multiple of it. Numbers only.
	Unit string
	// Min and Max are the values that the instrument can possibly show; others
	// are refused. Numbers only.
	Min, Max float64
}

// Kind is the type of a channel's values.
type Kind uint8

const (
	Number Kind = iota
	Switch      // two states
	Text        // words
)

// Mapping is what a bare number on one of the device's own topics means: the
// channel's value is number*Scale + Offset, in Unit. So degrees Fahrenheit have
// Scale 5/9 and Offset -160/9, and a switch that says 1 for dry has -1 and 1.
type Mapping struct {
	Channel string
	Unit    string  // empty: the channel's own
	Scale   float64 // 0 counts as 1
	Offset  float64
}

// Check finds what no message could ever match: a mapping to a channel that is
// not there, a unit that cannot be the channel's, a range without values.
func (p *Profile) Check() error {
	for _, name := range slices.Sorted(maps.Keys(p.Channels)) {
		c := p.Channels[name]
		switch {
		case !validChannel(name):
			return invalid("channel", name, channelFix)
		case c.Kind > Text:
			return invalid("channel "+name+": kind", fmt.Sprint(c.Kind), "use Number, Switch or Text")
		case c.Kind == Number && !(c.Min < c.Max && !math.IsInf(c.Max-c.Min, 0)):
			return invalid("channel "+name+": range", fmt.Sprintf("%g to %g", c.Min, c.Max), "give the lowest and the highest value that can be")
		}
	}
	for _, word := range slices.Sorted(maps.Keys(p.Plain)) {
		m := p.Plain[word]
		c, ok := p.Channels[m.Channel]
		if !ok {
			return fmt.Errorf("plain %s: %w", word, p.noChannel(m.Channel))
		}
		if math.IsNaN(m.Scale+m.Offset) || math.IsInf(m.Scale+m.Offset, 0) {
			return invalid("plain "+word+": scale", fmt.Sprintf("%g, offset %g", m.Scale, m.Offset), "use finite numbers")
		}
		if _, ok := convert(1, m.Unit, c.Unit); !ok && m.Unit != "" {
			return fmt.Errorf("plain %s: %w", word, wrongUnit(m.Channel, m.Unit, c.Unit))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(p.Names)) {
		if _, ok := p.Channels[p.Names[name]]; !ok {
			return fmt.Errorf("name %s: %w", name, p.noChannel(p.Names[name]))
		}
	}
	return nil
}

// number makes a number the channel's own.
func (c Channel) number(name string, value float64, unit string) (float64, error) {
	converted, ok := convert(value, unit, c.Unit)
	switch {
	case !ok:
		return 0, wrongUnit(name, unit, c.Unit)
	case !(converted >= c.Min && converted <= c.Max): // NaN included
		shown := strings.TrimSpace(fmt.Sprintf("%g %s", value, unit))
		limits := strings.TrimSpace(fmt.Sprintf("%g to %g %s", c.Min, c.Max, c.Unit))
		return 0, &Problem{OutOfRange, problem.Problem{Field: name, Value: shown, Why: "cannot be: this channel has " + limits, Fix: "check the sensor, or correct the channel's range"}}
	}
	return converted, nil
}

func wrongUnit(channel, unit, want string) error {
	fix := fmt.Sprintf("send %q", want)
	if want == "" {
		fix = "send no unit"
	}
	p := &Problem{WrongUnit, problem.Problem{Field: channel, Value: unit, Why: "is no unit of this channel", Fix: fix}}
	if unit == "" {
		p.Why = "has no unit"
	}
	return p
}

func (p *Profile) noChannel(name string) *Problem {
	fix := "this device has no channels yet: add one"
	if known := slices.Sorted(maps.Keys(p.Channels)); len(known) > 0 {
		fix = "use " + list(known) + ", or add it to the device"
	}
	return &Problem{UnknownChannel, problem.Problem{Field: "channel", Value: name, Why: "is none of this device", Fix: fix}}
}

// maxListed is how many names a message lists.
const maxListed = 12

// list joins names for a sentence: "a, b or c".
func list(names []string) string {
	if len(names) > maxListed {
		return strings.Join(names[:maxListed], ", ") + " or one of the others"
	}
	last := len(names) - 1
	if last == 0 {
		return names[0]
	}
	return strings.Join(names[:last], ", ") + " or " + names[last]
}
