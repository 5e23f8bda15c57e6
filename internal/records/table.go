package records

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"isohaline/internal/channel"
	"isohaline/internal/problem"
	"isohaline/internal/wire"
)

// Table is what was read of a table.
type Table struct {
	Header []string // empty: none
	Rows   int      // without the header
	// First are the first rows as they stand, the header included.
	First [][]string
	// Readings are the good ones, in the order of time.
	Readings Readings
	// Problems are the first of ProblemCount.
	Problems     problem.List
	ProblemCount int
	// ZoneMatters says that there are times which do not say their zone.
	ZoneMatters bool
}

// ShownRows is how many rows Table.First holds at most.
const ShownRows = 12

// Read reads a table by a mapping. It takes any bytes: what is wrong with them or with
// the mapping is among the table's Problems, and the rest is read. The error is one of
// reading in or of the scratch file.
func Read(in *io.SectionReader, m *Mapping, within Bounds) (*Table, error) {
	t := newTable(m, within)
	lines, p, err := look(in)
	if err != nil {
		return nil, fmt.Errorf("reading a table: %w", err)
	}
	if p != nil {
		t.problems.add(*p)
	} else if ps := m.Check(); len(ps) > 0 {
		_ = t.rows(in, func(int, []string) {}) // to be looked at all the same, as far as it goes
		t.problems = problems{list: ps, count: len(ps)}
	} else {
		t.prepare()
		t.out.Readings.expect(t.most(lines))
		err = t.rows(in, t.row)
	}
	if err != nil {
		return nil, fmt.Errorf("reading a table: %w", err)
	}
	return t.done()
}

// read begins to read a text, after its byte order mark.
func read(in *io.SectionReader) *bufio.Reader {
	r := bufio.NewReaderSize(io.NewSectionReader(in, 0, in.Size()), 1<<14)
	if start, _ := r.Peek(len(byteOrderMark)); bytes.Equal(start, byteOrderMark) {
		_, _ = r.Discard(len(byteOrderMark)) // they are there
	}
	return r
}

// look counts the lines of a text, and says why it is no table. The error is one of
// reading.
func look(in *io.SectionReader) (lines int, p *problem.Problem, err error) {
	r, empty, left := read(in), true, 0 // left: bytes of a character whose others are still to come
	buf := make([]byte, 1<<14)
	for err == nil {
		var n int
		n, err = r.Read(buf[left:])
		text := buf[:left+n]
		whole := len(text)
		if err == nil {
			whole = wholeCharacters(text)
		}
		if !utf8.Valid(text[:whole]) || bytes.IndexByte(text, 0) >= 0 {
			return 0, &problem.Problem{Why: "the file is not text in UTF-8", Fix: "save it as CSV in UTF-8"}, nil
		}
		lines += bytes.Count(text[:whole], []byte{'\n'})
		empty = empty && len(bytes.TrimSpace(text[:whole])) == 0
		left = copy(buf, text[whole:])
	}
	switch {
	case err != io.EOF:
		return 0, nil, err
	case empty:
		return 0, &problem.Problem{Why: "the file is empty", Fix: "choose another"}, nil
	}
	return lines, nil, nil
}

// wholeCharacters is how much of a text is there without a last character of which
// only the beginning is.
func wholeCharacters(text []byte) int {
	for i := 1; i <= min(len(text), utf8.UTFMax); i++ {
		if from := len(text) - i; utf8.RuneStart(text[from]) {
			if utf8.FullRune(text[from:]) {
				break
			}
			return from
		}
	}
	return len(text)
}

// table is a table being read.
type table struct {
	mapping  *Mapping
	within   Bounds
	problems problems
	out      Table

	// profile has a word for each column of readings, and for each channel and
	// unit of rows that name theirs.
	profile *wire.Profile
	words   []string
	// Where the columns are that say when, and those of rows that name theirs;
	// negative: nowhere.
	time, date, clock  int
	name, number, unit int
	full               bool // no more readings are taken
}

func newTable(m *Mapping, within Bounds) *table {
	t := &table{mapping: m, within: within}
	t.out.Readings.scratch, t.out.Readings.held = within.Scratch, within.Held
	return t
}

// prepare works out what the mapping means.
func (t *table) prepare() {
	own := channel.Profile()
	t.profile = &wire.Profile{Channels: own.Channels, Plain: map[string]wire.Mapping{}}
	at := map[Use]*int{Time: &t.time, Date: &t.date, Clock: &t.clock, Name: &t.name, Number: &t.number, Unit: &t.unit}
	for _, i := range at {
		*i = -1
	}
	t.words = make([]string, len(t.mapping.Columns))
	for i, c := range t.mapping.Columns {
		if place := at[c.Use]; place != nil {
			*place = i
		}
		if c.Use == Value {
			t.words[i] = t.word(c.Channel, c.Unit)
		}
	}
}

// most is how many readings a table has at most, if no cell spans lines.
func (t *table) most(lines int) int {
	inRow := 0
	for _, c := range t.mapping.Columns {
		if c.Use == Value || c.Use == Number {
			inRow++
		}
	}
	return min((lines+1)*inRow, t.within.Readings)
}

// word is what the profile calls a channel in a unit, empty if there is no such.
func (t *table) word(name, unit string) string {
	word := name + " " + unit
	if _, ok := t.profile.Plain[word]; !ok {
		m, ok := channel.Recorded(name, unit)
		if !ok {
			return ""
		}
		t.profile.Plain[word] = m
	}
	return word
}

// byteOrderMark is what some programs begin UTF-8 with.
var byteOrderMark = []byte("\ufeff")

// rows calls each with the line number and the cells of every row that is not
// empty, but for the header. The error is one of reading.
func (t *table) rows(in *io.SectionReader, each func(line int, cells []string)) error {
	r := newReader(in, t.mapping.Separator)
	for first := true; ; first = false {
		cells, err := r.Read()
		switch {
		case err == io.EOF:
			return nil
		case endsTable(err):
			return err
		}
		line := 0
		if len(cells) > 0 {
			line, _ = r.FieldPos(0)
		}
		if len(t.out.First) < ShownRows && len(cells) > 0 {
			t.out.First = append(t.out.First, shownCells(cells))
		}
		if first && t.mapping.Header && err == nil {
			t.out.Header = shownCells(cells)
			t.problems.header = t.out.Header
			continue
		}
		t.out.Rows++
		if err != nil {
			t.problems.add(csvProblem(err))
			continue
		}
		if !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
			t.out.Rows--
			continue
		}
		each(line, cells)
	}
}

// endsTable says whether an error is not one row's alone.
func endsTable(err error) bool {
	var inRow *csv.ParseError
	return err != nil && !errors.As(err, &inRow)
}

func newReader(in *io.SectionReader, separator rune) *csv.Reader {
	r := csv.NewReader(read(in))
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = separator, -1, true
	return r
}

func shownCells(cells []string) []string {
	out := make([]string, min(len(cells), MaxColumns))
	for i := range out {
		out[i] = problem.Shown(strings.TrimSpace(cells[i]))
	}
	return out
}

func csvProblem(err error) problem.Problem {
	p := problem.Problem{Why: "has a quotation mark where none can be", Fix: `put the cell in quotation marks, and double those within it`}
	var at *csv.ParseError
	if errors.As(err, &at) {
		p.Row = at.StartLine
	}
	return p
}

// row reads the readings of one row.
func (t *table) row(line int, cells []string) {
	cell := cellsOf(cells)
	when, column := t.when(cell)
	at, zoned, reason := parseTime(when, t.mapping.TimeFormat, t.mapping.Zone)
	if reason == "" && at.After(t.within.Latest) {
		reason = "has not come yet"
	}
	if reason != "" {
		t.problems.add(problem.Problem{Row: line, Column: column + 1, Value: when, Why: reason,
			Fix: "see whether the order of day and month, and the time zone, are right, or correct it"})
		return
	}
	t.out.ZoneMatters = t.out.ZoneMatters || !zoned
	if t.name >= 0 {
		t.named(line, at, cell(t.name), cell(t.number), cell(t.unit))
		return
	}
	for i, word := range t.words {
		if text := cell(i); word != "" && text != "" {
			t.take(at, word, text, place{line, i + 1})
		}
	}
}

// cellsOf gives cells by column, empty where there is none.
func cellsOf(cells []string) func(int) string {
	return func(i int) string {
		if i < 0 || i >= len(cells) {
			return ""
		}
		return strings.TrimSpace(cells[i])
	}
}

// when is what a row says of its time, and in which column.
func (t *table) when(cell func(int) string) (text string, column int) {
	if t.date >= 0 {
		return strings.TrimSpace(cell(t.date) + " " + cell(t.clock)), t.date
	}
	return cell(t.time), t.time
}

// named reads a row that says what its value is of.
func (t *table) named(line int, at time.Time, name, number, unit string) {
	word := t.word(name, unit)
	_, known := channel.Recorded(name, "")
	switch {
	case word != "":
		t.take(at, word, number, place{line, t.number + 1})
	case !known:
		t.problems.add(problem.Problem{Row: line, Column: t.name + 1, Value: name, Why: "is no channel", Fix: channelFix()})
	default:
		t.problems.add(problem.Problem{Row: line, Column: t.unit + 1, Value: unit, Why: "is no unit of " + name, Fix: unitFix(name)})
	}
}

type place struct{ row, column int }

// room says whether one more reading is taken.
func (t *table) room(p place) bool {
	if !t.full && t.out.Readings.n >= t.within.Readings {
		t.full = true
		t.problems.add(problem.Problem{Row: p.row, Why: fmt.Sprintf("is beyond the %d readings that are taken at once", t.within.Readings), Fix: "give the rest by itself"})
	}
	return !t.full
}

// take takes one cell, by the same check as a device's message.
func (t *table) take(at time.Time, word, text string, p place) {
	if !t.room(p) {
		return
	}
	number := text
	if t.mapping.DecimalComma && !strings.Contains(text, ".") {
		number = strings.Replace(text, ",", ".", 1)
	}
	r, err := wire.ReadPlain(wire.DeviceID{}, t.profile, word, []byte(number), at)
	if err != nil {
		t.problems.add(cellProblem(err, text, p))
		return
	}
	t.out.Readings.add(Reading{At: at, Channel: r[0].Channel, Value: r[0].Value, Row: p.row, Column: p.column})
}

func cellProblem(err error, text string, at place) problem.Problem {
	p := problem.Problem{Row: at.row, Column: at.column, Value: text, Why: err.Error()}
	var w *wire.Problem
	if errors.As(err, &w) {
		p.Why, p.Fix = w.Why, w.Fix
		if w.Reason == wire.Malformed && decimalComma(text) {
			p.Fix = "say that the table has decimal commas"
		}
	}
	return p
}

// decimalComma says whether a text is a number with a decimal comma.
func decimalComma(text string) bool {
	whole, part, found := strings.Cut(text, ",")
	if !found || part == "" || strings.Trim(part, "0123456789") != "" {
		return false
	}
	_, err := strconv.Atoi(whole)
	return err == nil
}

// done brings the readings into the order of time, each once, and is what came of
// it. Two values of one channel for one time cannot both be kept: the first row's is.
func (t *table) done() (*Table, error) {
	err := t.out.Readings.settle(func(first, r Reading) {
		t.problems.add(problem.Problem{Row: r.Row, Column: r.Column, Value: strconv.FormatFloat(r.Value, 'g', -1, 64),
			Why: fmt.Sprintf("is another value for the same time as in row %d", first.Row), Fix: "remove one of them"})
	})
	if err != nil {
		return nil, err
	}
	t.out.Problems, t.out.ProblemCount = t.problems.list, t.problems.count
	return &t.out, nil
}
