// Package senml reads and writes Sensor Measurement Lists, RFC 8428, in JSON and
// in CBOR.
//
// A Pack is a list of Records. What would be said in every Record, the name's
// beginning, the time, the unit, may be said once, in base fields that hold from
// their Record on:
//
//	[{"bn":"lobby/sump-1/","bt":1.7e9,"n":"level","u":"m","v":0.312},
//	 {"n":"level","t":10,"v":0.311}]
//
// Resolve applies them, so that each Record stands alone:
//
//	lobby/sump-1/level  2023-11-14T22:13:20Z  0.312 m
//	lobby/sump-1/level  2023-11-14T22:13:30Z  0.311 m
//
// The package is strict: what RFC 8428 forbids is refused with the record, the
// field and the remedy, and nothing is guessed. As the RFC asks (section 4.4),
// fields it does not know are ignored unless their label ends in "_", which
// means "refuse me if you do not understand me". Sections below are those of
// RFC 8428.
//
// It is pure: no clock, no network. Nothing panics on any input.
package senml

import "time"

// Version is the newest version understood, and what a Pack without "bver" has
// (section 4.1).
const Version = 10

// MaxRecords is how many Records one Pack may have. RFC 8428 sets no limit; we
// do, because base fields let four bytes stand for a hundred.
const MaxRecords = 10_000

// absoluteFrom is 2^28 seconds: a smaller time counts from now, this and any
// later one from 1970-01-01T00:00Z without leap seconds (section 4.5.3).
const absoluteFrom = 1 << 28

// Pack is a SenML Pack as it was sent.
type Pack []Record

// Record is one Record of a Pack. A nil pointer, an empty name or unit, and a
// zero time mean that the field is absent. In base fields absent and zero
// differ: an absent one leaves the base as it was, zero resets it.
type Record struct {
	BaseVersion *int     // bver
	BaseName    *string  // bn
	BaseTime    *float64 // bt, seconds
	BaseUnit    *string  // bu
	BaseValue   *float64 // bv, added to Value
	BaseSum     *float64 // bs, added to Sum

	Name       string  // n, appended to the base name
	Unit       string  // u, in place of the base unit
	Time       float64 // t, seconds, added to the base time
	UpdateTime float64 // ut, seconds at most until the sensor's next reading

	// At most one of the four values is present; none only beside a sum.
	Value       *float64 // v
	StringValue *string  // vs
	BoolValue   *bool    // vb
	DataValue   []byte   // vd, nil when absent
	Sum         *float64 // s, the integral of the value over time
}

// Resolved is a Record that needs no other Record to be understood (section 4.6).
type Resolved struct {
	// Record is its number in the Pack, from 1.
	Record int
	// Name has 1 to 256 characters out of A-Z a-z 0-9 - : . / _ and begins with a
	// letter or a digit.
	Name string
	// Unit is as sent, empty when neither unit nor base unit was given.
	Unit string
	// Time is exact to the microsecond, which is what a float64 of seconds holds.
	Time time.Time
	// Relative says that Time was counted from the moment of arrival, as it is
	// where a Record gives no time at all.
	Relative   bool
	UpdateTime float64

	Value       *float64
	StringValue *string
	BoolValue   *bool
	DataValue   []byte
	Sum         *float64
}

// bare says whether the Record has base fields only: it sets them and measures
// nothing, like the first Record of the RFC's example in section 5.1.7.
func (r *Record) bare() bool {
	return r.Name == "" && r.Unit == "" && r.Time == 0 && r.UpdateTime == 0 && r.Sum == nil && r.values() == 0
}

// values counts the values present.
func (r *Record) values() int {
	n := 0
	for _, present := range []bool{r.Value != nil, r.StringValue != nil, r.BoolValue != nil, r.DataValue != nil} {
		if present {
			n++
		}
	}
	return n
}
