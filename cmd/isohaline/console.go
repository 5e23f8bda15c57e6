package main

import (
	"io"
	"os"

	"golang.org/x/term"

	"isohaline/internal/units"
)

// console is where a command reads and writes.
type console struct {
	In       io.Reader
	Out, Err io.Writer
}

// Width to print for where there is no terminal to ask.
const plainWidth = 100

// isTerminal says whether a person is at the other end.
func isTerminal(end any) bool {
	if r, ok := end.(*interruptible); ok {
		end = r.Reader
	}
	f, ok := end.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// width is how many characters fit on a line of the output.
func (c *console) width() int {
	if f, ok := c.Out.(*os.File); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			return w
		}
	}
	return plainWidth
}

// colour says whether to mark the output with colours: on a terminal, unless the
// person asked for none (NO_COLOR, as no-color.org has it).
func (c *console) colour() bool {
	return isTerminal(c.Out) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

// unitsFlags choose the units that a person reads.
type unitsFlags struct {
	Metric bool `xor:"units" help:"Litres, millimetres and °C; this is the usual."`
	US     bool `name:"us" xor:"units" help:"Gallons, inches and °F."`
}

func (u unitsFlags) system() units.System {
	if u.US {
		return units.US
	}
	return units.Metric
}
