package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"isohaline/internal/bench"
	"isohaline/internal/units"
)

// benchCommand asks the water bench one question. Its flags are the question's
// own fields, as their tags name them.
type benchCommand[Q any] struct {
	Question Q    `embed:""`
	JSON     bool `help:"Print JSON."`
	unitsFlags
}

func (b *benchCommand[Q]) Run(c *console) error {
	q, ok := any(&b.Question).(bench.Question)
	if !ok {
		return fmt.Errorf("%T is no question of the bench", b.Question)
	}
	u := b.system()
	a, err := bench.Ask(q, bench.Circumstances{Units: u, Now: time.Now()})
	if err != nil {
		return flagged(err)
	}
	if b.JSON {
		e := json.NewEncoder(c.Out)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		return e.Encode(a)
	}
	return printAnswer(c.Out, a, u)
}

// handCommand asks the one question that is about a tank.
type handCommand struct {
	File string `arg:"" help:"Tank file; - for standard input."`
	benchCommand[bench.HandTopOff]
}

func (h *handCommand) Run(c *console) (err error) {
	if h.Question.Tank, err = readTank(c, h.File); err != nil {
		return err
	}
	return h.benchCommand.Run(c)
}

// flagged names the flag where the bench names a field.
func flagged(err error) error {
	var r *bench.Refusal
	if errors.As(err, &r) && r.Flag != "" && !strings.Contains(r.Field, "[") { // a row of a table has a place, and no flag
		r.Field = "--" + r.Flag
	}
	return err
}

// printAnswer writes an answer as text: the sentence, the numbers, what to do, and
// what to know.
func printAnswer(out io.Writer, a *bench.BenchAnswer, u units.System) error {
	var text strings.Builder
	fmt.Fprintf(&text, "%s\n\n", a.Sentence)
	w := tabwriter.NewWriter(&text, 0, 0, 2, ' ', 0)
	for _, f := range a.Figures {
		fmt.Fprintf(w, "%s\t%s\n", f.Words, bench.ShownFigure(f, u))
	}
	for _, d := range a.Dates {
		fmt.Fprintf(w, "%s\t%s (%s to %s)\n", d.Words, day(d.Likely), day(d.Earliest), day(d.Latest))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for i := range a.Series {
		printSeries(&text, &a.Series[i], u)
	}
	for _, part := range []struct {
		head  string
		lines []string
	}{{"What to do, in this order", a.Steps}, {"Take care", a.Cautions}, {"What this takes for granted", a.Notes}, {"Sources", a.Sources}} {
		if len(part.lines) > 0 {
			fmt.Fprintf(&text, "\n%s:\n", part.head)
		}
		for _, line := range part.lines {
			fmt.Fprintf(&text, "  - %s\n", line)
		}
	}
	_, err := io.WriteString(out, text.String())
	return err
}

func day(t time.Time) string { return t.Format(time.DateOnly) }

// printSeries writes a quantity against time, twenty points at most: --json has all.
func printSeries(out io.Writer, s *bench.BenchSeries, u units.System) {
	const points = 20
	fmt.Fprintf(out, "\n%s (%s)\n", s.Words, s.Time)
	step := max(1, int(math.Ceil(float64(len(s.At)-1)/points)))
	for i := 0; i < len(s.At); i += step {
		line := fmt.Sprintf("  %6.3g  %s", s.At[i], bench.Shown(s.Value[i], s.Unit, u))
		if len(s.Low) == len(s.At) {
			line += fmt.Sprintf(" (%s to %s)", bench.Shown(s.Low[i], s.Unit, u), bench.Shown(s.High[i], s.Unit, u))
		}
		fmt.Fprintln(out, line)
	}
}
