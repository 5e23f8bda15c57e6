package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"isohaline/internal/live"
	"isohaline/internal/records"
	"isohaline/internal/wire"
)

// replayCommand runs recorded readings through a tank's account, to see what it
// makes of them: whether a claim holds, whether a tank's old records can be moved
// here. Nothing is kept.
type replayCommand struct {
	File         string   `arg:"" help:"Recorded readings: a table (CSV) as the service exports it or as loggers write it, or lines of SenML in JSON; - for standard input."`
	Tank         string   `required:"" placeholder:"FILE" aliases:"site" help:"The tank file."`
	JSON         bool     `name:"json" help:"Print JSON instead of words."`
	TimeFormat   string   `placeholder:"FORMAT" help:"How a table writes its times: year-month-day, day-month-year, month-day-year, unix-seconds, unix-milliseconds or spreadsheet-days; by itself guessed, where they leave no doubt."`
	Zone         string   `placeholder:"NAME" help:"The time zone of times that do not say theirs, like Europe/Berlin; by itself UTC."`
	DecimalComma bool     `help:"12,5 is twelve and a half."`
	Column       []string `sep:"none" placeholder:"N=MEANING" help:"What column N of a table is: a channel with its unit, like 3=level:mm, or time, date, clock, name, number, unit or ignore; by itself guessed."`
}

// The largest recording, how many readings of it are taken (some ten years of a
// reading every minute), and how many of them are in memory at once: 6 MB.
const (
	maxRecordingBytes = 512 << 20
	maxReplayed       = 5_000_000
	heldReplayed      = 1 << 18
)

func (r *replayCommand) Run(ctx context.Context, c *console) error {
	sheet, err := r.sheet()
	if err != nil {
		return err
	}
	in, done, err := r.recording(c)
	if err != nil {
		return err
	}
	defer done()
	within := records.Until(time.Now(), maxReplayed)
	const leastBytes = 2 // of a reading in a table, its separator included
	if in.Size() > heldReplayed*leastBytes {
		scratch, remove, err := scratchFile()
		if err != nil {
			return err
		}
		defer remove()
		within.Scratch, within.Held = scratch, heldReplayed
	}
	table, err := r.read(c, in, within)
	if err != nil {
		return err
	}
	for _, p := range table.Problems[:min(len(table.Problems), shownProblems)] {
		fmt.Fprintf(c.Err, "%s: %v\n", r.File, p)
	}
	if more := table.ProblemCount - shownProblems; more > 0 {
		fmt.Fprintf(c.Err, "%s: and %d more\n", r.File, more)
	}
	if table.Readings.Len() == 0 {
		return fmt.Errorf("%s has no reading that can be replayed", r.File)
	}
	told, err := live.Replay(ctx, sheet, table.Readings.Len(), table.Readings.Of(wire.DeviceID{}), c.progress("replaying"))
	if err = cmp.Or(table.Readings.Err(), err); err != nil {
		return err
	}
	out := newReplayed(sheet.Tank.Name, table, told)
	if r.JSON {
		err = out.json(c.Out)
	} else {
		err = out.text(c.Out)
	}
	if err == nil && table.ProblemCount > 0 {
		err = no(fmt.Sprintf("%d cells or rows could not be read; the others were replayed", table.ProblemCount))
	}
	return err
}

// shownProblems is how many problems a person is shown.
const shownProblems = 10

// sheet reads the tank file.
func (r *replayCommand) sheet() (*live.Sheet, error) {
	f, err := os.Open(r.Tank)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxFileBytes))
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", r.Tank, err)
	}
	return live.Read(r.Tank, string(text))
}

// recording opens the recorded readings; what is no plain file is copied to one, as
// they are read more than once. done closes them.
func (r *replayCommand) recording(c *console) (in *io.SectionReader, done func(), err error) {
	f, done := c.In, func() {}
	if r.File != "-" {
		opened, err := os.Open(r.File)
		if err != nil {
			return nil, nil, err
		}
		f, done = opened, func() { opened.Close() }
		if info, err := opened.Stat(); err == nil && info.Mode().IsRegular() {
			if info.Size() > maxRecordingBytes {
				done()
				return nil, nil, r.tooLarge()
			}
			return io.NewSectionReader(opened, 0, info.Size()), done, nil
		}
	}
	defer done()
	copied, remove, err := scratchFile()
	if err != nil {
		return nil, nil, err
	}
	n, err := io.Copy(copied, io.LimitReader(f, maxRecordingBytes+1))
	switch {
	case err != nil:
		remove()
		return nil, nil, fmt.Errorf("reading %s: %w", r.File, err)
	case n > maxRecordingBytes:
		remove()
		return nil, nil, r.tooLarge()
	}
	return io.NewSectionReader(copied, 0, n), remove, nil
}

func (r *replayCommand) tooLarge() error {
	return fmt.Errorf("%s is larger than %d MB; split it into parts", r.File, maxRecordingBytes>>20)
}

// scratchFile is an empty file in the folder of such (TMPDIR); remove removes it.
func scratchFile() (f *os.File, remove func(), err error) {
	if f, err = os.CreateTemp("", "isohaline-replay-*"); err != nil {
		return nil, nil, fmt.Errorf("making a scratch file; TMPDIR says in which folder: %w", err)
	}
	return f, func() {
		f.Close()
		os.Remove(f.Name())
	}, nil
}

// read reads a recording by what the flags say and, beyond that, by what it looks
// like.
func (r *replayCommand) read(c *console, in *io.SectionReader, within records.Bounds) (*records.Table, error) {
	if records.IsLines(in) {
		return records.ReadLines(in, within)
	}
	m := records.Guess(in)
	if err := r.amend(&m); err != nil {
		return nil, err
	}
	if m.TimeFormat == "" {
		if formats := records.TimeFormats(in, &m); len(formats) > 1 {
			return nil, fmt.Errorf("the times of %s can be read as %s; say which with --time-format", r.File, join(formats, " or as "))
		}
		m.TimeFormat = records.YearMonthDay // each row says what is wrong with its own
	}
	t, err := records.Read(in, &m, within)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.File, err)
	}
	if len(m.Check()) == 0 {
		fmt.Fprintln(c.Err, meanings(&m))
		return t, nil
	}
	var wrong []error
	for _, p := range t.Problems {
		wrong = append(wrong, fmt.Errorf("%s: %w", r.File, &p))
	}
	if len(t.First) > 0 { // it is a table
		wrong = append(wrong, errors.New("say what the columns are with --column"))
	}
	return nil, errors.Join(wrong...)
}

// amend changes a mapping as the flags say.
func (r *replayCommand) amend(m *records.Mapping) error {
	if r.TimeFormat != "" {
		m.TimeFormat = records.TimeFormat(r.TimeFormat)
	}
	m.DecimalComma = m.DecimalComma || r.DecimalComma
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return fmt.Errorf("--zone: %q is not known; use a name like Europe/Berlin", r.Zone)
	}
	m.Zone = zone
	for _, flag := range r.Column {
		n, meaning, ok := strings.Cut(flag, "=")
		i, err := strconv.Atoi(n)
		if !ok || err != nil || i < 1 || i > records.MaxColumns {
			return fmt.Errorf("--column: %q names no column; write it like 3=level:mm, with columns from 1", flag)
		}
		for len(m.Columns) < i {
			m.Columns = append(m.Columns, records.Column{Use: records.Ignore})
		}
		m.Columns[i-1] = meaningOf(meaning)
	}
	return nil
}

// meaningOf is what a --column says that a column is. What there is no such
// channel of, the mapping's own check says.
func meaningOf(text string) records.Column {
	switch use := records.Use(text); use {
	case records.Ignore, records.Time, records.Date, records.Clock, records.Name, records.Number, records.Unit:
		return records.Column{Use: use}
	}
	channel, unit, _ := strings.Cut(text, ":")
	return records.Column{Use: records.Value, Channel: channel, Unit: unit}
}

// meanings says how a table is read, in one line.
func meanings(m *records.Mapping) string {
	var columns []string
	for i, c := range m.Columns {
		word := string(c.Use)
		if c.Use == records.Value {
			if word = c.Channel; c.Unit != "" {
				word += ":" + c.Unit
			}
		}
		columns = append(columns, fmt.Sprintf("%d=%s", i+1, word))
	}
	return fmt.Sprintf("columns %s; times %s, %v where they do not say", strings.Join(columns, " "), m.TimeFormat, m.Zone)
}

func join[T ~string](list []T, between string) string {
	var b strings.Builder
	for i, x := range list {
		if i > 0 {
			b.WriteString(between)
		}
		b.WriteString(string(x))
	}
	return b.String()
}
