package account

import (
	"fmt"
	"time"
)

// Settings are what the account needs beyond the tank file. The zero value works: what
// is not stated is taken as usual. New refuses a duration below 0 or above 24 h
// (Heartbeat: 30 days), and a WatchM that is not from 0 to below 10 m.
type Settings struct {
	// WatchM is the watch sensor's level as it was set up, above the datum; 0:
	// as drawn.
	WatchM float64
	// RunLimit is the longest run that the controller allows; 0: ten minutes.
	RunLimit time.Duration
	// DailyBudget is the pump time a day that the controller allows; 0: no such
	// limit.
	DailyBudget time.Duration
	// MinOff is the controller's pause between fills; 0: ten minutes.
	MinOff time.Duration
	// RestartSettle is how long the level is not believed after the return pump
	// or the power comes back; 0: ten minutes.
	RestartSettle time.Duration
	// Heartbeat is how often the device says that it is alive; 0: it does not.
	Heartbeat time.Duration
	// Zone is where the people are who read the sentences; nil: UTC.
	Zone *time.Location
}

// What is taken for a setting that nobody stated. Common practice, no source.
const (
	usualRunLimit      = 10 * time.Minute
	usualMinOff        = 10 * time.Minute
	usualRestartSettle = 10 * time.Minute
)

func (s *Settings) complete() error {
	for _, d := range []struct {
		field string
		value *time.Duration
		usual time.Duration
		max   time.Duration
	}{
		{"RunLimit", &s.RunLimit, usualRunLimit, 24 * time.Hour},
		{"DailyBudget", &s.DailyBudget, 24 * time.Hour, 24 * time.Hour},
		{"MinOff", &s.MinOff, usualMinOff, 24 * time.Hour},
		{"RestartSettle", &s.RestartSettle, usualRestartSettle, 24 * time.Hour},
		{"Heartbeat", &s.Heartbeat, 0, 30 * 24 * time.Hour},
	} {
		if *d.value < 0 || *d.value > d.max {
			return fmt.Errorf("account: %s is %v: set it from 0 to %v", d.field, *d.value, d.max)
		}
		if *d.value == 0 {
			*d.value = d.usual
		}
	}
	if !(s.WatchM >= 0 && s.WatchM < 10) {
		return fmt.Errorf("account: WatchM is %v: give the watch sensor's level above the datum in metres, 0 if as drawn", s.WatchM)
	}
	if s.Zone == nil {
		s.Zone = time.UTC
	}
	return nil
}
