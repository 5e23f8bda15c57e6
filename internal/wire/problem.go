package wire

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"isohaline/internal/problem"
)

// Reason is why something was refused: one word for counters and screens.
type Reason uint8

const (
	BadCredentials Reason = iota // unknown device, wrong password, or another's client id
	NotYours                     // a topic outside the device's own site and name
	NoSubscribing                // devices have nothing to subscribe to
	TooLarge                     // more bytes or records than one message may have
	Malformed                    // no SenML, no number, no valid name
	UnknownChannel               // no such channel, or no mapping for this name
	WrongUnit                    // the unit is none of this channel
	OutOfRange                   // a value that the channel cannot have
	LogUnavailable               // the log did not take it in time: send again
	reasons                      // how many there are
)

var reasonWords = [reasons]string{
	"bad-credentials", "not-yours", "no-subscribing", "too-large", "malformed",
	"unknown-channel", "wrong-unit", "out-of-range", "log-unavailable",
}

// String is the reason in words that fit in a counter's label.
func (r Reason) String() string {
	if r < reasons {
		return reasonWords[r]
	}
	return "reason-" + strconv.Itoa(int(r))
}

// ParseReason is the reason of a word, false if it is none.
func ParseReason(word string) (Reason, bool) {
	i := slices.Index(reasonWords[:], word)
	return Reason(max(i, 0)), i >= 0
}

// Problem is why a message was refused, with the word that it is counted under.
type Problem struct {
	Reason Reason
	problem.Problem
}

// Unwrap is the complaint alone.
func (p *Problem) Unwrap() error { return &p.Problem }

// ReasonOf is the reason of a refusal: that of the Problem in err, otherwise
// LogUnavailable, because nothing but the log fails without one.
func ReasonOf(err error) Reason {
	var p *Problem
	if errors.As(err, &p) {
		return p.Reason
	}
	return LogUnavailable
}

// Refusal is one refused connection, subscription or message, for the page of the
// device it concerns.
type Refusal struct {
	At time.Time
	// Device is the zero DeviceID where the credentials were refused.
	Device   DeviceID
	ClientID string // empty for HTTP
	Topic    string // empty for a connection and for HTTP
	Reason   Reason
	// Message is the whole sentence, fix included.
	Message string
}

// String is the refusal on one line, for a log.
func (r Refusal) String() string {
	return fmt.Sprintf("%s %s %s: %s", r.Device, r.Topic, r.Reason, r.Message)
}
