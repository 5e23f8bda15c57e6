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

// Screen is a unit and what makes it: the number times PerUnit. Of the zero value
// the unit is the channel's own.
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

// List are all channels, in the order in which people want to see them. Nobody may
// change it.
func List() []Channel { return list }

// Find is the channel of a name.
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

// Shown is the unit in which screens show a channel, the zero value for a contact
// and for a channel that is not ours.
func Shown(name string) Screen {
	c, ok := Find(name)
	if !ok || c.Contact {
		return Screen{PerUnit: 1}
	}
	return c.onScreen()
}

// Title is what stands above a channel's chart: its name, where it is not ours.
func Title(name string) string {
	if c, ok := Find(name); ok {
		return c.Title
	}
	return name
}

// HandRange are the values that people may read, in the screen's unit.
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

// Reading is a device's reading of a channel, in the channel's unit.
func Reading(id wire.DeviceID, name string, value float64, at, received time.Time) wire.Reading {
	return wire.Reading{Site: id.Site, Device: id.Device, Channel: name, At: at, Received: received,
		Clock: wire.ByDevice, Value: value, Unit: Profile().Channels[name].Unit}
}

// Names are the names of all channels, by the alphabet.
func Names() []string { return slices.Sorted(maps.Keys(byName)) }

// Units are the units that a record of a channel may be in, the channel's own
// first; none for a contact.
func Units(name string) []string {
	c, ok := Find(name)
	if !ok || c.Contact {
		return nil
	}
	return append([]string{c.Unit}, slices.Sorted(maps.Keys(c.Also))...)
}

// Recorded is what a record of a channel in a unit means; an empty unit is the
// channel's own. ok is false where there is no such channel or unit.
func Recorded(name, unit string) (m wire.Mapping, ok bool) {
	c, ok := Find(name)
	if ok && unit != "" && unit != c.Unit {
		m, ok = c.Also[unit]
	}
	m.Channel = name
	return m, ok
}

// Unit is how tables write a channel's unit, empty for contacts and for channels
// that are not ours.
func Unit(name string) string {
	if c, ok := Find(name); ok {
		return c.Unit
	}
	return ""
}

// IsContact says whether a channel has two states.
func IsContact(name string) bool {
	c, ok := Find(name)
	return ok && c.Contact
}

// Headed is the channel that a table's column of a heading is of: small letters,
// one blank between words.
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
