package live

import (
	"maps"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/wire"
)

// Value is everything known of a tank at one moment. It is never changed: Step returns
// the next one.
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

// Word is the last state that a device reported of a contact.
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

// Heard returns the time of the newest reading of the tank; zero where there is none.
func (v *Value) Heard() time.Time {
	var at time.Time
	for _, l := range v.Last {
		if l.At.After(at) {
			at = l.At
		}
	}
	return at
}

// Last is the newest reading of a channel: its value in the channel's unit, and its
// time.
type Last struct {
	Value float64
	At    time.Time
}

// Lasts holds the newest reading of every channel of a tank, by the channel's name.
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

// Channels returns the names of the channels that have a reading, in alphabetical
// order.
func (l Lasts) Channels() []string { return slices.Sorted(maps.Keys(l)) }

// Over returns v with the channels that only old has a reading of. v has worked
// through a tank's records to replace old, which went on at the same time; readings
// that old knows may no longer be kept.
func (v *Value) Over(old *Value) *Value {
	next := v.clone()
	for channel, last := range old.Last {
		if _, heard := next.Last[channel]; !heard {
			next.Last[channel] = last
		}
	}
	return next
}
