package guard_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/longtest"
)

// quanta is settings small enough to visit every state, and different enough
// from one another that a rule comparing with the wrong one shows.
func quanta() guard.Settings {
	return guard.Settings{
		ConfirmDry:     2 * q,
		ConfirmWet:     1 * q,
		FirstFillLimit: 3 * q,
		RunLimitFactor: 2,
		RunLimitFloor:  2 * q,
		HardCap:        4 * q,
		MinOff:         2 * q,
		RestartSettle:  5 * q,     // longer than the pause and confirming together
		DailyBudget:    guard.Day, // no bound, unless a kit sets one
		CeilingConfirm: 2 * q,
		StallCalls:     2,
	}
}

var jumps = []time.Duration{-q, 0, q, 2 * q, 1000 * q}

func kits() []*kit {
	watch := kit{name: "watch", settings: quanta(), elapsed: jumps, strays: true}
	watch.settings.HoldExpires = 3 * q
	watch.settings.WetTooLong = 4 * q
	watch.settings.ConfirmWet = 2 * q

	budget := kit{name: "watch, budget", settings: quanta(), elapsed: jumps}
	budget.settings.DailyBudget = 2 * q
	budget.settings.ConfirmDry = q
	budget.settings.ConfirmWet = 0

	eager := kit{name: "watch, budget, no waits", settings: budget.settings, elapsed: jumps}
	eager.settings.ConfirmDry, eager.settings.MinOff = 0, 0

	ceiling := kit{name: "watch, ceiling", settings: quanta(), elapsed: jumps}
	ceiling.settings.CeilingFitted = true
	ceiling.settings.MinOff, ceiling.settings.RestartSettle = q, 4*q

	floor := kit{name: "watch, floor, reservoir", settings: quanta(), elapsed: jumps}
	floor.settings.FloorFitted, floor.settings.ReservoirLowFitted = true, true

	level := kit{name: "watch, level gauge", settings: quanta(), elapsed: jumps, levelsMM: []float64{100, 101, 102, math.NaN()}}
	level.settings.LevelFitted, level.settings.LevelAnswer, level.settings.LevelAnswerMM = true, 2*q, 2

	sump := kit{name: "watch, ceiling, return", settings: quanta(), elapsed: jumps, large: true}
	sump.settings.CeilingFitted, sump.settings.ReturnFitted = true, true
	sump.settings.ConfirmDry, sump.settings.MinOff, sump.settings.RestartSettle = q, q, 3*q

	all := kit{name: "every contact", settings: quanta(), elapsed: []time.Duration{-q, 0, q, 1000 * q}, large: true}
	all.settings = guard.Settings{
		CeilingFitted: true, FloorFitted: true, ReservoirLowFitted: true, ReturnFitted: true,
		ConfirmDry: q, ConfirmWet: q, FirstFillLimit: 2 * q, RunLimitFactor: 2, RunLimitFloor: q, HardCap: 2 * q,
		MinOff: q, RestartSettle: q, DailyBudget: guard.Day, CeilingConfirm: q, StallCalls: 2,
	}
	gives := kit{name: "watch, budget, asked from afar", settings: budget.settings, elapsed: all.elapsed, gives: []time.Duration{0, q, 2 * q}, large: true}
	gives.settings.RunLimitFactor, gives.settings.FirstFillLimit, gives.settings.HardCap = 1.5, 3*q, 3*q
	gives.settings.MinOff, gives.settings.RestartSettle, gives.settings.HoldExpires = q, 2*q, 2*q
	gives.settings.GiveMost = 2 * q

	given := kit{name: "watch, ceiling, asked from afar", settings: quanta(), elapsed: all.elapsed, gives: []time.Duration{q, guard.Never}, large: true}
	given.settings.CeilingFitted = true
	given.settings.ConfirmDry, given.settings.ConfirmWet, given.settings.MinOff, given.settings.RestartSettle = q, 0, q, q
	given.settings.CeilingConfirm, given.settings.GiveMost = 0, 2*q
	given.settings.FirstFillLimit, given.settings.HardCap, given.settings.RunLimitFactor = 2*q, 3*q, 1.5
	return []*kit{&watch, &budget, &eager, &ceiling, &floor, &level, &sump, &all, &gives, &given}
}

// TestEveryReachableState is the proof: every state of each kit, under every
// input, request and movement of the clock, against every invariant.
func TestEveryReachableState(t *testing.T) {
	all := kits()
	results := make([]result, len(all))
	t.Run("kit", func(t *testing.T) {
		for i, k := range all {
			t.Run(k.name, func(t *testing.T) {
				t.Parallel()
				if k.large {
					longtest.Only(t, "large")
				}
				res, broken := explore(k, genuine, invariants)
				if broken != nil {
					t.Fatal(broken)
				}
				results[i] = res
				t.Logf("%d states, %d moves, %d invariants; states by phase %v",
					res.states, res.moves, len(invariants), res.phases)
			})
		}
	})
	if !longtest.Asked() {
		return
	}
	var seen guard.Alarms
	text := readGuide(t)
	for i, res := range results {
		seen |= res.seen
		if want := fmt.Sprintf("| %s | %d | %d |", all[i].name, res.states, res.moves); !strings.Contains(text, want) {
			t.Errorf("%s lacks %q", guide, want)
		}
	}
	for r := guard.WatchWet; r <= guard.ClearOnSite; r++ {
		if !seen.Has(r) {
			t.Errorf("%q was never answered: the exploration did not reach it", r)
		}
	}
}
