package live

import (
	"fmt"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// Sheet is a tank file and what was calculated from it: water, settings and geometry.
// It does not hold what faults do to the tank; verify.Check calculates that.
type Sheet struct {
	Tank   *tankfile.Tank
	Report *verify.Report
	// Zone is what sentences about the tank say times in; nil: UTC.
	Zone *time.Location
}

// In returns a copy of the sheet for people in another time zone; nil: UTC.
func (s *Sheet) In(zone *time.Location) *Sheet {
	moved := *s
	moved.Zone = zone
	return &moved
}

// Read calculates the sheet of a tank file; name is what errors call the file. The
// error is a problem.List where the file is wrong, and another where the tank cannot
// be calculated.
func Read(name, file string) (*Sheet, error) {
	s, _, err := tankfile.Read(name, []byte(file))
	if err != nil {
		return nil, err
	}
	report, err := verify.Settle(s, units.Metric)
	if err != nil {
		return nil, fmt.Errorf("working out %s: %w", name, err)
	}
	return &Sheet{Tank: s, Report: report}, nil
}

// Live returns the tank of the sheet, to be kept live. The error says what cannot be
// calculated.
func (s *Sheet) Live(id, siteID string) (*Tank, error) {
	a, err := s.account(quietAtMost)
	if err != nil {
		return nil, fmt.Errorf("tank %s: %w", id, err)
	}
	return &Tank{ID: id, SiteID: siteID, Name: s.Tank.Name, Zone: s.Zone, Account: a}, nil
}

// quietAtMost is how often a device says something at least: the account counts
// one as silent after a few times that. Common practice, no source.
const quietAtMost = 15 * time.Minute

// longestBudget is no limit at all, to the account.
const longestBudget = 24 * time.Hour

// account is the account of the tank, set as its controller is. Its device says
// that it lives every so often; 0: it does not.
func (s *Sheet) account(heartbeat time.Duration) (*account.Account, error) {
	settings := account.Settings{WatchM: s.Report.Settings.Levels.WatchM, Heartbeat: heartbeat, Zone: s.Zone}
	if g := s.Report.Settings.Guard; g != nil {
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
