package channel

import (
	"time"

	"isohaline/internal/account"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/wire"
)

// Observation is what a reading tells the account; ok is false where it tells
// nothing. last is the last value of another channel of the tank, which must
// include the reading: the account takes the air's temperature and humidity as one.
func Observation(r *wire.Reading, last func(channel string) (value float64, known bool)) (o account.Observation, ok bool) {
	c, known := Find(r.Channel)
	if !known || c.hears == 0 {
		return o, false
	}
	o = account.Observation{At: r.At, Kind: c.hears, Value: c.heard(r.Value), Instrument: r.Device}
	switch r.Channel {
	case TopOffPump:
		o.Instrument, o.Value = "", 0
		if r.Value == 0 {
			o.Kind = account.PumpOff
		}
	case PowerRestored, Heartbeat, Latched: // that it said so is all
		o.Value = 0
	case RoomTemp, RoomHumidity:
		tempC, hasTemp := last(RoomTemp)
		humidityPercent, hasHumidity := last(RoomHumidity)
		if !hasTemp || !hasHumidity || r.Channel == RoomTemp {
			return o, false
		}
		o.Value, o.Second = tempC, humidityPercent/percent
	}
	return o, true
}

// ByHand returns what a person's measurement of a channel tells the account: value is
// in the screen's unit, by is the instrument. ok is false for a contact, for an
// unknown name and where it tells the account nothing.
func ByHand(name string, at time.Time, value float64, by string) (o account.Observation, ok bool) {
	c, known := Find(name)
	if !known || c.hears == 0 || c.Contact {
		return o, false
	}
	o = account.Observation{At: at, Kind: c.hears, Value: c.heard(value / c.onScreen().PerUnit), Instrument: by}
	if name == Salinity {
		o.SD = instrument.HandSDPSU(by)
	}
	return o, true
}

// heard is a value in the account's unit.
func (c *Channel) heard(value float64) float64 {
	if c.scale == 0 {
		return value
	}
	return value * c.scale
}
