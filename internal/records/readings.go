package records

import (
	"cmp"
	"iter"
	"os"
	"slices"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// Reading is one value of one channel, in the channel's own unit, and where it stands
// in the table: Row and Column count from 1, Column is 0 for a line of SenML. At is in
// UTC, to the microsecond.
type Reading struct {
	At          time.Time
	Channel     string
	Value       float64
	Row, Column int
}

// Of returns the reading as one of a device, received at a time.
func (r *Reading) Of(device wire.DeviceID, received time.Time) wire.Reading {
	return channel.Reading(device, r.Channel, r.Value, r.At, received)
}

// Readings are many readings in the order of time, each channel and time once. A
// recording may have millions, so they are held small, or in a scratch file
// (Bounds.Scratch).
type Readings struct {
	channels []string
	packed   []packed
	n        int   // how many there are; until they are settled, how many were added
	from, to int64 // their times, in microseconds since 1970
	err      error // the first of the scratch file

	scratch *os.File
	held    int
	runs    []run
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

// Len returns how many readings there are.
func (rs *Readings) Len() int { return rs.n }

// Span returns the times of the first and the last reading, in UTC; zero where there
// is none.
func (rs *Readings) Span() (from, to time.Time) {
	if rs.n == 0 {
		return from, to
	}
	return time.UnixMicro(rs.from).UTC(), time.UnixMicro(rs.to).UTC()
}

// All iterates over the readings in the order of time. Where the scratch file cannot
// be read it ends early, and Err returns why.
func (rs *Readings) All() iter.Seq[Reading] {
	return func(yield func(Reading) bool) {
		for p := range rs.distinct(nil) {
			if !yield(rs.unpack(p)) {
				return
			}
		}
	}
}

// Err returns why All or Of ended early; nil where neither did.
func (rs *Readings) Err() error { return rs.err }

// Of iterates like All, with each reading as one of a device, received when it was
// recorded.
func (rs *Readings) Of(device wire.DeviceID) iter.Seq[wire.Reading] {
	return func(yield func(wire.Reading) bool) {
		for r := range rs.All() {
			if !yield(r.Of(device, r.At)) {
				return
			}
		}
	}
}

func (rs *Readings) unpack(p packed) Reading {
	return Reading{time.UnixMicro(p.atMicros).UTC(), rs.channels[p.channel], p.value, int(p.row), int(p.column)}
}

// expect makes room for as many as will come, or as are held.
func (rs *Readings) expect(n int) {
	if rs.scratch != nil {
		n = min(n, rs.held)
	}
	rs.packed = make([]packed, 0, n)
}

func (rs *Readings) add(r Reading) {
	i := slices.Index(rs.channels, r.Channel)
	if i < 0 {
		i = len(rs.channels)
		rs.channels = append(rs.channels, r.Channel)
	}
	rs.n++
	rs.packed = append(rs.packed, packed{r.At.UnixMicro(), r.Value, int32(r.Row), uint8(r.Column), uint8(i)})
	if rs.scratch != nil && len(rs.packed) >= rs.held {
		rs.putAway()
	}
}

// compare is the order of time, and of those of one time and channel that of the
// rows and columns.
func (rs *Readings) compare(a, b packed) int {
	return cmp.Or(cmp.Compare(a.atMicros, b.atMicros), cmp.Compare(rs.channels[a.channel], rs.channels[b.channel]), cmp.Compare(a.row, b.row), cmp.Compare(a.column, b.column))
}

// settle ends the adding, and calls other with each reading for which there is
// another value at the same time, which stays.
func (rs *Readings) settle(other func(first, r Reading)) error {
	if len(rs.runs) > 0 {
		rs.putAway()
		rs.packed = nil
	}
	slices.SortFunc(rs.packed, rs.compare)
	n := 0
	for p := range rs.distinct(other) {
		if n == 0 {
			rs.from = p.atMicros
		}
		rs.to = p.atMicros
		n++
	}
	rs.n = n
	return rs.err
}

// distinct keeps the first of several readings of one channel at one time, and calls
// other, where there is one, with each of the others whose value is another.
func (rs *Readings) distinct(other func(first, r Reading)) iter.Seq[packed] {
	return func(yield func(packed) bool) {
		var first packed
		begun := false
		for p := range rs.ordered() {
			if begun && first.atMicros == p.atMicros && first.channel == p.channel {
				if first.value != p.value && other != nil {
					other(rs.unpack(first), rs.unpack(p))
				}
				continue
			}
			if first, begun = p, true; !yield(p) {
				return
			}
		}
	}
}

// ordered are all that were added, in order.
func (rs *Readings) ordered() iter.Seq[packed] {
	if len(rs.runs) > 0 {
		return rs.merged
	}
	return slices.Values(rs.packed)
}
