package main

import (
	"errors"
	"fmt"
	"runtime/debug"
)

type versionCommand struct{}

func (versionCommand) Run(c *console) error {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return errors.New("this binary carries no build information; build it with go build or go install")
	}
	settings := map[string]string{}
	for _, s := range info.Settings {
		settings[s.Key] = s.Value
	}
	fmt.Fprintln(c.Out, "isohaline", info.Main.Version)
	if revision := settings["vcs.revision"]; revision != "" {
		changed := ""
		if settings["vcs.modified"] == "true" {
			changed = ", with changes that are not committed"
		}
		fmt.Fprintf(c.Out, "commit %s of %s%s\n", revision, settings["vcs.time"], changed)
	}
	fmt.Fprintf(c.Out, "%s %s/%s\n", info.GoVersion, settings["GOOS"], settings["GOARCH"])
	return nil
}
