package monitor

import (
	"context"
	"fmt"
	"math"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/chart"
	"isohaline/internal/report"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// Sheet is a tank file worked out: the tank it describes and the check's
// answer.
type Sheet struct {
	Tank  *tankfile.Tank
	Check *verify.Report
	// Zone is what sentences about the tank say times in; nil: UTC.
	Zone *time.Location
}

// in is the sheet for people in another time zone.
func (s *Sheet) in(zone *time.Location) *Sheet {
	moved := *s
	moved.Zone = zone
	return &moved
}

// Read works a tank file out. The error is a tankfile.Problems where the file is to
// blame.
func Read(ctx context.Context, name, file string) (*Sheet, error) {
	s, _, err := tankfile.Read(name, []byte(file))
	if err != nil {
		return nil, err
	}
	check, err := verify.Check(ctx, s, verify.Options{SinglesOnly: true})
	if err != nil {
		return nil, fmt.Errorf("checking %s: %w", name, err)
	}
	return &Sheet{Tank: s, Check: check}, nil
}

// account is the account of the tank, set as its controller is. Its device says
// that it lives every so often; 0: it does not.
func (s *Sheet) account(heartbeat time.Duration) (*account.Account, error) {
	settings := account.Settings{WatchM: s.Check.Settings.Levels.WatchM, Heartbeat: heartbeat, Zone: s.Zone}
	if g := s.Check.Settings.Guard; g != nil {
		settings.RunLimit, settings.MinOff = g.HardCap, g.MinOff
		// The dip lasts as long as the water takes, however short the
		// controller is set to wait: that is what the account has to notice.
		settings.RestartSettle = max(g.RestartSettle, usualDip)
		settings.DailyBudget = min(g.DailyBudget, longestBudget)
	}
	return account.New(s.Tank, settings)
}

// usualDip is how long a chamber stands low after a restart at most. Common
// practice, no source.
const usualDip = 10 * time.Minute

// Section draws the tank, with what its sensors said last.
func (s *Sheet) Section(lasts Lasts, u units.System, format chart.Format) ([]byte, error) {
	section := report.Section(s.Check)
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
