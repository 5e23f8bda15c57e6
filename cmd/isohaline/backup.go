package main

import (
	"context"
	"fmt"
	"time"

	"isohaline/internal/server"
)

// dataFlag names the folder in which a service keeps everything.
type dataFlag struct {
	Data string `aliases:"dir" placeholder:"FOLDER" help:"Where the service keeps everything; by itself a folder of this user's."`
}

func (d dataFlag) dir() (string, error) {
	if d.Data != "" {
		return d.Data, nil
	}
	return userDir()
}

// backupCommand copies what a service keeps.
type backupCommand struct {
	dataFlag
	File string `arg:"" help:"The copy to write; it must not be there yet."`
}

func (b *backupCommand) Run(ctx context.Context, c *console) error {
	dir, err := b.dir()
	if err != nil {
		return err
	}
	if err := server.Backup(ctx, dir, b.File); err != nil {
		return err
	}
	fmt.Fprintf(c.Err, "wrote %s; it holds hashes of passwords and the delivery's secrets: keep it private, and elsewhere than here\n", b.File)
	return nil
}

// restoreCommand makes a copy what a service keeps.
type restoreCommand struct {
	dataFlag
	File  string `arg:"" help:"A copy that isohaline backup wrote."`
	Force bool   `help:"Set a database aside that is there already."`
}

func (r *restoreCommand) Run(ctx context.Context, c *console) error {
	dir, err := r.dir()
	if err != nil {
		return err
	}
	aside, err := server.Restore(ctx, r.File, dir, r.Force, time.Now())
	if aside != "" {
		fmt.Fprintf(c.Err, "what was there is now %s\n", aside)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(c.Err, "restored %s; the next isohaline serve --dir %s reads again what its log still has\n", r.File, dir)
	return nil
}
