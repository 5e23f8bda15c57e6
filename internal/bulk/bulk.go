// Package bulk evaluates the science by the thousand: a table of states goes
// in, row by row, and comes out with the computed columns appended. It is how
// anyone can hold our numbers against their own.
//
// The header says what is known, and from that what can be computed:
//
//	SP                        salinities and specific gravities
//	SP, t_degC                those, and density, heat, light and vapour
//	SP, t_degC and a pair     the carbonate system, in place of those; a pair is
//	                          two of TA_umol_kg, DIC_umol_kg, pH_total, pCO2_uatm
//	C_mS_cm, t_degC           the salinity first, then the same
//	t_degC                    pure water and its vapour, at saturation
//	tdb_degC, rh_pct, p_Pa    moist air
//
// p_dbar (default 0, the surface) and wavelength_nm (default sodium light)
// refine the second and third line. A table of water may describe the air in
// the same rows. All other columns pass through as they are.
//
// A row holds one state on one line. A row that cannot be computed is reported
// and comes out with its computed cells empty, so the output has a row for each
// row of the input. A cell is empty too where a quantity is not defined in that
// state, such as the IAPWS-95 vapour pressure below the triple point.
package bulk

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"isohaline/internal/problem"
)

// maxLineBytes bounds the memory that a line without an end can take.
const maxLineBytes = 1 << 20

// Summary counts what a batch did.
type Summary struct {
	Rows, Bad int
	// Extrapolated rows lie where the formulas still give values, but outside
	// the range they were fitted in.
	Extrapolated int
	// Fitted is that range in words: "SP 0 to 42 or -2 to 40 °C".
	Fitted string
}

// Run reads a table from in and writes it to out with the computed columns.
// Comment lines, which begin with #, are kept before the header; blank lines
// are dropped. Bad rows go to report as they come. Memory does not grow with
// the table.
//
// An error means that the table as a whole is of no use: no header, columns
// missing or there twice, a line longer than 1 MiB, or a failing reader or
// writer; or that ctx was cancelled.
func Run(ctx context.Context, in io.Reader, out io.Writer, report func(problem.Problem)) (Summary, error) {
	b := batch{lines: newLines(in), out: bufio.NewWriter(out), report: report}
	b.csv = csv.NewWriter(b.out)
	err := b.run(ctx)
	b.csv.Flush()
	if err == nil {
		err = b.csv.Error()
	}
	if flushErr := b.out.Flush(); err == nil {
		err = flushErr
	}
	return b.Summary, err
}

// batch is one table on its way through.
type batch struct {
	Summary
	lines  *lines
	out    *bufio.Writer
	csv    *csv.Writer
	report func(problem.Problem)
}

func (b *batch) run(ctx context.Context) error {
	p, err := b.header()
	if err != nil {
		return err
	}
	b.Fitted = p.fitted
	values := make([]float64, len(p.columns))
	record := make([]string, 0, p.width+len(p.columns))
	for b.lines.next() {
		if err := ctx.Err(); err != nil {
			return err
		}
		b.Rows++
		cells, wrong := b.lines.cells(p.width)
		extrapolated := false
		if wrong == nil {
			extrapolated, wrong = p.computeCells(cells, values)
		}
		if wrong != nil {
			wrong.Line = b.lines.number
			b.Bad++
			b.report(*wrong)
			fill(values, math.NaN())
		} else if extrapolated {
			b.Extrapolated++
		}
		record = append(record[:0], cells...)
		for _, v := range values {
			record = append(record, written(v))
		}
		if err := b.csv.Write(record); err != nil {
			return err
		}
	}
	return b.lines.err()
}

// header copies the comments and reads the header.
func (b *batch) header() (*plan, error) {
	for b.lines.next() {
		if strings.HasPrefix(b.lines.text, "#") {
			b.out.WriteString(b.lines.text + "\n") // a bufio.Writer keeps its error for Flush
			continue
		}
		names, err := split(b.lines.text)
		if err != nil {
			return nil, fmt.Errorf("line %d: the header is not CSV: %w; give column names separated by commas", b.lines.number, err)
		}
		for i := range names {
			names[i] = strings.TrimSpace(names[i])
		}
		p, err := planFor(names)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", b.lines.number, err)
		}
		return p, b.csv.Write(append(names, p.names()...))
	}
	if err := b.lines.err(); err != nil {
		return nil, err
	}
	return nil, errors.New("the table is empty; give a header line and a line for each state")
}

// lines reads a table line by line.
type lines struct {
	scanner *bufio.Scanner
	text    string
	number  int
}

func newLines(in io.Reader) *lines {
	s := bufio.NewScanner(in)
	s.Buffer(nil, maxLineBytes)
	return &lines{scanner: s}
}

// next goes to the next line that is not blank.
func (l *lines) next() bool {
	for l.scanner.Scan() {
		line := l.scanner.Bytes()
		if l.number == 0 {
			line = bytes.TrimPrefix(line, []byte("\uFEFF")) // spreadsheets put a byte order mark there
		}
		l.number++
		if len(bytes.TrimSpace(line)) > 0 {
			l.text = string(line)
			return true
		}
	}
	return false
}

func (l *lines) err() error {
	if errors.Is(l.scanner.Err(), bufio.ErrTooLong) {
		return fmt.Errorf("line %d: is longer than %d bytes; give one state on a line", l.number+1, maxLineBytes)
	}
	return l.scanner.Err()
}

// cells are the line's cells, as many as there are columns whatever the line
// holds; the problem says if it does not fit.
func (l *lines) cells(width int) ([]string, *problem.Problem) {
	cells, err := split(l.text)
	if err != nil {
		return make([]string, width), &problem.Problem{Why: fmt.Sprintf("is not CSV (%v); it comes out empty", err)}
	}
	if n := len(cells); n != width {
		fitted := make([]string, width)
		copy(fitted, cells)
		return fitted, &problem.Problem{Why: fmt.Sprintf("has %d cells under %d columns; give one for each, with a decimal point, not a comma", n, width)}
	}
	return cells, nil
}

// split takes one line apart. Quotes may enclose a comma, but not a line break:
// a stray quote then spoils one row and not the rest of the table.
func split(line string) ([]string, error) {
	if !strings.Contains(line, `"`) {
		return strings.Split(line, ","), nil
	}
	r := csv.NewReader(strings.NewReader(line))
	cells, err := r.Read()
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		err = parse.Err
	}
	return cells, err
}

// written is a value with the fewest digits that give it back.
func written(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

func fill(values []float64, v float64) {
	for i := range values {
		values[i] = v
	}
}
