// Package refcheck compares results with published tables in tests: it reads a
// table, fails on the rows that are off by more than their tolerance, and
// reports how many digits the worst row has, so that a loss of accuracy shows
// before it breaks a limit.
package refcheck

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Row is one line of a table, by column name.
type Row struct {
	tb     testing.TB
	place  string
	fields map[string]string
}

// Read reads a CSV table whose first lines may be # comments naming its source
// and whose next has the column names. It ends the test if it cannot.
func Read(tb testing.TB, path string) []Row {
	tb.Helper()
	header, lines := Lines(tb, path)
	rows := make([]Row, 0, len(lines))
	for _, line := range lines {
		rows = append(rows, Row{tb: tb, fields: byName(header, line),
			place: path + ": " + strings.Join(line[:min(4, len(line))], ",")})
	}
	return rows
}

// Table reads the same as plain maps, column name to text.
func Table(tb testing.TB, path string) []map[string]string {
	tb.Helper()
	header, lines := Lines(tb, path)
	rows := make([]map[string]string, 0, len(lines))
	for _, line := range lines {
		rows = append(rows, byName(header, line))
	}
	return rows
}

// Lines reads the same as it stands: the header and the lines under it.
func Lines(tb testing.TB, path string) (header []string, lines [][]string) {
	tb.Helper()
	file, err := os.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err = reader.ReadAll()
	if err != nil {
		tb.Fatalf("%s: %v", path, err)
	}
	if len(lines) < 2 {
		tb.Fatalf("%s: no rows", path)
	}
	return lines[0], lines[1:]
}

func byName(header, line []string) map[string]string {
	fields := make(map[string]string, len(header))
	for i, name := range header {
		fields[name] = line[i]
	}
	return fields
}

// Text is a field as it stands.
func (r Row) Text(name string) string {
	text, ok := r.fields[name]
	if !ok {
		r.tb.Fatalf("%s: no column %q", r.place, name)
	}
	return text
}

// Empty says whether a field is blank.
func (r Row) Empty(name string) bool { return r.Text(name) == "" }

// Float is a field as a number.
func (r Row) Float(name string) float64 {
	value, err := strconv.ParseFloat(r.Text(name), 64)
	if err != nil {
		r.tb.Fatalf("%s: column %q: %v", r.place, name, err)
	}
	return value
}

// HalfLastDigit is the tolerance of a value printed with that many decimals:
// half a unit in the last place.
func HalfLastDigit(decimals float64) float64 { return 0.5 * math.Pow(10, -decimals) }

// Column compares one quantity over many rows.
type Column struct {
	Name string

	rows       int
	worst      float64 // largest relative error
	worstPlace string
}

// Abs fails the test where got is further than tolerance from want.
func (c *Column) Abs(row Row, got, want, tolerance float64) {
	row.tb.Helper()
	c.compare(row, got, want, tolerance)
}

// Rel fails the test where got is further than tolerance times want from want.
func (c *Column) Rel(row Row, got, want, tolerance float64) {
	row.tb.Helper()
	c.compare(row, got, want, tolerance*math.Abs(want))
}

func (c *Column) compare(row Row, got, want, limit float64) {
	row.tb.Helper()
	off := math.Abs(got - want)
	if !(off <= limit) {
		row.tb.Errorf("%s: %s = %.12g, want %.12g, off by %.2g, limit %.2g", row.place, c.Name, got, want, off, limit)
	}
	relative := off
	if want != 0 {
		relative /= math.Abs(want)
	}
	if c.rows == 0 || relative > c.worst {
		c.worst, c.worstPlace = relative, row.place
	}
	c.rows++
}

// Report logs the worst row, and fails the test if there was no row at all.
func (c *Column) Report(tb testing.TB) {
	tb.Helper()
	if c.rows == 0 {
		tb.Errorf("%s: no row was compared", c.Name)
		return
	}
	digits := "all digits"
	if c.worst > 0 {
		digits = fmt.Sprintf("%.1f digits", -math.Log10(c.worst))
	}
	tb.Logf("%s: %d rows, worst %s at %s", c.Name, c.rows, digits, c.worstPlace)
}
