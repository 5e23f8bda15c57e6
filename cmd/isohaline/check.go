package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"time"

	"github.com/schollz/progressbar/v3"

	"isohaline/internal/chart"
	"isohaline/internal/plant"
	"isohaline/internal/report"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// checkCommand is the main job: a tank file in, a verified design out.
type checkCommand struct {
	File       string     `arg:"" optional:"" help:"Tank file; - for standard input."`
	HTML       string     `name:"html" placeholder:"FILE" help:"Write the commissioning sheet too: one page to read, print and sign."`
	JSON       bool       `name:"json" help:"Print JSON instead of words."`
	Units      unitsFlags `embed:""`
	Width      int        `placeholder:"N" help:"Columns to print in, 60 to 140; by itself the terminal's."`
	Singles    bool       `help:"Try single faults only, no pairs."`
	Fault      []string   `sep:"none" placeholder:"ID" help:"Follow this fault against time, or two together; with --trace."`
	Trace      string     `placeholder:"PREFIX" help:"Write what --fault does into PREFIX.csv and PREFIX.svg."`
	Season     string     `placeholder:"NAME" help:"The season of the file to follow it in; by itself the worst."`
	ListFaults bool       `help:"List the faults and their IDs: those that the tank can have, or without a file all."`
	Odds       oddsFlags  `embed:"" group:"How likely:"`
}

func (ch *checkCommand) Run(ctx context.Context, c *console) error {
	if ch.ListFaults && ch.File == "" {
		return listFaults(c, plant.Faults)
	}
	s, err := readTank(c, ch.File)
	if err != nil {
		return err
	}
	if ch.ListFaults {
		return listFaults(c, plant.FaultsOf(s))
	}
	faults, err := ch.faults(s)
	if err != nil {
		return err
	}
	asked, err := ch.Odds.inquiry(s, ch.Singles)
	if err != nil {
		return err
	}
	r, err := verify.Check(ctx, s, verify.Options{Units: ch.Units.system(), SinglesOnly: ch.Singles, Progress: c.progress("trying faults")})
	if err != nil {
		return err
	}
	likely, err := asked.answer(ctx, c, r)
	if err != nil {
		return err
	}
	if err := ch.write(c, r, likely, faults); err != nil {
		return err
	}
	if !r.Verdict.Accepted {
		return no("the design is not accepted")
	}
	return nil
}

// maxFileBytes is more than any tank file may have: enough for tankfile.Read to
// refuse it, and an end to what an endless input can take.
const maxFileBytes = 4 << 20

// readTank reads and validates a tank file. Warnings go to standard error.
func readTank(c *console, name string) (*tankfile.Tank, error) {
	in := c.In
	switch name {
	case "":
		return nil, errors.New("no tank file; give one, like isohaline check examples/reading-room.yaml, or - for standard input")
	case "-":
		name = "standard input"
	default:
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, maxFileBytes))
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	s, warnings, err := tankfile.Read(name, data)
	for _, w := range warnings {
		fmt.Fprintln(c.Err, "warning:", w)
	}
	return s, err
}

// write writes the report, and whatever files were asked for.
func (ch *checkCommand) write(c *console, r *verify.Report, likely *report.Odds, faults []plant.Fault) error {
	if ch.HTML != "" {
		meta := report.Meta{Version: version(), TankFile: ch.File, Made: time.Now()}
		if err := writeFile(ch.HTML, func(w io.Writer) error { return report.HTML(w, r, likely, meta) }); err != nil {
			return err
		}
	}
	if len(faults) > 0 {
		if err := ch.follow(c, r, faults); err != nil {
			return err
		}
	}
	if ch.JSON {
		return report.JSON(c.Out, r, likely)
	}
	width := ch.Width
	if width == 0 {
		width = c.width()
	}
	return report.Text(c.Out, r, likely, report.TextOptions{Width: width, Colour: c.colour(), PairRows: worstPairs})
}

// worstPairs is how many pairs a terminal shows; JSON and the page have all.
const worstPairs = 5

// follow writes what the faults do against time.
func (ch *checkCommand) follow(c *console, r *verify.Report, faults []plant.Fault) error {
	row, samples, err := r.Follow(faults, ch.Season)
	if err != nil {
		return fmt.Errorf("--season: %w", err)
	}
	drawing, err := report.Trace(r, &row, samples).SVG(chart.Wide)
	if err != nil {
		return err
	}
	table, picture := ch.Trace+".csv", ch.Trace+".svg"
	err = errors.Join(
		writeFile(table, func(w io.Writer) error { return report.TraceCSV(w, samples) }),
		writeFile(picture, func(w io.Writer) error { _, err := w.Write(drawing); return err }))
	if err == nil {
		fmt.Fprintf(c.Err, "wrote %s and %s: %s\n", table, picture, row.Sentence)
	}
	return err
}

// writeFile makes a file only if all of its content can be made.
func writeFile(name string, content func(io.Writer) error) error {
	var b bytes.Buffer
	if err := content(&b); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return os.WriteFile(name, b.Bytes(), 0o644)
}

// progress shows how far long work is, if a person watches.
func (c *console) progress(what string) func(done, total int) {
	if !isTerminal(c.Err) {
		return nil
	}
	var bar *progressbar.ProgressBar
	return func(done, total int) {
		if bar == nil {
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(c.Err), progressbar.OptionSetDescription(what),
				progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
		}
		_ = bar.Set(done) // a bar that cannot be drawn stops nothing
	}
}

func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	return info.Main.Version
}
