package verify

import (
	"errors"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// Commissioning is what a controller on site is set to: the very settings that
// the check tries its faults with.
type Commissioning struct {
	Levels plant.Levels
	Guard  guard.Settings
	// TopOffM3S is what the pump brings, FillM3 one ordinary fill.
	TopOffM3S, FillM3 float64
	// Report is the check's report as far as it goes before any fault is
	// tried, for drawing.
	Report *Report
	// Onset is the tank in its first season, healthy, after a visit: where a
	// simulation begins.
	Onset *plant.Onset
}

// Commission works out how to set a tank's controller. It does not say whether
// the design is accepted: Check does.
func Commission(s *tankfile.Tank) (*Commissioning, error) {
	if s.Controller == nil {
		return nil, errors.New("controller: the tank has none; add a controller to the tank file for one to run")
	}
	b, err := prepare(s, units.Metric)
	if err != nil {
		return nil, err
	}
	return &Commissioning{
		Levels: b.settings.Levels, Guard: *b.settings.Guard,
		TopOffM3S: b.topOffM3S, FillM3: b.fillM3,
		Report: &Report{Tank: s, Units: units.Metric, Water: b.water, Settings: b.settings, Geometry: b.geometry},
		Onset:  b.onsets[0],
	}, nil
}

// Settle works out water, settings and geometry, as Check does, and simulates
// nothing: the report has no rows and no verdict, and does not say whether lime
// water brings more than the tank uses. It takes about a millisecond.
func Settle(s *tankfile.Tank, u units.System) (*Report, error) {
	b, _, err := settle(s, u)
	if err != nil {
		return nil, err
	}
	return &Report{Tank: s, Units: u, Water: b.water, Settings: b.settings, Geometry: b.geometry}, nil
}

// giveMost is the pump time that a person may have given above the watch level:
// up to the ceiling level, and never more than the longest fill may bring.
// Without a ceiling sensor it is up to where the drain-down would still fit.
func (k *sketch) giveMost(v vessels) time.Duration {
	t := &k.tank.TopOff
	if t.Watch == nil {
		return 0
	}
	fromM3 := v.chamber.VolumeM3(k.levels.WatchM + t.Watch.HysteresisM/2)
	toM3 := v.chamber.VolumeM3(v.chamber.RimM()-freeboardM) - v.drainM3()
	if t.Ceiling != nil {
		toM3 = v.chamber.VolumeM3(k.levels.CeilingM - t.Ceiling.HysteresisM/2)
	}
	// The watch ends its own fills late by as much.
	m3 := min(toM3-fromM3-k.topOffM3S*t.Watch.ResponseS, limitOfSafe*k.safeM3)
	return clamp(seconds(m3/k.topOffM3S), 0, guard.MaxRun)
}
