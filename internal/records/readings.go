package records

import (
	"cmp"
	"iter"
	"slices"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// Reading is one value of one channel, in the channel's own unit, and the place
// that it stands at. At is in UTC, to the microsecond.
type Reading struct {
	At          time.Time
	Channel     string
	Value       float64
	Row, Column int
}

// Of is the reading as a device's own.
func (r *Reading) Of(device wire.DeviceID, received time.Time) wire.Reading {
	return channel.Reading(device, r.Channel, r.Value, r.At, received)
}

// Readings are many readings, held small: a recording may have millions.
type Readings struct {
	channels []string
	packed   []packed
}

// packed is a reading in 24 bytes. Its time is in microseconds since 1970, its
// channel a place in the list of channels.
type packed struct {
	atMicros int64
	value    float64
	row      int32 // of fewer than 2^31, as a table's bytes are
	column   uint8 // of at most MaxColumns
	channel  uint8
}

// Len is how many there are.
func (rs *Readings) Len() int { return len(rs.packed) }

// At is the reading at a place, from 0 to below Len.
func (rs *Readings) At(i int) Reading {
	p := &rs.packed[i]
	return Reading{time.UnixMicro(p.atMicros).UTC(), rs.channels[p.channel], p.value, int(p.row), int(p.column)}
}

// All are all of them, in their order.
func (rs *Readings) All() iter.Seq[Reading] {
	return func(yield func(Reading) bool) {
		for i := range rs.packed {
			if !yield(rs.At(i)) {
				return
			}
		}
	}
}

// Of are all of them as a device's own, received when they were recorded.
func (rs *Readings) Of(device wire.DeviceID) iter.Seq[wire.Reading] {
	return func(yield func(wire.Reading) bool) {
		for r := range rs.All() {
			if !yield(r.Of(device, r.At)) {
				return
			}
		}
	}
}

func (rs *Readings) add(r Reading) {
	i := slices.Index(rs.channels, r.Channel)
	if i < 0 {
		i = len(rs.channels)
		rs.channels = append(rs.channels, r.Channel)
	}
	rs.packed = append(rs.packed, packed{r.At.UnixMicro(), r.Value, int32(r.Row), uint8(r.Column), uint8(i)})
}

// sort brings readings into the order of time, and those of one time and channel
// into that of the rows.
func (rs *Readings) sort() {
	slices.SortFunc(rs.packed, func(a, b packed) int {
		return cmp.Or(cmp.Compare(a.atMicros, b.atMicros), cmp.Compare(rs.channels[a.channel], rs.channels[b.channel]), cmp.Compare(a.row, b.row))
	})
}

// once keeps the first of several readings of one channel at one time, and calls
// other with each of the others whose value is another.
func (rs *Readings) once(other func(first, r Reading)) {
	n := 0
	for i, p := range rs.packed {
		if n > 0 && rs.packed[n-1].atMicros == p.atMicros && rs.packed[n-1].channel == p.channel {
			if rs.packed[n-1].value != p.value {
				other(rs.At(n-1), rs.At(i))
			}
			continue
		}
		rs.packed[n] = p
		n++
	}
	rs.packed = rs.packed[:n]
}
