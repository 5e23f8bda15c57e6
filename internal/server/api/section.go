package api

import (
	"math"

	"isohaline/internal/channel"
	"isohaline/internal/chart"
	"isohaline/internal/live"
	"isohaline/internal/report"
	"isohaline/internal/units"
)

// section draws the tank, with what its sensors said last.
func section(s *live.Sheet, lasts live.Lasts, u units.System, format chart.Format) ([]byte, error) {
	section := report.Section(s.Report)
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
	return section.SVG(format)
}
