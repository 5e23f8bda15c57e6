package senml

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// maxShownLen cuts a value that an error quotes.
const maxShownLen = 40

// ErrTooMany refuses a Pack of more than MaxRecords.
var ErrTooMany error = &Error{Field: "pack", Reason: fmt.Sprintf("has more than %d records", MaxRecords), Fix: "send it in parts"}

// Error is why a Pack was refused: where, what stands there, and what would be
// valid.
type Error struct {
	Record int    // counts from 1; 0: the Pack as a whole
	Field  string // the label as in JSON, like "bn", also for CBOR
	Value  string // what stands there; empty where nothing does
	Reason string // continues the sentence that the value begins
	Fix    string
}

// Error is the problem on one line: record: field: value reason; fix.
func (e *Error) Error() string {
	var b strings.Builder
	if e.Record > 0 {
		fmt.Fprintf(&b, "record %d: ", e.Record)
	}
	b.WriteString(e.Field + ": ")
	if e.Value != "" {
		b.WriteString(strconv.Quote(shown(e.Value)) + " ")
	}
	b.WriteString(e.Reason)
	if e.Fix != "" {
		b.WriteString("; " + e.Fix)
	}
	return b.String()
}

// shown shortens a value for a message.
func shown(value string) string {
	if utf8.RuneCountInString(value) <= maxShownLen {
		return value
	}
	return string([]rune(value)[:maxShownLen]) + "…"
}

func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
