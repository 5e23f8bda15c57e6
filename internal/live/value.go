package live

import (
	"maps"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/wire"
)

// Value is all that is known of a tank at one moment. It is never changed: a Step
// makes the next one.
type Value struct {
	Account account.State
	// Last is what every channel said last, from whichever device.
	Last Lasts
	// Contacts is what every contact that is a condition by itself said last,
	// device by device: one that is dry does not make another dry.
	Contacts []Word
	// Conditions are those that contacts tell, by code, with when each began.
	Conditions map[account.Code]time.Time
	// Entered is what people saw at times up to which it is not known yet what the
	// tank said, in the order in which they entered it.
	Entered []account.Observation
	// Noted is the last full hour at which what is believed was noted.
	Noted time.Time
}

// Word is what a contact of a device said last.
type Word struct {
	Channel, Device string
	On              bool
	At              time.Time
}

// clone is a copy that shares nothing that can be changed.
func (v *Value) clone() *Value {
	next := *v
	next.Account = v.Account.Clone()
	next.Last = maps.Clone(v.Last)
	next.Contacts = slices.Clone(v.Contacts)
	next.Conditions = maps.Clone(v.Conditions)
	next.Entered = slices.Clip(v.Entered)
	return &next
}

// Heard is when anything was last heard of the tank; zero: never.
func (v *Value) Heard() time.Time {
	var at time.Time
	for _, l := range v.Last {
		if l.At.After(at) {
			at = l.At
		}
	}
	return at
}

// Last is what a channel said last.
type Last struct {
	Value float64
	At    time.Time
}

// Lasts is what every channel of a tank said last, by name.
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

// value is what a channel said last.
func (l Lasts) value(channel string) (v float64, known bool) {
	last, known := l[channel]
	return last.Value, known
}

// Channels are the channels that said something, by name.
func (l Lasts) Channels() []string { return slices.Sorted(maps.Keys(l)) }

// Over is a value that has worked through a tank's records, in the place of one
// that went on meanwhile: what channels said whose records are not kept any more
// stays known.
func (v *Value) Over(old *Value) *Value {
	next := v.clone()
	for channel, last := range old.Last {
		if _, heard := next.Last[channel]; !heard {
			next.Last[channel] = last
		}
	}
	return next
}
