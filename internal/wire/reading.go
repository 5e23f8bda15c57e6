package wire

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"isohaline/internal/problem"
)

// DeviceID names a device: the site it stands at and its own name there.
type DeviceID struct{ Site, Device string }

// String is the device as topics spell it: site/device.
func (d DeviceID) String() string { return d.Site + "/" + d.Device }

// Reading is one value of one channel at one instant.
type Reading struct {
	Site, Device, Channel string

	// At is when the value was true, to the microsecond, by the device's own time
	// where Clock is ByDevice and as the other words of Clock say where not.
	At time.Time
	// Received is when the front door had it.
	Received time.Time
	Clock    Clock
	// Skew is what was subtracted from the device's time to get At: by how much
	// its clock is ahead of ours, at the least; negative if it is behind. Zero
	// unless Clock is Restamped.
	Skew time.Duration

	// Value is the number, in Unit; of a switch 1 for on or wet, 0 for off or
	// dry; 0 beside a Text.
	Value float64
	// Unit is the channel's own unit, a symbol registered for SenML; empty for
	// switches and texts.
	Unit string
	// Text is the value of a text channel.
	Text string
}

// Key is what makes two readings the same reading.
type Key struct {
	Site, Device, Channel string
	AtMicros              int64 // since 1970-01-01T00:00Z
}

// Key is the reading's identity. A device that gets no acknowledgement sends
// again: whoever stores readings keeps this key unique and the first value of it.
func (r Reading) Key() Key {
	return Key{r.Site, r.Device, r.Channel, r.At.UnixMicro()}
}

// Clock says where the time of a reading comes from.
type Clock uint8

const (
	ByDevice  Clock = iota // the device said when
	ByArrival              // the device gave no time, or one relative to now
	Restamped              // the device gave a time that cannot be; see Reading.Skew
)

// String is the clock in words.
func (c Clock) String() string {
	switch c {
	case ByDevice:
		return "device"
	case ByArrival:
		return "arrival"
	case Restamped:
		return "restamped"
	}
	return fmt.Sprintf("clock %d", uint8(c))
}

// Bounds of what one reading may hold.
const (
	maxNameLen    = 64  // of a site or a device
	maxChannelLen = 128 // of a channel
	maxTextLen    = 1024
	maxUnitLen    = 32
)

// Validate checks what every reading must have, whoever made it: names, times
// and a finite value. The log checks it before writing and after reading.
func (r Reading) Validate() error {
	switch {
	case !validName(r.Site):
		return invalid("site", r.Site, nameFix)
	case !validName(r.Device):
		return invalid("device", r.Device, nameFix)
	case !validChannel(r.Channel):
		return invalid("channel", r.Channel, channelFix)
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return &Problem{OutOfRange, problem.Problem{Field: "value", Value: fmt.Sprint(r.Value), Why: "is no number", Fix: "leave the reading out"}}
	case len(r.Unit) > maxUnitLen || !utf8.ValidString(r.Unit):
		return invalid("unit", r.Unit, fmt.Sprintf("use at most %d bytes of UTF-8", maxUnitLen))
	case !validText(r.Text):
		return invalid("text", r.Text, textFix)
	case !inCalendar(r.At):
		return invalid("at", r.At.String(), "use a time of the years 1 to 9999")
	case !inCalendar(r.Received):
		return invalid("received", r.Received.String(), "use a time of the years 1 to 9999")
	}
	return nil
}

func invalid(field, value, fix string) error {
	return &Problem{Malformed, problem.Problem{Field: field, Value: value, Why: "is not valid", Fix: fix}}
}

// inCalendar excludes the zero time, which means that nobody set it.
func inCalendar(t time.Time) bool { return !t.IsZero() && t.Year() >= 1 && t.Year() <= 9999 }

const (
	nameFix    = "use 1 to 64 of a-z 0-9 - _, beginning with a letter or a digit"
	channelFix = "use names of a-z 0-9 - _ with / between them, 128 characters at most"
)

// validName says whether a site or a device may be called this: a name that is
// one level of an MQTT topic and one token of a NATS subject, the same in both.
func validName(s string) bool { return len(s) <= maxNameLen && isName(s) }

// validChannel says whether a channel may be called this.
func validChannel(s string) bool {
	if len(s) > maxChannelLen {
		return false
	}
	for level := range strings.SplitSeq(s, "/") {
		if !isName(level) {
			return false
		}
	}
	return true
}

// textFix is made of maxTextLen.
const textFix = "use at most 1024 bytes of UTF-8, without the character 0"

// validText says whether every database can hold the text.
func validText(s string) bool {
	return len(s) <= maxTextLen && utf8.ValidString(s) && strings.IndexByte(s, 0) < 0
}

func isName(s string) bool {
	for i := range len(s) {
		c := s[i]
		letter := 'a' <= c && c <= 'z' || '0' <= c && c <= '9'
		if !letter && (i == 0 || c != '-' && c != '_') {
			return false
		}
	}
	return s != ""
}
