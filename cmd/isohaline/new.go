package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// newCommand writes a tank file to begin from. On a terminal it asks for what
// the flags leave open.
type newCommand struct {
	File      string     `arg:"" optional:"" help:"File to write; without it, standard output."`
	Name      string     `placeholder:"TEXT" help:"What the tank is called."`
	Place     string     `placeholder:"TEXT" help:"Where it stands."`
	NoSump    bool       `xor:"sump" help:"A tank without a sump."`
	Display   string     `placeholder:"SIZE" help:"Inside length x width x height of the display, like '1200 x 600 x 600 mm' or '48 x 24 x 24 in'."`
	Sump      string     `placeholder:"SIZE" xor:"sump" help:"The same of the sump."`
	Sensors   string     `placeholder:"N" help:"Level sensors: 1 (watch) or 2 (watch and ceiling)."`
	Reservoir string     `placeholder:"VOLUME" help:"What the reservoir holds when it is filled, like '25 L'."`
	Air       string     `placeholder:"TEMP" help:"Usual temperature of the room, like '22 °C'."`
	Humidity  string     `placeholder:"SHARE" help:"Usual relative humidity of the room, like '45 %'."`
	Visits    string     `placeholder:"DAYS" help:"Days between visits, like '7 days'."`
	Units     unitsFlags `embed:""`
	Force     bool       `help:"Overwrite the file if it exists."`
}

func (n *newCommand) Run(ctx context.Context, c *console) error {
	if n.File != "" && !n.Force {
		if _, err := os.Stat(n.File); err == nil {
			return fmt.Errorf("%s exists; give another name, or --force to overwrite it", n.File)
		}
	}
	answers := tankfile.Answers{Units: n.Units.system(), NoSump: n.NoSump}
	if err := n.fromFlags(&answers); err != nil {
		return err
	}
	if isTerminal(c.In) {
		if err := n.ask(c, &answers); err != nil {
			return err
		}
	}
	text := tankfile.Starter(answers)
	if _, _, err := tankfile.Read("the new tank", text); err != nil {
		return fmt.Errorf("these answers do not make a tank; mend them and try again:\n%v", err)
	}
	if n.File == "" {
		_, err := c.Out.Write(text)
		return err
	}
	if err := n.write(text); err != nil {
		return err
	}
	fmt.Fprintf(c.Err, "wrote %s; measure what it guesses, then run: isohaline check %s\n", n.File, n.File)
	return nil
}

// write puts the text into the file, which must not exist unless --force says
// that it may.
func (n *newCommand) write(text []byte) error {
	if n.Force {
		return os.WriteFile(n.File, text, 0o644)
	}
	f, err := os.OpenFile(n.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}

// question is one thing a starter file is made from.
type question struct {
	flag string
	text *string // what the flag said
	ask  string
	take func(text string, a *tankfile.Answers) error
}

func (n *newCommand) questions() []question {
	return []question{
		{"name", &n.Name, "What is the tank called? [My reef]",
			func(text string, a *tankfile.Answers) error { a.Name = text; return nil }},
		{"place", &n.Place, "Where does it stand? [leave it open]",
			func(text string, a *tankfile.Answers) error { a.Place = text; return nil }},
		{"display", &n.Display, "Inside of the display, length x width x height? [a usual size]",
			func(text string, a *tankfile.Answers) (err error) { a.Display, err = parseBox(text); return }},
		{"sump", &n.Sump, "Inside of the sump? [a usual size; none for a tank without one]",
			func(text string, a *tankfile.Answers) (err error) {
				if a.NoSump = a.NoSump || text == "none"; !a.NoSump {
					a.Sump, err = parseBox(text)
				}
				return
			}},
		{"sensors", &n.Sensors, "How many level sensors, 1 or 2? [2]",
			func(text string, a *tankfile.Answers) error {
				a.Sensors, _ = strconv.Atoi(text)
				if a.Sensors != 1 && a.Sensors != 2 {
					return fmt.Errorf("%q is neither 1 nor 2", text)
				}
				return nil
			}},
		{"reservoir", &n.Reservoir, "What does the reservoir hold? [a usual size]",
			func(text string, a *tankfile.Answers) error {
				m3, err := units.Volume.Parse(text)
				a.ReservoirLitres = m3 * litresPerM3
				return err
			}},
		{"air", &n.Air, "Usual temperature of the room? [two seasons]",
			func(text string, a *tankfile.Answers) (err error) {
				a.AirC, err = units.Temperature.Parse(text)
				return
			}},
		{"humidity", &n.Humidity, "Usual humidity of the room? [two seasons]",
			func(text string, a *tankfile.Answers) (err error) { a.RHFrac, err = units.Fraction.Parse(text); return }},
		{"visits", &n.Visits, "Days between visits? [as usual for the size]",
			func(text string, a *tankfile.Answers) (err error) {
				a.DaysBetweenVisits, err = units.Days.Parse(text)
				return
			}},
	}
}

const litresPerM3 = 1000

// fromFlags takes what the flags say.
func (n *newCommand) fromFlags(a *tankfile.Answers) error {
	var errs []error
	for _, q := range n.questions() {
		if *q.text == "" {
			continue
		}
		if err := q.take(*q.text, a); err != nil {
			errs = append(errs, fmt.Errorf("--%s: %w", q.flag, err))
		}
	}
	return errors.Join(errs...)
}

// ask asks a person for what the flags left open. An empty answer takes what
// stands in brackets.
func (n *newCommand) ask(c *console, a *tankfile.Answers) error {
	in := bufio.NewReader(c.In)
	for _, q := range n.questions() {
		for answered := *q.text != "" || q.flag == "sump" && a.NoSump; !answered; {
			fmt.Fprint(c.Err, q.ask, " ")
			line, err := in.ReadString('\n')
			if errors.Is(err, io.EOF) {
				return errors.New("the answers ended; nothing is written")
			} else if err != nil {
				return err
			}
			line = strings.TrimSpace(line)
			if line == "" {
				break
			}
			if err := q.take(line, a); err != nil {
				fmt.Fprintln(c.Err, "  "+err.Error())
				continue
			}
			answered = true
		}
	}
	return nil
}

// parseBox reads "1200 x 600 x 600 mm": three lengths, of which the first two
// may leave their unit to the last.
func parseBox(text string) (tankfile.Box, error) {
	malformed := fmt.Errorf("%q is not three lengths; write length x width x height with the unit, like 1200 x 600 x 600 mm", text)
	parts := strings.Split(strings.ReplaceAll(text, "×", "x"), "x")
	const sides = 3
	if len(parts) != sides {
		return tankfile.Box{}, malformed
	}
	unit := strings.TrimLeft(strings.TrimSpace(parts[sides-1]), "0123456789. ")
	var m [sides]float64
	for i, part := range parts {
		if _, err := strconv.ParseFloat(strings.TrimSpace(part), 64); err == nil {
			part += unit
		}
		var err error
		if m[i], err = units.Length.Parse(strings.TrimSpace(part)); err != nil {
			return tankfile.Box{}, fmt.Errorf("%w: %w", malformed, err)
		}
		if !(m[i] > 0) {
			return tankfile.Box{}, malformed
		}
	}
	return tankfile.Box{LengthM: m[0], WidthM: m[1], HeightM: m[2]}, nil
}
