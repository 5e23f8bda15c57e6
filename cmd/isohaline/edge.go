package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/chart"
	"isohaline/internal/edge"
	"isohaline/internal/edge/decide"
	edgeio "isohaline/internal/edge/io"
	joinfile "isohaline/internal/edge/join"
	"isohaline/internal/edge/keeper"
	"isohaline/internal/edge/link"
	"isohaline/internal/edge/page"
	"isohaline/internal/report"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// edgeCommand runs the guard beside the tank.
type edgeCommand struct {
	File     string `arg:"" help:"Tank file of the tank."`
	Wiring   string `xor:"wires" required:"" placeholder:"FILE" help:"What the inputs and outputs are wired to; docs/install-edge.md shows one."`
	Simulate bool   `xor:"wires" required:"" help:"A simulated tank instead of wires, to look at."`
	Speed    int    `default:"1" help:"How many times as fast the simulated tank lives, 1 to 1000."`
	Page     string `default:"127.0.0.1:8095" placeholder:"HOST:PORT" help:"Where the tank's own page is; by itself only on this machine."`
	Hub      string `placeholder:"FILE" help:"Join a hub by the file that it wrote when this edge was made there."`
	Data     string `placeholder:"FOLDER" help:"Where the agent keeps what must survive; by itself a folder of this user's."`
}

func (e *edgeCommand) Run(ctx context.Context, c *console) error {
	const fastest = 1000
	if e.Speed < 1 || e.Speed > fastest || e.Speed > 1 && !e.Simulate {
		return fmt.Errorf("--speed is %d: give 1 to %d, and more than 1 only with --simulate", e.Speed, fastest)
	}
	if e.Hub != "" && e.Speed > 1 {
		return fmt.Errorf("--speed is %d: a tank that lives faster has readings from the future, which no hub takes; leave out --speed or --hub", e.Speed)
	}
	s, err := readTank(c, e.File)
	if err != nil {
		return err
	}
	if s.Controller != nil && s.Controller.StopsReturnOnFloor {
		return errors.New("controller.wet floor stops return: the agent does not switch the return pump; let the floor sensor's own relay do so, and take the key out of the tank file")
	}
	set, err := verify.Commission(s)
	if err != nil {
		return err
	}
	dir, err := e.folder(s)
	if err != nil {
		return err
	}
	pin, fresh, err := pinOf(dir)
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(c.Err, nil))
	pace := edge.NewPace(e.Speed)
	wires, err := e.wires(set, pace, log)
	if err != nil {
		return err
	}
	agent, err := edge.Open(edge.Options{Config: decide.NewConfig(set.Guard, set.TopOffM3S),
		Wires: wires, Pace: pace, Dir: dir, Log: log})
	if err != nil {
		return err
	}
	hub, err := e.join(ctx, agent, dir, log)
	if err != nil {
		return err
	}
	handler, err := e.page(s, set, agent, pin, log)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", e.Page)
	if err != nil {
		return fmt.Errorf("--page: %w", err)
	}
	// Only now: an agent that cannot run touches no wire.
	if k, real := wires.(*keeper.Keeper); real {
		if err := k.Start(ctx); err != nil {
			return fmt.Errorf("taking hold of the wires: %w", err)
		}
		log.Info("a process holds the wires", "pid", k.Pid())
	}
	fmt.Fprintf(c.Out, "The guard of %s runs. Its page: http://%s  Kept in: %s\n", s.Name, listener.Addr(), dir)
	if fresh {
		fmt.Fprintf(c.Out, "What is asked on the page needs the PIN %s; it is in %s.\n", pin, filepath.Join(dir, pinFile))
	}
	return runEdge(ctx, agent, listener, handler, hub)
}

// join opens the link to the hub, nil if there is to be none.
func (e *edgeCommand) join(ctx context.Context, agent *edge.Agent, dir string, log *slog.Logger) (*link.Link, error) {
	if e.Hub == "" {
		return nil, nil
	}
	file, err := joinfile.Open(e.Hub)
	if err != nil {
		return nil, err
	}
	return link.Open(ctx, link.Options{File: file, Agent: agent, Dir: filepath.Join(dir, "readings"), Log: log})
}

// runEdge runs the guard, and the page and the link beside it for as long. Neither
// is a reason for the guard to end.
func runEdge(ctx context.Context, agent *edge.Agent, l net.Listener, h http.Handler, hub *link.Link) error {
	const patience, headers = 5 * time.Second, 4 << 10
	srv := &http.Server{Handler: h, ReadTimeout: patience, WriteTimeout: 2 * patience, IdleTimeout: time.Minute, MaxHeaderBytes: headers}
	var group errgroup.Group
	group.Go(func() error {
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			slog.Error("the page has ended, and the guard goes on", "error", err)
		}
		return nil
	})
	if hub != nil {
		group.Go(func() error {
			defer hub.Close()
			if err := hub.Run(ctx); err != nil {
				slog.Error("the link to the hub has ended, and the guard goes on", "error", err)
			}
			return nil
		})
	}
	group.Go(func() error {
		err := agent.Run(ctx)
		return errors.Join(err, srv.Close())
	})
	return group.Wait()
}

// wires are the real ones in a process of their own, or a simulation.
func (e *edgeCommand) wires(set *verify.Commissioning, pace *edge.Pace, log *slog.Logger) (edge.Wires, error) {
	if e.Simulate {
		return edgeio.Simulate(set.Onset.Live(), pace.Clock), nil
	}
	text, err := os.ReadFile(e.Wiring)
	if err != nil {
		return nil, err
	}
	w, err := edgeio.Read(e.Wiring, text)
	if err != nil {
		return nil, err
	}
	if err := fits(e.Wiring, w, set); err != nil {
		return nil, err
	}
	for _, warning := range w.Warnings {
		log.Warn(warning, "file", e.Wiring)
	}
	return &keeper.Keeper{Command: ownCommand("edge-wires"), File: e.Wiring, Wiring: text, Answers: w.Lease / 2, Log: log}, nil
}

// ownCommand is how to run this very program again, though its file may have been
// replaced meanwhile.
func ownCommand(args ...string) []string {
	self := "/proc/self/exe"
	if _, err := os.Stat(self); err != nil {
		if self, err = os.Executable(); err != nil {
			self = os.Args[0]
		}
	}
	return append([]string{self}, args...)
}

// fits compares the wiring with the sensors that the tank file has: a sensor that
// the check counted on and nobody wired is a fault, and so is the reverse.
func fits(file string, w *edgeio.Wiring, set *verify.Commissioning) error {
	g := set.Guard
	var errs []error
	wrong := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("%s: %s", file, fmt.Sprintf(format, args...)))
	}
	for _, i := range []struct {
		input  edgeio.Input
		fitted bool
		key    string
	}{
		{edgeio.Ceiling, g.CeilingFitted, "top-off.ceiling"}, {edgeio.Floor, g.FloorFitted, "floor sensor"},
		{edgeio.Reservoir, g.ReservoirLowFitted, "top-off.reservoir.low sensor"},
		{edgeio.ReturnPump, g.ReturnFitted, "top-off.return sensed"}, {edgeio.Level, g.LevelFitted, "top-off.level gauge"},
	} {
		switch wired := w.Inputs[i.input]; {
		case i.fitted && !wired:
			wrong("inputs.%s is missing, and the tank file has %s: wire it, or take it out of the tank file and check the design again", i.input, i.key)
		case !i.fitted && wired:
			wrong("inputs.%s is wired, and the tank file has no %s: add it there and check the design again", i.input, i.key)
		}
	}
	valve := set.Report.Tank.TopOff.ShutoffValve
	switch wired := w.Outputs[edgeio.Valve]; {
	case valve && !wired:
		wrong("outputs.valve is missing, and the tank file has top-off.shut-off valve: without it no water flows")
	case !valve && wired:
		wrong("outputs.valve is wired, and the tank file has no top-off.shut-off valve: add it there and check the design again")
	}
	return errors.Join(errs...)
}

// page is the tank's own page.
func (e *edgeCommand) page(s *tankfile.Tank, set *verify.Commissioning, agent *edge.Agent, pin string, log *slog.Logger) (http.Handler, error) {
	drawing := report.Section(set.Report)
	wide, err := drawing.SVG(chart.Wide)
	if err != nil {
		return nil, err
	}
	narrow, err := drawing.SVG(chart.Narrow)
	if err != nil {
		return nil, err
	}
	return page.New(page.Options{Agent: agent, Name: s.Name, Place: s.Place,
		Wide: template.HTML(wide), Narrow: template.HTML(narrow), PIN: pin, Log: log}), nil
}

// folder is where this tank's agent keeps its things. A simulation keeps its own
// beside those of the real one.
func (e *edgeCommand) folder(s *tankfile.Tank) (string, error) {
	dir := e.Data
	if dir == "" {
		base, err := userDir()
		if err != nil {
			return "", err
		}
		name := strings.Trim(regexp.MustCompile("[^a-z0-9]+").ReplaceAllString(strings.ToLower(s.Name), "-"), "-")
		if e.Simulate {
			name += "-simulated"
		}
		dir = filepath.Join(base, "edge", name)
	}
	return dir, os.MkdirAll(dir, 0o700)
}

// pinFile holds the PIN, in the agent's folder.
const pinFile = "pin"

// pinOf reads the PIN, or makes one.
func pinOf(dir string) (pin string, fresh bool, err error) {
	name := filepath.Join(dir, pinFile)
	text, err := os.ReadFile(name)
	if err == nil {
		pin = strings.TrimSpace(string(text))
		const shortest = 4
		if len(pin) < shortest {
			return "", false, fmt.Errorf("%s: the PIN has %d characters: give at least %d, or remove the file for a new one", name, len(pin), shortest)
		}
		return pin, false, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", false, err
	}
	n, err := rand.Int(rand.Reader, big.NewInt(1_000_000))
	if err != nil {
		return "", false, err
	}
	pin = fmt.Sprintf("%06d", n)
	return pin, true, os.WriteFile(name, []byte(pin+"\n"), 0o600)
}

// edgeWiresCommand is the process that holds an agent's wires. The agent starts
// it; by hand it is of no use.
type edgeWiresCommand struct{}

func (edgeWiresCommand) Run(ctx context.Context, c *console) error {
	return keeper.Serve(ctx, os.Stdin, c.Out)
}
