package channel

import (
	"isohaline/internal/account"
	"isohaline/internal/wire"
)

// Observation is what a reading tells the account; ok is false where it tells
// nothing. last is the last value of another channel of the tank, which must
// include the reading: the account takes the air's temperature and humidity as one.
func Observation(r *wire.Reading, last func(channel string) (value float64, known bool)) (o account.Observation, ok bool) {
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
		tempC, hasTemp := last(RoomTemp)
		humidityPercent, hasHumidity := last(RoomHumidity)
		if !hasTemp || !hasHumidity || r.Channel == RoomTemp {
			return o, false
		}
		o.Value, o.Second = tempC, humidityPercent/percent
	}
	return o, true
}
