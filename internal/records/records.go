// Package records reads what was recorded elsewhere: tables of readings as
// spreadsheets and loggers write them (CSV), and lines of SenML.
//
// A table says nothing of itself, so a Mapping says how it is to be read. Guess
// makes one from the table, for a person to look at; Read reads by it. Every cell
// passes the same check as a device's message (wire.ReadPlain), and what does not
// pass is a problem with its row, its column and the fix; it stops nothing else.
// Any bytes may come.
//
// Write writes the table that Read takes in again without loss.
package records

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/problem"
	"isohaline/internal/wire"
)

// Use says what a column of a table holds.
type Use string

const (
	Ignore Use = "ignore"
	Time   Use = "time"  // when: day and time
	Date   Use = "date"  // when: the day
	Clock  Use = "clock" // when: the time of the Date
	Value  Use = "value" // readings of one channel
	// One reading a row: what it is of, what it is, and perhaps its unit.
	Name   Use = "name"
	Number Use = "number"
	Unit   Use = "unit"
)

// Column says what one column holds. Channel and Unit count for Value alone; an empty
// unit is the channel's own.
type Column struct {
	Use           Use
	Channel, Unit string
}

// Mapping says how a table is read.
type Mapping struct {
	Separator    rune
	Header       bool // the first row is one
	DecimalComma bool
	TimeFormat   TimeFormat     // empty: not known, to be asked
	Zone         *time.Location // of times that do not say theirs; nil: UTC
	Columns      []Column       // from the left; further columns are ignored
}

const (
	// MaxColumns is how many columns of a table are looked at.
	MaxColumns = 200
	// keptProblems is how many problems are kept; the others are counted.
	keptProblems = 100
)

// Bounds are what is taken of a table or of lines.
type Bounds struct {
	// Latest is the time that no reading may be later than.
	Latest time.Time
	// Readings is how many there may be.
	Readings int
	// Scratch is an empty file for readings beyond the first Held, so that memory does
	// not grow with the table; it must stay open while the Table is used. nil: all
	// are held, in 24 bytes each.
	Scratch *os.File
	// Held is how many readings are in memory at once where there is a Scratch; at
	// least 1.
	Held int
}

// Until returns the bounds of records that are read at now: at most so many readings,
// none later than now and wire.MaxAhead.
func Until(now time.Time, readings int) Bounds {
	return Bounds{Latest: now.Add(wire.MaxAhead), Readings: readings}
}

// Separators are the marks between columns that Mapping.Separator may be, by name.
var Separators = map[string]rune{"comma": ',', "semicolon": ';', "tab": '\t', "bar": '|'}

// problems collects problems of a table.
type problems struct {
	header []string
	list   problem.List
	count  int
}

func (ps *problems) add(p problem.Problem) {
	ps.count++
	if len(ps.list) >= keptProblems {
		return
	}
	if i := p.Column - 1; i >= 0 && i < len(ps.header) {
		p.Field = problem.Shown(ps.header[i])
	}
	p.Value = problem.Shown(p.Value)
	ps.list = append(ps.list, p)
}

// Check returns what is wrong with a mapping; an empty list where tables can be read
// by it. Column is the column's number, from 1.
func (m *Mapping) Check() problem.List {
	var ps problems
	complain := func(column int, value, reason, fix string) {
		ps.add(problem.Problem{Column: column, Value: value, Why: reason, Fix: fix})
	}
	if len(m.Columns) > MaxColumns {
		complain(0, fmt.Sprint(len(m.Columns)), "columns are too many", fmt.Sprintf("keep at most %d", MaxColumns))
		return ps.list
	}
	if !slices.Contains(slices.Collect(maps.Values(Separators)), m.Separator) {
		complain(0, string(m.Separator), "is no separator of columns", "use a comma, a semicolon, a tab or a bar")
	}
	switch {
	case m.TimeFormat == "":
		complain(0, "", "nothing says in which order day, month and year stand", "choose how the times are written")
	case !slices.Contains(timeFormats, m.TimeFormat):
		complain(0, string(m.TimeFormat), "is no format of times", fmt.Sprintf("use one of %v", timeFormats))
	}
	uses := map[Use]int{}
	channels := map[string]int{}
	for i, c := range m.Columns {
		n := i + 1
		uses[c.Use]++
		switch c.Use {
		case Ignore, Time, Date, Clock, Name, Number, Unit:
			if uses[c.Use] > 1 && c.Use != Ignore {
				complain(n, string(c.Use), "is there twice", "use one of the columns for it")
			}
		case Value:
			if _, ok := channel.Recorded(c.Channel, c.Unit); !ok {
				complain(n, strings.TrimSpace(c.Channel+" "+c.Unit), "is no channel with that unit", unitFix(c.Channel))
			} else if first := channels[c.Channel]; first > 0 {
				complain(n, c.Channel, fmt.Sprintf("is column %d already", first), "ignore one of the two")
			}
			channels[c.Channel] = n
		default:
			complain(n, string(c.Use), "is no use of a column", "ignore the column")
		}
	}
	switch {
	case uses[Clock] > 0 && uses[Time]+uses[Date] == 0:
		complain(0, "", "a time of day has no day", "choose the column with the day too")
	case uses[Time]+uses[Date] == 0:
		complain(0, "", "no column says when", "choose the one with the time")
	case uses[Time] > 0 && uses[Date]+uses[Clock] > 0:
		complain(0, "", "two columns say when", "choose one with day and time, or one for the day and one for the time")
	}
	long := uses[Name] + uses[Number] + uses[Unit]
	switch {
	case uses[Value] == 0 && long == 0:
		complain(0, "", "no column has readings", "choose a channel for one")
	case uses[Value] > 0 && long > 0:
		complain(0, "", "there are columns of readings and columns that name them", "use the one or the other")
	case long > 0 && (uses[Name] == 0 || uses[Number] == 0):
		complain(0, "", "one of channel and value is missing", "choose a column for each")
	}
	return ps.list
}

func unitFix(name string) string {
	if list := channel.Units(name); len(list) > 0 {
		return "use " + strings.Join(list, ", ")
	}
	return channelFix()
}

func channelFix() string { return "the channels are " + strings.Join(channel.Names(), ", ") }
