// Command isohaline designs and checks top-off systems for saltwater aquariums.
//
//	isohaline check FILE         try every fault on the tank in the file
//	isohaline new [FILE]         write a tank file to begin from
//	isohaline edge FILE          run the guard beside its tank
//	isohaline serve              run the service
//	isohaline backup FILE        copy what the service keeps
//	isohaline restore FILE       ... and make a copy what it keeps
//	isohaline demo               ... over an invented fleet
//	isohaline replay FILE        what a tank's account makes of recorded readings
//	isohaline water              evaluate the science for one state
//	isohaline water batch        ... and for a table of them
//	isohaline water use          ... and other questions of the water bench
//	isohaline version            say what was built
//
// The exit code is 0 for yes and 1 for no: a design that is not accepted, a
// table with bad rows. It is 2 where there is no answer, because the input or
// the flags are of no use, and 130 after an interrupt.
//
// This package reads flags and files, calls the packages that know, and prints
// what they say. It knows nothing of aquariums itself.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"isohaline/internal/problem"
)

const (
	exitYes         = 0
	exitNo          = 1
	exitUnusable    = 2
	exitInterrupted = 130 // 128 + SIGINT, as shells report it
)

// commands is the command line.
type commands struct {
	Check   checkCommand   `cmd:"" help:"Check the design in a tank file: what it loses, how to set it, what every fault would do."`
	New     newCommand     `cmd:"" help:"Write a commented tank file to begin from."`
	Edge    edgeCommand    `cmd:"" help:"Run the guard beside its tank: on real wires or a simulated tank, needing no network."`
	Serve   serveCommand   `cmd:"" help:"Run the service: devices report to it, pages show what needs a person."`
	Backup  backupCommand  `cmd:"" help:"Write a copy of what the service keeps, also while it runs."`
	Restore restoreCommand `cmd:"" help:"Make a copy what the service keeps."`
	Demo    demoCommand    `cmd:"" help:"Run the service over an invented fleet, to look at."`
	Replay  replayCommand  `cmd:"" help:"Run recorded readings through a tank's account: what it finds, and when."`
	Water   waterCommand   `cmd:"" help:"Evaluate the science of seawater and moist air."`
	Version versionCommand `cmd:"" help:"Say which version this is and what it was built from."`

	EdgeWires edgeWiresCommand `cmd:"" hidden:""`
}

const description = "Designs and checks top-off systems for saltwater aquariums.\n\n" +
	"Exit codes: 0 yes, 1 no, 2 the input or the flags are of no use, 130 interrupted."

// no is an answer, where other errors mean that there is none.
type no string

func (n no) Error() string { return string(n) }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second interrupt ends the program at once
	in := &interruptible{ctx, os.Stdin}
	os.Exit(run(ctx, os.Args[1:], &console{In: in, Out: os.Stdout, Err: os.Stderr}))
}

// run carries out one command line and returns its exit code.
func run(ctx context.Context, args []string, c *console) int {
	if len(args) == 0 {
		args = []string{"--help"}
	}
	helped := false
	options := append(flagTypes(), kong.Name("isohaline"), kong.Description(description),
		kong.Writers(c.Out, c.Err), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(c),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.Exit(func(int) { helped = true }))
	parser, err := kong.New(new(commands), options...)
	if err != nil {
		return c.fail(err)
	}
	command, err := parser.Parse(args)
	switch {
	case helped:
		return exitYes
	case err != nil:
		return c.fail(fmt.Errorf("%w; see isohaline --help", err))
	}
	return c.fail(command.Run())
}

// fail prints an error, if there is one, and says what to exit with.
func (c *console) fail(err error) int {
	var answer no
	var problems problem.List
	switch {
	case err == nil:
		return exitYes
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(c.Err, "isohaline: interrupted")
		return exitInterrupted
	case errors.As(err, &answer):
		fmt.Fprintln(c.Err, "isohaline: "+answer.Error())
		return exitNo
	case errors.As(err, &problems):
		fmt.Fprintln(c.Err, problems) // each begins with its own place
		return exitUnusable
	default:
		fmt.Fprintln(c.Err, "isohaline: "+err.Error())
		return exitUnusable
	}
}

// interruptible is a reader that gives up when its context ends, even while it
// waits for input that never comes.
type interruptible struct {
	ctx context.Context
	io.Reader
}

func (r *interruptible) Read(p []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	done := make(chan result, 1)
	go func() {
		n, err := r.Reader.Read(p)
		done <- result{n, err}
	}()
	select {
	case got := <-done:
		return got.n, got.err
	case <-r.ctx.Done():
		return 0, r.ctx.Err()
	}
}
