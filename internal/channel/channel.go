// Package channel is the one list of what can be measured at a tank: what each
// thing is called, its units and how people spell them, the values that it can
// have, and what the account hears of it. Who reads, checks, imports, shows or
// forwards readings asks this package, and keeps no list of its own.
//
// To have one thing more measured, add its row to list.go; docs/wire.md's table is
// made from it (go test ./internal/channel -update). Only what the account is to
// reckon with needs more: a kind of account.Observation.
package channel

import (
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/units"
	"isohaline/internal/wire"
)

// Channel is one thing that can be measured at a tank: a contact, which has two
// states, or a number.
type Channel struct {
	// Name is what devices and tables call it: lower case, "-" between words.
	Name string
	// Title is what stands above its chart.
	Title string
	// Contact: it is 1 while there is water at it, or while what it stands for
	// runs, and 0 while not. A contact has no unit and no range.
	Contact bool
	// Turned is what the ledger says when a contact turns off, and on; empty where
	// it says nothing.
	Turned [2]string
	// SenML is the unit of the number on the wire and in the store, a symbol
	// registered for SenML (RFC 8428, section 12.1); empty where SenML has none for
	// it. Unit is the same unit as tables and people write it.
	SenML, Unit string
	// Min and Max are the values that an instrument can possibly show, in Unit, ends
	// included. They are wider than any tank's: what lies outside is no reading.
	Min, Max float64
	// Also are the further units that people and loggers write it in.
	Also map[string]wire.Mapping
	// Screen is the unit in which screens show it.
	Screen Screen
	// Headings are what stands above its column in tables, beside its name: small
	// letters, one blank between words.
	Headings []string
	// Hand is how people measure it; nil where they do not.
	Hand *Hand

	// hears is what the account takes a reading for, 0 where it takes none; scale
	// makes the account's unit of Unit, 0 counts as 1.
	hears account.Kind
	scale float64
}

// Screen is the unit in which screens show a channel: the number shown is the value in
// Channel.Unit times PerUnit. The zero value means the channel's own unit.
type Screen struct {
	Unit    string
	PerUnit float64
}

// Hand is how people measure a channel.
type Hand struct {
	// Quantity reads what they type, in the screen's unit.
	Quantity *units.Kind
	// Units are those that they may choose from, the screen's first.
	Units []string
	// Instruments are what they measure with, the most usual first.
	Instruments []string
}

// OtherInstrument is what people measure with that is not in the list.
const OtherInstrument = "other"

// List returns all channels, in the order in which screens show them. The slice is
// shared: it must not be changed.
func List() []Channel { return list }

// Find returns the channel with a name; ok is false where there is none. The channel
// is shared: it must not be changed.
func Find(name string) (*Channel, bool) {
	i, ok := byName[name]
	if !ok {
		return nil, false
	}
	return &list[i], true
}

var byName = func() map[string]int {
	m := make(map[string]int, len(list))
	for i := range list {
		m[list[i].Name] = i
	}
	return m
}()

// onScreen is the unit in which screens show a channel.
func (c *Channel) onScreen() Screen {
	if c.Screen.Unit == "" {
		return Screen{c.Unit, 1}
	}
	return c.Screen
}

// Shown returns the unit in which screens show the channel of a name; without a unit
// and with PerUnit 1 for a contact and for an unknown name.
func Shown(name string) Screen {
	c, ok := Find(name)
	if !ok || c.Contact {
		return Screen{PerUnit: 1}
	}
	return c.onScreen()
}

// Title returns the title of the channel of a name, and the name itself where it is
// unknown.
func Title(name string) string {
	if c, ok := Find(name); ok {
		return c.Title
	}
	return name
}

// HandRange returns the least and the largest value that a person may enter, both
// included, in the screen's unit. Both are 0 for a contact.
func (c *Channel) HandRange() (lo, hi float64) {
	per := c.onScreen().PerUnit
	return c.Min * per, c.Max * per
}

// Profile is what every device may say: any of the channels, in SenML or as a
// bare value on a topic of the channel's name. There is one; nobody may change it.
var Profile = sync.OnceValue(func() *wire.Profile {
	p := &wire.Profile{Channels: map[string]wire.Channel{}, Plain: map[string]wire.Mapping{}}
	for i := range list {
		c := &list[i]
		p.Channels[c.Name] = wire.Channel{Kind: wire.Number, Unit: c.SenML, Min: c.Min, Max: c.Max}
		if c.Contact {
			p.Channels[c.Name] = wire.Channel{Kind: wire.Switch}
		}
		p.Plain[c.Name] = wire.Mapping{Channel: c.Name}
	}
	return p
})

// Reading returns a device's reading of the channel of a name: value in the channel's
// unit, at when it was measured, received when it came. It does not check the value;
// wire.Reading.Validate does.
func Reading(id wire.DeviceID, name string, value float64, at, received time.Time) wire.Reading {
	return wire.Reading{Site: id.Site, Device: id.Device, Channel: name, At: at, Received: received,
		Clock: wire.ByDevice, Value: value, Unit: Profile().Channels[name].Unit}
}

// Names returns the names of all channels in alphabetical order.
func Names() []string { return slices.Sorted(maps.Keys(byName)) }

// Units returns the units that a table may give a channel in, the channel's own first
// and the others in alphabetical order; nil for a contact and for an unknown name.
func Units(name string) []string {
	c, ok := Find(name)
	if !ok || c.Contact {
		return nil
	}
	return append([]string{c.Unit}, slices.Sorted(maps.Keys(c.Also))...)
}

// Recorded returns how a value of a channel in a unit becomes one in the channel's
// own; an empty unit is the channel's own. ok is false where there is no such channel
// or it has no such unit.
func Recorded(name, unit string) (m wire.Mapping, ok bool) {
	c, ok := Find(name)
	if ok && unit != "" && unit != c.Unit {
		m, ok = c.Also[unit]
	}
	m.Channel = name
	return m, ok
}

// Unit returns the unit of a channel as tables write it; empty for a contact and for
// an unknown name.
func Unit(name string) string {
	if c, ok := Find(name); ok {
		return c.Unit
	}
	return ""
}

// IsContact reports whether the channel of a name has two states; false for an unknown
// name.
func IsContact(name string) bool {
	c, ok := Find(name)
	return ok && c.Contact
}

// Headed returns the name of the channel whose column has a heading. The heading is in
// small letters with one blank between words; ok is false where no channel has it.
func Headed(heading string) (name string, ok bool) {
	name, ok = headings()[heading]
	return name, ok
}

var headings = sync.OnceValue(func() map[string]string {
	m := map[string]string{}
	for i := range list {
		c := &list[i]
		for _, h := range c.Headings {
			m[h] = c.Name
		}
		m[strings.ReplaceAll(c.Name, "-", " ")] = c.Name
	}
	return m
})
