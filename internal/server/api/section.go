package api

import (
	"context"
	"math"

	"isohaline/internal/channel"
	"isohaline/internal/chart"
	"isohaline/internal/live"
	"isohaline/internal/report"
)

// section draws the tank, with what its sensors said last.
func section(ctx context.Context, sheet *live.Sheet, lasts live.Lasts, format string) ([]byte, error) {
	section := report.Section(sheet.Report)
	u := systemOf(personOf(ctx))
	section.Units = u
	for _, c := range []struct{ channel, name, on, off string }{
		{channel.WatchLevel, "Watch sensor now", "wet", "dry"},
		{channel.CeilingLevel, "Ceiling sensor now", "wet", "dry"},
		{channel.TopOffPump, "Top-off pump now", "running", "resting"},
		{channel.ReturnPump, "Return pump now", "running", "stopped"},
	} {
		if last, ok := lasts[c.channel]; ok {
			word := c.off
			if last.Value != 0 {
				word = c.on
			}
			section.Facts = append(section.Facts, chart.Fact{Name: c.name, Value: word})
		}
	}
	if level, ok := lasts[channel.Level]; ok && !math.IsNaN(level.Value) {
		section.Facts = append(section.Facts, chart.Fact{Name: "Level now", Value: u.Length(level.Value)})
	}
	return section.SVG(formatOf(format))
}
