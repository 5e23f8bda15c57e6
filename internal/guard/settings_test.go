package guard_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"isohaline/internal/guard"
)

// TestValidate: typical settings pass, and each wrong one is named with its
// value and what mends it.
func TestValidate(t *testing.T) {
	for _, tt := range []struct {
		change func(*guard.Settings)
		want   string // "" passes
	}{
		{func(*guard.Settings) {}, ""},
		{func(s *guard.Settings) { s.ConfirmDry = time.Second }, ""},
		{func(s *guard.Settings) { s.ConfirmDry = time.Second - 1 }, "ConfirmDry is 999.999999ms: set it from 1s to 10m0s"},
		{func(s *guard.Settings) { s.ConfirmDry = 10 * time.Minute }, ""},
		{func(s *guard.Settings) { s.ConfirmDry = 10*time.Minute + 1 }, "ConfirmDry is 10m0.000000001s: set it from 1s to 10m0s"},
		{func(s *guard.Settings) { s.ConfirmWet = 0 }, ""},
		{func(s *guard.Settings) { s.ConfirmWet = -1 }, "ConfirmWet is -1ns: set it from 0s to 10s"},
		{func(s *guard.Settings) { s.HardCap = guard.MaxRun }, ""},
		{func(s *guard.Settings) { s.HardCap = guard.MaxRun + 1 }, "HardCap is 10m0.000000001s: set it from 1s to 10m0s"},
		{func(s *guard.Settings) { s.FirstFillLimit = 5 * time.Minute }, ""},
		{func(s *guard.Settings) { s.FirstFillLimit = 5*time.Minute + 1 }, "FirstFillLimit is 5m0.000000001s: set it from 500.000001ms to 5m0s"},
		{func(s *guard.Settings) { s.FirstFillLimit = 500 * time.Millisecond }, "FirstFillLimit is 500ms: set it from 500.000001ms to 5m0s"},
		{func(s *guard.Settings) { s.RunLimitFloor = 0 }, "RunLimitFloor is 0s: set it from 500.000001ms to 5m0s"},
		{func(s *guard.Settings) { s.RunLimitFactor = 1.1 }, ""},
		{func(s *guard.Settings) { s.RunLimitFactor = 3 }, ""},
		{func(s *guard.Settings) { s.RunLimitFactor = 3.01 }, "RunLimitFactor is 3.01: set it from 1.1 to 3"},
		{func(s *guard.Settings) { s.RunLimitFactor = 1 }, "RunLimitFactor is 1: set it from 1.1 to 3"},
		{func(s *guard.Settings) { s.RunLimitFactor = math.NaN() }, "RunLimitFactor is NaN: set it from 1.1 to 3"},
		{func(s *guard.Settings) { s.RunLimitFactor = math.Inf(1) }, "RunLimitFactor is +Inf: set it from 1.1 to 3"},
		{func(s *guard.Settings) { s.MinOff = 0 }, "MinOff is 0s: set it from 10s to 24h0m0s"},
		{func(s *guard.Settings) { s.RestartSettle = 0 }, "RestartSettle is 0s: set it from 10s to 24h0m0s"},
		{func(s *guard.Settings) { s.DailyBudget = 0 }, "DailyBudget is 0s: set it from 1s to 24h0m0s"},
		{func(s *guard.Settings) { s.DailyBudget = guard.Day }, ""},
		{func(s *guard.Settings) { s.GiveMost = guard.MaxRun }, ""},
		{func(s *guard.Settings) { s.GiveMost = -1 }, "GiveMost is -1ns: set it from 0s to 10m0s"},
		{func(s *guard.Settings) { s.CeilingConfirm = 2 * time.Minute }, "CeilingConfirm is 2m0s: set it from 0s to 1m0s"},
		{func(s *guard.Settings) { s.WetTooLong = 0 }, ""},
		{func(s *guard.Settings) { s.WetTooLong = time.Minute }, "WetTooLong is 1m0s: set it from 1h0m0s to 8760h0m0s, or to 0 for never"},
		{func(s *guard.Settings) { s.HoldExpires = 0 }, ""},
		{func(s *guard.Settings) { s.HoldExpires = -1 }, "HoldExpires is -1ns: set it from 1m0s to 8760h0m0s, or to 0 for never"},
		{func(s *guard.Settings) { s.LevelAnswer, s.LevelAnswerMM = 0, 0 }, ""}, // no gauge
		{func(s *guard.Settings) { s.LevelFitted = true }, ""},
		{func(s *guard.Settings) { s.LevelFitted, s.LevelAnswer = true, 0 }, "LevelAnswer is 0s: with a level gauge set it from 1s to 10m0s"},
		{func(s *guard.Settings) { s.LevelFitted, s.LevelAnswer = true, time.Second }, ""},
		{func(s *guard.Settings) { s.LevelFitted, s.LevelAnswer = true, guard.MaxRun }, ""},
		{func(s *guard.Settings) { s.LevelFitted, s.LevelAnswer = true, guard.MaxRun+1 }, "LevelAnswer is 10m0.000000001s: with a level gauge set it from 1s to 10m0s"},
		{func(s *guard.Settings) { s.LevelFitted, s.LevelAnswerMM = true, 0 }, "LevelAnswerMM is 0: with a level gauge set it to the rise in mm that a working pump surely makes"},
		{func(s *guard.Settings) { s.LevelFitted, s.LevelAnswerMM = true, math.Inf(1) }, "LevelAnswerMM is +Inf: with a level gauge set it to the rise in mm that a working pump surely makes"},
		{func(s *guard.Settings) { s.StallCalls = 5 }, ""},
		{func(s *guard.Settings) { s.StallCalls = 4 }, "StallCalls is 4: set it from 5 to 10000"},
		{func(s *guard.Settings) { s.StallCalls = 10_000 }, ""},
		{func(s *guard.Settings) { s.StallCalls = 10_001 }, "StallCalls is 10001: set it from 5 to 10000"},
	} {
		s := guard.Typical()
		tt.change(&s)
		got := ""
		if err := s.Validate(); err != nil {
			got = err.Error()
		}
		if want := strings.TrimSuffix("guard: "+tt.want, "guard: "); got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	}
}

// TestValidateNamesEveryError: one reading of the message mends them all.
func TestValidateNamesEveryError(t *testing.T) {
	s := guard.Typical()
	s.ConfirmDry, s.MinOff = 0, 0
	message := s.Validate().Error()
	for _, field := range []string{"ConfirmDry", "MinOff"} {
		if !strings.Contains(message, field) {
			t.Errorf("%q does not name %s", message, field)
		}
	}
}

// TestLimit: the run limit as documented, with values a simulator may inject.
func TestLimit(t *testing.T) {
	typical := guard.Typical() // first 2 min, ×1.5, floor 20 s, cap 5 min
	for _, tt := range []struct {
		learned time.Duration
		change  func(*guard.Settings)
		want    time.Duration
	}{
		{0, nil, 2 * time.Minute},
		{-1, nil, 2 * time.Minute},
		{0, func(s *guard.Settings) { s.HardCap = time.Minute }, time.Minute},
		{40 * time.Second, nil, time.Minute},
		{13 * time.Second, nil, 20 * time.Second},
		{14 * time.Second, nil, 21 * time.Second},
		{199 * time.Second, nil, 298*time.Second + 500*time.Millisecond},
		{201 * time.Second, nil, 5 * time.Minute},
		{guard.Never, nil, 5 * time.Minute},
		{time.Second, func(s *guard.Settings) { s.RunLimitFloor = time.Hour }, 5 * time.Minute},
		{time.Second, func(s *guard.Settings) { s.RunLimitFactor = math.NaN() }, 5 * time.Minute},
		{time.Second, func(s *guard.Settings) { s.RunLimitFactor = math.Inf(-1) }, 20 * time.Second},
		{time.Second, func(s *guard.Settings) {
			s.FirstFillLimit, s.RunLimitFloor, s.HardCap = guard.Never, guard.Never, guard.Never
		}, guard.Never},
	} {
		s := typical
		if tt.change != nil {
			tt.change(&s)
		}
		if got := s.Limit(tt.learned); got != tt.want {
			t.Errorf("learned %v: limit %v, want %v", tt.learned, got, tt.want)
		}
	}
}
