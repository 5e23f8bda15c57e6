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

// dir is the folder, unless the data is in PostgreSQL: that is an error, which says
// what to do instead.
func (d dataFlag) dir(flags databaseFlags) (dir string, err error) {
	if dir = d.Data; dir == "" {
		if dir, err = userDir(); err != nil {
			return "", err
		}
	}
	database, err := flags.address()
	if err == nil && database != "" {
		err = server.PostgresTools(dir)
	}
	return dir, err
}

// backupCommand copies what a service keeps.
type backupCommand struct {
	dataFlag
	databaseFlags
	File string `arg:"" help:"The copy to write; it must not be there yet."`
}

func (b *backupCommand) Run(ctx context.Context, c *console) error {
	dir, err := b.dir(b.databaseFlags)
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
	databaseFlags
	File  string `arg:"" help:"A copy that isohaline backup wrote."`
	Force bool   `help:"Set a database aside that is there already."`
}

func (r *restoreCommand) Run(ctx context.Context, c *console) error {
	dir, err := r.dir(r.databaseFlags)
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
