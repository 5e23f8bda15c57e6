package main

import (
	"bytes"
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

// The largest recording, and how many readings of it are taken: some ten years of
// a reading every minute.
const (
	maxRecordingBytes = 512 << 20
	maxReplayed       = 5_000_000
)

func (r *replayCommand) Run(ctx context.Context, c *console) error {
	sheet, err := r.sheet()
	if err != nil {
		return err
	}
	data, err := r.recording(c)
	if err != nil {
		return err
	}
	table, err := r.read(c, data)
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
	if err != nil {
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

// recording reads the recorded readings.
func (r *replayCommand) recording(c *console) ([]byte, error) {
	in := c.In
	var data bytes.Buffer
	if r.File != "-" {
		f, err := os.Open(r.File)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
		if info, err := f.Stat(); err == nil { // a large file is held once
			data.Grow(int(min(info.Size(), maxRecordingBytes)) + bytes.MinRead)
		}
	}
	_, err := data.ReadFrom(io.LimitReader(in, maxRecordingBytes+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("reading %s: %w", r.File, err)
	case data.Len() > maxRecordingBytes:
		return nil, fmt.Errorf("%s is larger than %d MB; split it into parts", r.File, maxRecordingBytes>>20)
	}
	return data.Bytes(), nil
}

// read reads a recording by what the flags say and, beyond that, by what it looks
// like.
func (r *replayCommand) read(c *console, data []byte) (*records.Table, error) {
	within := records.Until(time.Now(), maxReplayed)
	if records.IsLines(data) {
		return records.ReadLines(data, within), nil
	}
	m := records.Guess(data)
	if err := r.amend(&m); err != nil {
		return nil, err
	}
	if m.TimeFormat == "" {
		if formats := records.TimeFormats(data, &m); len(formats) > 1 {
			return nil, fmt.Errorf("the times of %s can be read as %s; say which with --time-format", r.File, join(formats, " or as "))
		}
		m.TimeFormat = records.YearMonthDay // each row says what is wrong with its own
	}
	t := records.Read(data, &m, within)
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
