package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"isohaline/internal/bench"
	"isohaline/internal/units"
)

// A flag whose type is a unit takes a number with any unit of its kind and keeps
// it in that one.
var flagUnits = map[string]struct {
	kind    *units.Kind
	perBase float64
}{
	"L": {units.Volume, 1e3}, "L/day": {units.LitresPerDay, 1}, "L/h": {units.Flow, 3.6e6},
	"°C": {units.Temperature, 1}, "PSU": {units.Salinity, 1},
	"dKH": {units.Alkalinity, 1}, "dKH/day": {units.AlkalinityPerDay, 1},
	"mg/L": {units.Dissolved, 1}, "mg/L/day": {units.DissolvedPerDay, 1}, "g/L": {units.Strength, 1},
	"days": {units.Days, 1}, "h": {units.Hours, 1}, "min": {units.Duration, 1.0 / 60},
	"ppm": {units.Gas, 1}, "hPa": {units.Pressure, 0.01}, "bar": {units.Gauge, 1}, "%": {units.Fraction, 100}, "number": {units.Number, 1},
}

// flagTables are the rows of flags that name a CSV file.
var flagTables = map[string]reflect.Type{
	"log": reflect.TypeFor[bench.LogEntry](), "readings": reflect.TypeFor[bench.InstrumentReading](),
}

// flagTypes are the types that the bench's questions name in their tags.
func flagTypes() []kong.Option {
	options := []kong.Option{
		kong.NamedMapper("time", kong.MapperFunc(timeFlag)),
		kong.NamedMapper("log", kong.MapperFunc(tableFlag[bench.LogEntry])),
		kong.NamedMapper("readings", kong.MapperFunc(tableFlag[bench.InstrumentReading])),
		kong.PostBuild(describeFlags),
	}
	for unit, u := range flagUnits {
		options = append(options, kong.NamedMapper(unit, kong.MapperFunc(func(ctx *kong.DecodeContext, target reflect.Value) error {
			var text string
			if err := ctx.Scan.PopValueInto("quantity", &text); err != nil {
				return err
			}
			value, err := u.kind.Parse(text)
			if err != nil {
				return err
			}
			set(target, reflect.ValueOf(value*u.perBase))
			return nil
		})))
	}
	return options
}

// set puts a value where a flag keeps it, behind a pointer where it has one.
func set(target, value reflect.Value) {
	if target.Kind() == reflect.Pointer {
		target.Set(reflect.New(target.Type().Elem()))
		target = target.Elem()
	}
	target.Set(value)
}

// describeFlags takes a flag's help from its description in the interface, where
// it has none of its own.
func describeFlags(k *kong.Kong) error {
	return kong.Visit(k.Model, func(node kong.Visitable, next kong.Next) error {
		if f, ok := node.(*kong.Flag); ok && f.Help == "" {
			f.Help = f.Tag.Get("doc")
			if u, ok := flagUnits[f.Tag.Type]; ok {
				f.PlaceHolder, f.Help = "VALUE", f.Help+", like '"+u.kind.Example()+"'"
			}
			if row, ok := flagTables[f.Tag.Type]; ok {
				f.PlaceHolder, f.Help = "FILE", f.Help+": a CSV file with the columns "+describeColumns(row)
			}
		}
		return next(nil)
	})
}

// moments are the ways to write a time.
var moments = []string{time.RFC3339, "2006-01-02 15:04", time.DateOnly}

func parseMoment(text string) (time.Time, error) {
	for _, layout := range moments {
		if t, err := time.Parse(layout, text); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf(`%q is not a time; write it like "2026-11-25", "2026-11-25 14:30" or "2026-11-25T14:30:00Z"`, text)
}

func timeFlag(ctx *kong.DecodeContext, target reflect.Value) error {
	var text string
	if err := ctx.Scan.PopValueInto("time", &text); err != nil {
		return err
	}
	t, err := parseMoment(text)
	if err == nil {
		set(target, reflect.ValueOf(t))
	}
	return err
}

// tableFlag reads a CSV file whose columns are the fields of Row.
func tableFlag[Row any](ctx *kong.DecodeContext, target reflect.Value) error {
	var path string
	if err := ctx.Scan.PopValueInto("file", &path); err != nil {
		return err
	}
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	rows, err := readTable[Row](file)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	target.Set(reflect.ValueOf(rows))
	return nil
}

// byteOrderMark is what spreadsheets put before a table.
const byteOrderMark = "\uFEFF"

// readTable reads CSV into structs: the header names their fields as JSON does.
// Lines that begin with # are left out. Every bad cell is told.
func readTable[Row any](in io.Reader) ([]Row, error) {
	text := bufio.NewReader(in)
	if mark, _ := text.Peek(len(byteOrderMark)); string(mark) == byteOrderMark {
		_, _ = text.Discard(len(byteOrderMark)) // just peeked at
	}
	r := csv.NewReader(text)
	r.Comment, r.TrimLeadingSpace = '#', true
	header, err := r.Read()
	if err != nil {
		return nil, errors.New("the table is empty; give a header line and a line for each entry")
	}
	fields, err := columnsOf(reflect.TypeFor[Row](), header)
	if err != nil {
		return nil, err
	}
	var rows []Row
	var problems []error
	for {
		cells, err := r.Read()
		if err == io.EOF {
			return rows, errors.Join(problems...)
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		var row Row
		for i, text := range cells {
			if err := setCell(reflect.ValueOf(&row).Elem().Field(fields[i]), strings.TrimSpace(text)); err != nil {
				problems = append(problems, fmt.Errorf("line %d: %s: %w", line, header[i], err))
			}
		}
		rows = append(rows, row)
	}
}

// describeColumns lists a row's columns, and the words a column takes.
func describeColumns(row reflect.Type) string {
	var list []string
	for i := range row.NumField() {
		f := row.Field(i)
		name, optional, _ := strings.Cut(f.Tag.Get("json"), ",")
		if optional != "" {
			name += " (may be absent)"
		}
		if enum := f.Tag.Get("enum"); enum != "" {
			name += " (" + strings.ReplaceAll(enum, ",", ", ") + ")"
		}
		list = append(list, name)
	}
	return strings.Join(list, ", ")
}

// columnsOf finds each column's field.
func columnsOf(row reflect.Type, header []string) ([]int, error) {
	known := map[string]int{}
	var names, missing []string
	for i := range row.NumField() {
		f := row.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		known[name] = i
		names = append(names, name)
		if !strings.Contains(f.Tag.Get("json"), "omitempty") {
			missing = append(missing, name)
		}
	}
	var fields []int
	for i, name := range header {
		name = strings.TrimSpace(name)
		header[i] = name
		at, ok := known[name]
		if !ok {
			return nil, fmt.Errorf("column %q is none there is; use %s, separated by commas", name, strings.Join(names, ", "))
		}
		if slices.Contains(fields, at) {
			return nil, fmt.Errorf("column %q is there twice; remove one", name)
		}
		missing = slices.DeleteFunc(missing, func(m string) bool { return m == name })
		fields = append(fields, at)
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("columns are missing: add %s", strings.Join(missing, ", "))
	}
	return fields, nil
}

// setCell reads one cell; an empty one leaves the field at nothing.
func setCell(field reflect.Value, text string) error {
	if text == "" {
		return nil
	}
	switch field.Interface().(type) {
	case string:
		field.SetString(text)
	case float64:
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fmt.Errorf("%q is not a number; the column's name says its unit", text)
		}
		field.SetFloat(v)
	case time.Time, *time.Time:
		t, err := parseMoment(text)
		if err != nil {
			return err
		}
		set(field, reflect.ValueOf(t))
	}
	return nil
}
