package guard

import (
	"errors"
	"fmt"
	"time"
)

// MaxRun is the longest a fill may ever be allowed to last. Common practice,
// no source: ten minutes.
const MaxRun = 10 * time.Minute

// Settings are what a practitioner, or the design check, chooses for one tank.
// Step works with any values whatever, so that a simulator can try a guard
// with a limit taken away; a real guard runs only on settings that pass
// Validate. Typical values are common practice, no source.
type Settings struct {
	// Which inputs are wired; the watch sensor always is. One that is not
	// fitted is never looked at; one that is fitted and reads Absent is an
	// input fault.
	CeilingFitted, FloorFitted, ReservoirLowFitted, ReturnFitted, LevelFitted bool

	// ConfirmDry is how long the watch sensor must read dry, without a break,
	// before a fill: longer than a wave. Typical 10 s.
	ConfirmDry time.Duration
	// ConfirmWet is how long it must read wet to end a fill: longer than a
	// splash, and short, because the pump runs on through it. Typical 0.5 s.
	ConfirmWet time.Duration

	// FirstFillLimit bounds a fill until one has been learned. Typical 2 min.
	FirstFillLimit time.Duration
	// RunLimitFactor times the learned fill bounds every later one.
	// Typical 1.5.
	RunLimitFactor float64
	// RunLimitFloor is the least that bound can be, so that a very short first
	// fill does not leave a guard that trips on every ripple. Typical 20 s.
	RunLimitFloor time.Duration
	// HardCap bounds every fill, whatever was learned. At most MaxRun; typical
	// what the reservoir and the margin allow. To try a guard without a run
	// limit, set FirstFillLimit, RunLimitFloor and HardCap to Never.
	HardCap time.Duration

	// MinOff is how long the pump stays off after a fill, and after anything
	// that forbade one has gone: it keeps ripples and flickering sensors from
	// chattering the pump, and lets the level settle. Typical 10 min.
	MinOff time.Duration
	// RestartSettle is how long the level is not believed after power-up and
	// after the return pump restarts, while the display refills and the return
	// chamber stands low. Typical 5 min.
	RestartSettle time.Duration

	// DailyBudget is the pump's time in 24 h, as a leaky bucket; see budget.go.
	// In any window W the pump runs no longer than DailyBudget·(1 + W/24 h).
	// Typical three times what evaporation asks for. Day and more: no bound.
	DailyBudget time.Duration

	// GiveMost is the pump time that a person may have given by measure, in
	// all, above a level at which the watch is dry: what fits below the ceiling
	// level, or into the margin where there is none. 0, and typical: nothing
	// may be given.
	GiveMost time.Duration

	// CeilingConfirm is how long the ceiling sensor may stay wet before the
	// guard latches; the pump stops at once. Typical 5 s.
	CeilingConfirm time.Duration

	// With a level gauge, a fill latches unless the level has risen by
	// LevelAnswerMM within LevelAnswer. Typical 1 mm in 30 s.
	LevelAnswer   time.Duration
	LevelAnswerMM float64

	// WetTooLong is how long the watch sensor may read wet without a break
	// before that is an alarm: several times the longest pause between fills.
	// 0: no alarm. Typical 48 h.
	WetTooLong time.Duration
	// HoldExpires ends a person's hold by itself. 0: never. Typical 12 h.
	HoldExpires time.Duration

	// StallCalls is how many steps in a row may find that the clock has not
	// moved while the pump is on before that is a clock fault. More than the
	// steps between two ticks of the clock. Typical 50.
	StallCalls int
}

// Typical is every setting at its typical value, with nothing but the watch
// sensor fitted.
func Typical() Settings {
	return Settings{
		ConfirmDry:     10 * time.Second,
		ConfirmWet:     500 * time.Millisecond,
		FirstFillLimit: 2 * time.Minute,
		RunLimitFactor: 1.5,
		RunLimitFloor:  20 * time.Second,
		HardCap:        5 * time.Minute,
		MinOff:         10 * time.Minute,
		RestartSettle:  5 * time.Minute,
		DailyBudget:    15 * time.Minute,
		CeilingConfirm: 5 * time.Second,
		LevelAnswer:    30 * time.Second,
		LevelAnswerMM:  1,
		WetTooLong:     48 * time.Hour,
		HoldExpires:    12 * time.Hour,
		StallCalls:     50,
	}
}

// Validate reports every setting a real guard must not run on: its name, its
// value and the range that mends it.
func (s *Settings) Validate() error {
	durations := []struct {
		field    string
		value    time.Duration
		min, max time.Duration
		zeroOff  bool // 0 is also allowed: it switches the rule off
	}{
		{field: "ConfirmDry", value: s.ConfirmDry, min: time.Second, max: 10 * time.Minute},
		{field: "ConfirmWet", value: s.ConfirmWet, min: 0, max: 10 * time.Second},
		{field: "HardCap", value: s.HardCap, min: time.Second, max: MaxRun},
		{field: "FirstFillLimit", value: s.FirstFillLimit, min: s.ConfirmWet + 1, max: s.HardCap},
		{field: "RunLimitFloor", value: s.RunLimitFloor, min: s.ConfirmWet + 1, max: s.HardCap},
		{field: "MinOff", value: s.MinOff, min: 10 * time.Second, max: Day},
		{field: "RestartSettle", value: s.RestartSettle, min: 10 * time.Second, max: Day},
		{field: "DailyBudget", value: s.DailyBudget, min: time.Second, max: Day},
		{field: "GiveMost", value: s.GiveMost, min: 0, max: MaxRun},
		{field: "CeilingConfirm", value: s.CeilingConfirm, min: 0, max: time.Minute},
		{field: "WetTooLong", value: s.WetTooLong, min: time.Hour, max: 365 * Day, zeroOff: true},
		{field: "HoldExpires", value: s.HoldExpires, min: time.Minute, max: 365 * Day, zeroOff: true},
	}
	var errs []error
	for _, d := range durations {
		if d.value >= d.min && d.value <= d.max || d.zeroOff && d.value == 0 {
			continue
		}
		off := ""
		if d.zeroOff {
			off = ", or to 0 for never"
		}
		errs = append(errs, fmt.Errorf("guard: %s is %v: set it from %v to %v%s", d.field, d.value, d.min, d.max, off))
	}
	if !(s.RunLimitFactor >= minFactor && s.RunLimitFactor <= maxFactor) {
		errs = append(errs, fmt.Errorf("guard: RunLimitFactor is %v: set it from %v to %v", s.RunLimitFactor, minFactor, maxFactor))
	}
	if s.LevelFitted && (s.LevelAnswer < time.Second || s.LevelAnswer > MaxRun) {
		errs = append(errs, fmt.Errorf("guard: LevelAnswer is %v: with a level gauge set it from %v to %v", s.LevelAnswer, time.Second, MaxRun))
	}
	if s.LevelFitted && !(s.LevelAnswerMM > 0 && finite(s.LevelAnswerMM)) {
		errs = append(errs, fmt.Errorf("guard: LevelAnswerMM is %v: with a level gauge set it to the rise in mm that a working pump surely makes", s.LevelAnswerMM))
	}
	if s.StallCalls < minStallCalls || s.StallCalls > maxStallCalls {
		errs = append(errs, fmt.Errorf("guard: StallCalls is %d: set it from %d to %d", s.StallCalls, minStallCalls, maxStallCalls))
	}
	return errors.Join(errs...)
}

// Ranges of the settings that are not durations. Common practice, no source:
// below 1.1 a fill slowed by a little scale trips; above 3 the learned fill no
// longer protects more than the hard cap does.
const (
	minFactor     = 1.1
	maxFactor     = 3.0
	minStallCalls = 5
	maxStallCalls = 10_000
)

// Limit is how long a fill may last, now that a fill of the learned length has
// been seen; 0: none has.
func (s *Settings) Limit(learned time.Duration) time.Duration {
	if learned <= 0 {
		return min(s.FirstFillLimit, s.HardCap)
	}
	limit := float64(learned) * s.RunLimitFactor
	if limit < float64(s.HardCap) { // false for NaN and for what int64 cannot hold
		return min(max(time.Duration(limit), s.RunLimitFloor), s.HardCap)
	}
	return s.HardCap
}

// read is the inputs as the rules see them: what is not fitted is Absent,
// whatever it says, and a fitted one says Dry, Wet or Faulty. A level gauge
// that is not fitted says 0.
func (s *Settings) read(in *Inputs) {
	in.Watch = contact(true, in.Watch)
	in.Ceiling = contact(s.CeilingFitted, in.Ceiling)
	in.Floor = contact(s.FloorFitted, in.Floor)
	in.ReservoirLow = contact(s.ReservoirLowFitted, in.ReservoirLow)
	in.ReturnPump = contact(s.ReturnFitted, in.ReturnPump)
	if !s.LevelFitted {
		in.LevelMM = 0
	}
}

func contact(fitted bool, says Contact) Contact {
	switch {
	case !fitted:
		return Absent
	case says == Dry || says == Wet:
		return says
	}
	return Faulty
}

// forbids is what in the inputs alone forbids a fill, NoReason if nothing.
func (s *Settings) forbids(in *Inputs) Reason {
	switch {
	case in.Watch == Faulty, in.Ceiling == Faulty, in.Floor == Faulty,
		in.ReservoirLow == Faulty, in.ReturnPump == Faulty, !finite(in.LevelMM):
		return InputFault
	case in.ReturnPump == Dry:
		return ReturnStopped
	case in.Ceiling == Wet:
		return CeilingWet
	case in.ReservoirLow == Dry:
		return ReservoirEmpty
	}
	return NoReason
}

// finite is false for NaN and the infinities.
func finite(x float64) bool { return x-x == 0 }
