package demo

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/edge"
	"isohaline/internal/edge/decide"
	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/join"
	"isohaline/internal/edge/link"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// agent runs a tank's guard as `isohaline edge --simulate --hub` does, within this
// process: the same guard, the same link, a tank that lives at the clock's pace.
type agent struct {
	file join.File
	tank *tankfile.Tank
	dir  string
	log  *slog.Logger
}

// guard gives a tank an edge with an agent.
func (d *Demo) guard(ctx context.Context, t *Tank, life *Record) (id string, on continuation, err error) {
	made, seed, err := d.Server.Devices.NewEdge(ctx, d.Server.Store.Edit(who, d.began),
		store.Device{SiteID: t.SiteID, TankID: t.ID, Name: "Guard of " + life.Tank.Name})
	if err != nil {
		return "", nil, err
	}
	a := &agent{file: join.File{Hub: d.Server.EdgesAddress(), Site: made.SiteID, Edge: made.ID, Key: seed},
		tank: life.Tank, dir: filepath.Join(d.o.Dir, "edges", t.ID), log: d.o.Log}
	return made.ID, a.run, nil
}

// run lives until ctx ends.
func (a *agent) run(ctx context.Context) error {
	set, err := verify.Commission(a.tank)
	if err != nil {
		return fmt.Errorf("demo edge %s: %w", a.file.ID(), err)
	}
	const private = 0o700
	if err := os.MkdirAll(a.dir, private); err != nil {
		return fmt.Errorf("demo edge: %w", err)
	}
	pace := edge.NewPace(1)
	guard, err := edge.Open(edge.Options{Config: decide.NewConfig(set.Guard, set.TopOffM3S),
		Wires: edgeio.Simulate(set.Onset.Live(), pace.Clock), Pace: pace, Dir: a.dir, Log: a.log})
	if err != nil {
		return fmt.Errorf("demo edge %s: %w", a.file.ID(), err)
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return guard.Run(ctx) })
	group.Go(func() error {
		hub, err := link.Open(ctx, link.Options{File: a.file, Agent: guard, Dir: filepath.Join(a.dir, "readings"), Log: a.log})
		if err != nil {
			return fmt.Errorf("demo edge %s: %w", a.file.ID(), err)
		}
		defer hub.Close()
		return hub.Run(ctx)
	})
	return group.Wait()
}
