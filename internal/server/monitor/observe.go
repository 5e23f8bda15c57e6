package monitor

import (
	"time"

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

// value is what a channel said last.
func (l Lasts) value(channel string) (value float64, known bool) {
	last, known := l[channel]
	return last.Value, known
}
