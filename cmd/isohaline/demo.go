package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"

	"isohaline/internal/demo"
)

// demoCommand runs the watch over an invented fleet.
type demoCommand struct {
	serveFlags
	Dir string `placeholder:"FOLDER" help:"Keep the demo's data in this empty folder; by itself they go when it ends."`
}

func (d *demoCommand) Run(ctx context.Context, c *console) (err error) {
	dir := d.Dir
	if dir == "" {
		if dir, err = os.MkdirTemp("", "isohaline-demo-"); err != nil {
			return err
		}
		defer os.RemoveAll(dir)
	}
	fmt.Fprintf(c.Err, "making %d tanks and their last %d days ...\n", len(demo.Fleet()), demo.HistoryDays)
	fleet, err := demo.Open(ctx, demo.Options{Dir: dir, HTTP: d.HTTP, MQTT: d.MQTT, Edges: d.Edges,
		Log: slog.New(slog.NewTextHandler(c.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))})
	if err != nil {
		return err
	}
	defer fleet.Close()
	fmt.Fprintf(c.Out, "The demo runs at %s\n\n", fleet.Server.Address())
	for _, p := range demo.People() {
		fmt.Fprintf(c.Out, "    %-10s %s  (%s)\n", p.Name, p.Password, p.Role)
	}
	fmt.Fprintf(c.Out, "\nDevices reach it at %s. People, places and tanks are invented. End it with Ctrl-C.\n", fleet.Server.DoorAddress())
	return fleet.Run(ctx)
}
