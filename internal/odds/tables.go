package odds

import (
	"embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"isohaline/reliability"
)

//go:embed ranges.csv faults.csv causes.csv sources.csv
var files embed.FS

// rangeRow is how often one kind of thing goes wrong.
type rangeRow struct {
	name      string
	low, high float64 // per hour, or per test
	sources   []string
	why       string
}

// faultRow is what is known of one of the twin's faults.
type faultRow struct {
	rangeName string
	share     float64
	waits     wait
	passesH   float64 // for passes
	cause     string
	leftOff   bool
}

// wait is what ends a fault that shows nothing.
type wait uint8

const (
	proofTest wait = iota
	overhaul
	passes
)

// causeRow is a common cause.
type causeRow struct {
	beta  float64
	fault string // the twin's own, if it has one
}

// tables are the embedded files.
type tables struct {
	ranges map[string]rangeRow
	faults map[string]faultRow
	causes map[string]causeRow
}

// The rows of ranges.csv that are about the person who tests.
const (
	skippedRange = "test skipped"
	leftOffRange = "left off"
)

func readTables() (*tables, error) {
	t := &tables{map[string]rangeRow{}, map[string]faultRow{}, map[string]causeRow{}}
	for _, f := range []struct {
		name string
		take func(row map[string]string) error
	}{{"ranges.csv", t.takeRange}, {"faults.csv", t.takeFault}, {"causes.csv", t.takeCause}} {
		rows, err := readTable(f.name)
		if err != nil {
			return nil, err
		}
		for i, row := range rows {
			if err := f.take(row); err != nil {
				return nil, fmt.Errorf("%s, row %d: %w", f.name, i+1, err)
			}
		}
	}
	return t, nil
}

// readTable reads an embedded table by column name.
func readTable(name string) ([]map[string]string, error) {
	file, err := files.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func (t *tables) takeRange(row map[string]string) error {
	r := rangeRow{name: row["range"], sources: strings.Fields(row["sources"]), why: row["why"]}
	for _, end := range []struct {
		text string
		to   *float64
	}{{row["low"], &r.low}, {row["high"], &r.high}} {
		var err error
		if row["unit"] == "/test" {
			*end.to, err = strconv.ParseFloat(end.text, 64)
		} else {
			var rate reliability.PerHour
			rate, err = reliability.ParseRate(end.text + row["unit"])
			*end.to = float64(rate)
		}
		if err != nil {
			return err
		}
	}
	t.ranges[r.name] = r
	return nil
}

func (t *tables) takeFault(row map[string]string) error {
	f := faultRow{rangeName: row["range"], cause: row["cause"], leftOff: row["left off"] == "yes"}
	var err error
	if f.share, err = strconv.ParseFloat(row["share"], 64); err != nil {
		return err
	}
	switch row["waits"] {
	case "proof test":
		f.waits = proofTest
	case "overhaul":
		f.waits = overhaul
	default:
		f.waits = passes
		if f.passesH, err = strconv.ParseFloat(row["waits"], 64); err != nil {
			return err
		}
	}
	t.faults[row["fault"]] = f
	return nil
}

func (t *tables) takeCause(row map[string]string) error {
	beta, err := strconv.ParseFloat(row["beta"], 64)
	t.causes[row["cause"]] = causeRow{beta, row["fault"]}
	return err
}
