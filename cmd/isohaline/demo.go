package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"

	"isohaline/internal/demo"
)

// demoCommand runs the service over an invented fleet.
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
	fleet, err := demo.Open(ctx, demo.Options{Dir: dir, HTTP: d.HTTP, MQTT: d.MQTT, Edges: d.Edges, Progress: c.demoProgress(),
		Log: slog.New(slog.NewTextHandler(c.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))})
	if err != nil {
		return err
	}
	defer fleet.Close()
	fmt.Fprintf(c.Out, "The demo runs at %s\n\n", fleet.Server.Address())
	for _, p := range demo.People() {
		fmt.Fprintf(c.Out, "    %-10s %s  (%s)\n", p.Name, p.Password, p.Role)
	}
	fmt.Fprintf(c.Out, "\nDevices reach it at %s. People, places and tanks are invented. End it with Ctrl-C.\n\n", fleet.Server.DoorAddress())
	return fleet.Run(ctx)
}

// demoProgress tells in words how many tanks have their past, whether or not a
// person watches.
func (c *console) demoProgress() func(done, total int) {
	bar := c.progress(fmt.Sprintf("living the fleet's last %d days", demo.HistoryDays))
	return func(done, total int) {
		switch {
		case bar != nil:
			bar(done, total)
		case done == 0:
			fmt.Fprintf(c.Err, "living the last %d days of %d tanks; the pages show each as soon as it is ready\n", demo.HistoryDays, total)
		default:
			fmt.Fprintf(c.Err, "catching up, %d of %d tanks\n", done, total)
		}
		if done == total {
			fmt.Fprintf(c.Err, "All %d tanks are monitored.\n", total)
		}
	}
}
