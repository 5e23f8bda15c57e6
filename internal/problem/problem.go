// Package problem is the one complaint about what people and devices hand in:
// where it stands, which field, what its value is, why that cannot be, and what
// to write instead.
//
// Who finds a mistake fills in what it knows, and leaves the rest empty: a unit's
// parser knows the value alone, the tank file's reader adds file, line and field.
// What a door needs beside the complaint, such as the word for its counters, it
// keeps beside it and unwraps to a *Problem.
package problem

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Problem is one thing to be corrected or, as a warning, to be checked. *Problem is an
// error; a List unwraps to them.
type Problem struct {
	// Where. Every number counts from 1, and 0 is not known: Line and Column of a
	// text (columns are characters), Row and Column of a table (columns are
	// cells), Record of a pack of readings.
	File                      string
	Line, Row, Column, Record int

	// Field is the path of keys, the name of a column or of a flag; items of a
	// list count from 1, as in "room.seasons[2].air".
	Field string
	// Value is what stands there; empty where nothing does.
	Value string
	// Why continues the sentence that the value begins: "is below 5 PSU".
	Why string
	// Fix is what would be valid: "give 5 to 42 PSU".
	Fix string
}

// Error returns the problem on one line: where: field: "value" why; fix. Parts that
// are not known are left out.
func (p Problem) Error() string {
	var b strings.Builder
	p.place(&b)
	if p.Value != "" {
		b.WriteString(strconv.Quote(Shown(p.Value)) + " ")
	}
	b.WriteString(p.Why)
	if p.Fix != "" {
		b.WriteString("; " + p.Fix)
	}
	return b.String()
}

// place writes where it is, and the field; a column of a table has its name
// beside its number.
func (p Problem) place(b *strings.Builder) {
	inTable := p.Line == 0 && p.Column > 0
	switch {
	case p.File != "":
		fmt.Fprintf(b, "%s:%d:%d: ", p.File, p.Line, p.Column)
	case p.Line > 0:
		fmt.Fprintf(b, "line %d: ", p.Line)
	case p.Row > 0:
		fmt.Fprintf(b, "row %d: ", p.Row)
	case p.Record > 0:
		fmt.Fprintf(b, "record %d: ", p.Record)
	}
	field := printable(p.Field)
	switch {
	case inTable && field != "":
		fmt.Fprintf(b, "column %d (%s): ", p.Column, field)
	case inTable:
		fmt.Fprintf(b, "column %d: ", p.Column)
	case field != "":
		b.WriteString(field + ": ")
	}
}

// printable is a field's name, which may be a device's own word with anything in
// it, on one line.
func printable(field string) string {
	quoted := strconv.Quote(Shown(field))
	return quoted[1 : len(quoted)-1]
}

// List holds every problem of one thing, in its order. It is an error: errors.As finds
// the whole list, or its first *Problem. An empty list is not nil as an error: return
// it only when it holds something.
type List []Problem

// Error returns one line for each problem.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i := range l {
		lines[i] = l[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns each problem as a *Problem.
func (l List) Unwrap() []error {
	errs := make([]error, len(l))
	for i := range l {
		errs[i] = &l[i]
	}
	return errs
}

// maxShown is how many characters of a value a message quotes: enough to find it
// by, and one line of a phone.
const maxShown = 40

// Shown returns a value as a message quotes it: valid UTF-8, at most 40 characters and
// an ellipsis where it is longer.
func Shown(value string) string {
	value = strings.ToValidUTF8(value, "?")
	if utf8.RuneCountInString(value) <= maxShown {
		return value
	}
	return string([]rune(value)[:maxShown]) + "…"
}
