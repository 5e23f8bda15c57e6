// Package channel is the one list of what can be measured at a tank: what each
// thing is called, its units and how people spell them, the values that it can
// have, and what the account hears of it. Who reads, checks, imports, shows or
// forwards readings asks this package, and keeps no list of its own.
package channel

import (
	"maps"
	"slices"
	"sync"

	"isohaline/internal/account"
	"isohaline/internal/wire"
)

// The channels that the account understands. A contact is on while there is
// water at it, a pump while it runs.
const (
	WatchLevel      = "watch"
	CeilingLevel    = "ceiling"
	Floor           = "floor"
	Latched         = "latched"   // the guard has tripped, and waits for somebody on site
	Reservoir       = "reservoir" // the low sensor of the reservoir
	TopOffPump      = "pump"
	TopOffRan       = "pump-ran" // a whole run, told at its end
	ReturnPump      = "return-pump"
	Level           = "level" // in the chamber, above the datum
	WaterTemp       = "temperature"
	Salinity        = "salinity"
	RoomTemp        = "room-temperature"
	RoomHumidity    = "room-humidity"
	PowerRestored   = "power-restored"
	Heartbeat       = "heartbeat"
	ReservoirFilled = "reservoir-filled" // litres that went in, 0 if not measured
	WaterChange     = "water-change"     // litres of new water, as salty as the tank is to be
)

// channel is one thing a device may measure.
type channel struct {
	wire wire.Channel
	// scale makes the account's unit of the wire's.
	scale float64
	kind  account.Kind
	// unit is how screens name the wire's unit.
	unit string
}

// channels is everything there is. Ranges are wider than any tank's: what lies
// outside is no reading.
var channels = map[string]channel{
	WatchLevel:    contact(account.Watch),
	CeilingLevel:  contact(account.Ceiling),
	Floor:         contact(account.Floor),
	Latched:       contact(account.Heartbeat), // the account need not know
	Reservoir:     contact(account.ReservoirLow),
	ReturnPump:    contact(account.ReturnPump),
	TopOffPump:    contact(account.PumpOn), // PumpOff when it stops
	PowerRestored: contact(account.PowerRestored),
	Heartbeat:     contact(account.Heartbeat),
	TopOffRan:     number(account.PumpRan, "s", "s", 1, 0, 86_400),
	Level:         number(account.Level, "m", "m", mmPerM, -1, 10),
	WaterTemp:     number(account.WaterTemp, "Cel", "°C", 1, -5, 50),
	// SenML has no unit for practical salinity, which has none by its nature.
	Salinity:        number(account.Salinity, "", "PSU", 1, 0, 60),
	RoomTemp:        number(account.RoomAir, "Cel", "°C", 1, -30, 60),
	RoomHumidity:    number(account.RoomAir, "%RH", "%", 1/percent, 0, 100),
	ReservoirFilled: number(account.ReservoirFilled, "l", "L", 1, 0, 100_000),
	WaterChange:     number(account.WaterChange, "l", "L", 1, 0, 100_000),
}

const (
	mmPerM  = 1000
	percent = 100
)

func contact(kind account.Kind) channel {
	return channel{wire: wire.Channel{Kind: wire.Switch}, scale: 1, kind: kind}
}

func number(kind account.Kind, senml, unit string, scale, lo, hi float64) channel {
	return channel{wire: wire.Channel{Kind: wire.Number, Unit: senml, Min: lo, Max: hi}, scale: scale, kind: kind, unit: unit}
}

// Profile is what every device may say: any of the channels, in SenML or as a
// bare value on a topic of the channel's name. There is one; nobody may change it.
var Profile = sync.OnceValue(func() *wire.Profile {
	p := &wire.Profile{Channels: map[string]wire.Channel{}, Plain: map[string]wire.Mapping{}}
	for name, c := range channels {
		p.Channels[name] = c.wire
		p.Plain[name] = wire.Mapping{Channel: name}
	}
	return p
})

// recordings are the further units that people and loggers write a channel in,
// and what makes the wire's of them. The inch and the US gallon are exact by
// definition (NIST SP 811, appendix B.8).
var recordings = map[string]map[string]wire.Mapping{
	Level:           {"mm": {Unit: "mm"}, "cm": {Unit: "cm"}, "in": {Scale: 0.0254}},
	WaterTemp:       {"°F": fahrenheit},
	RoomTemp:        {"°F": fahrenheit},
	Salinity:        {"ppt": {}},
	TopOffRan:       {"min": {Unit: "min"}, "h": {Unit: "h"}},
	ReservoirFilled: {"mL": {Scale: 0.001}, "gal": {Scale: usGallonL}},
	WaterChange:     {"mL": {Scale: 0.001}, "gal": {Scale: usGallonL}},
}

const usGallonL = 3.785411784

var fahrenheit = wire.Mapping{Scale: 5.0 / 9, Offset: -160.0 / 9}

// Recordable are the channels that a record may be of, by name.
func Recordable() []string { return slices.Sorted(maps.Keys(channels)) }

// Units are the units that a record of a channel may be in, the channel's own
// first; none for a contact.
func Units(name string) []string {
	own := Unit(name)
	if own == "" {
		return nil
	}
	return append([]string{own}, slices.Sorted(maps.Keys(recordings[name]))...)
}

// Recorded is what a record of a channel in a unit means; an empty unit is the
// channel's own. ok is false where there is no such channel or unit.
func Recorded(name, unit string) (m wire.Mapping, ok bool) {
	c, ok := channels[name]
	if ok && unit != "" && unit != c.unit {
		m, ok = recordings[name][unit]
	}
	m.Channel = name
	return m, ok
}

// Unit is how a screen names a channel's unit, empty for contacts and for
// channels that are not ours.
func Unit(name string) string { return channels[name].unit }

// IsContact says whether a channel has two states.
func IsContact(name string) bool {
	c, ok := channels[name]
	return ok && c.wire.Kind == wire.Switch
}
