package monitor

import (
	"time"

	"isohaline/internal/account"
	"isohaline/internal/wire"
)

// Last is what a channel said last.
type Last struct {
	Value float64
	At    time.Time
}

// Lasts is what every channel of a tank said last.
type Lasts map[string]Last

// take notes a reading, unless a newer one is there already, and says whether
// the channel's value changed by it.
func (l Lasts) take(r *wire.Reading) (changed bool) {
	old, known := l[r.Channel]
	if known && r.At.Before(old.At) {
		return false
	}
	l[r.Channel] = Last{Value: r.Value, At: r.At}
	return !known || old.Value != r.Value
}

// observation is what a reading tells the account; ok is false where it tells
// nothing. It looks at what the tank's other channels said, so l must have taken
// the reading.
func (l Lasts) observation(r *wire.Reading) (o account.Observation, ok bool) {
	c, known := channels[r.Channel]
	if !known {
		return o, false
	}
	o = account.Observation{At: r.At, Kind: c.kind, Value: r.Value * c.scale, Instrument: r.Device}
	switch r.Channel {
	case TopOffPump:
		o.Instrument, o.Value = "", 0
		if r.Value == 0 {
			o.Kind = account.PumpOff
		}
	case PowerRestored, Heartbeat:
		o.Value = 0
	case RoomTemp, RoomHumidity:
		// The account wants the two together.
		temp, hasTemp := l[RoomTemp]
		humidity, hasHumidity := l[RoomHumidity]
		if !hasTemp || !hasHumidity || r.Channel == RoomTemp {
			return o, false
		}
		o.Value, o.Second = temp.Value, humidity.Value/percent
	}
	return o, true
}
