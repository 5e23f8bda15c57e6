package guard_test

import (
	"slices"
	"testing"
	"time"

	"isohaline/internal/guard"
)

// with is a guard that runs on other settings than it was given.
func with(change func(*guard.Settings)) controller {
	c := genuine
	c.step = func(s *guard.Settings, state guard.State, in guard.Inputs, now time.Duration) (guard.State, guard.Outputs) {
		wrong := *s
		change(&wrong)
		return guard.Step(&wrong, state, in, now)
	}
	return c
}

// around is a guard with something done to its state and inputs before a step.
func around(before func(*guard.State, *guard.Inputs)) controller {
	c := genuine
	c.step = func(s *guard.Settings, state guard.State, in guard.Inputs, now time.Duration) (guard.State, guard.Outputs) {
		before(&state, &in)
		return guard.Step(s, state, in, now)
	}
	return c
}

// forgetting is a guard that saves its state badly.
func forgetting(forget func(*guard.State)) controller {
	c := genuine
	c.boot = func(s *guard.Settings, saved guard.State, now time.Duration) guard.State {
		forget(&saved)
		return guard.Boot(s, saved, now)
	}
	return c
}

// late is a guard whose deadlines are wrong.
func late(by time.Duration) controller {
	c := genuine
	c.deadline = func(s *guard.Settings, state guard.State, in guard.Inputs) time.Duration {
		if at := guard.Deadline(s, state, in); at != guard.Never {
			return at + by
		}
		return guard.Never
	}
	return c
}

// TestBrokenGuardsAreCaught: the exploration can fail. Each broken guard breaks
// the invariant that was written against it.
func TestBrokenGuardsAreCaught(t *testing.T) {
	hangingValve := genuine
	hangingValve.step = func(s *guard.Settings, state guard.State, in guard.Inputs, now time.Duration) (guard.State, guard.Outputs) {
		next, out := guard.Step(s, state, in, now)
		out.Valve = out.Valve || state.Phase == guard.Filling
		return next, out
	}
	yesMan := genuine
	yesMan.step = func(s *guard.Settings, state guard.State, in guard.Inputs, now time.Duration) (guard.State, guard.Outputs) {
		next, out := guard.Step(s, state, in, now)
		out.Refused = guard.NoReason
		return next, out
	}
	for _, tt := range []struct {
		name, kit string
		broken    controller
		breaks    string
	}{
		{"does not see the ceiling", "watch, ceiling",
			around(func(_ *guard.State, in *guard.Inputs) { in.Ceiling = guard.Dry }),
			"pump off when an input forbids it"},
		{"does not latch on a wet ceiling", "watch, ceiling",
			with(func(s *guard.Settings) { s.CeilingConfirm = guard.Never }),
			"wet ceiling latches once confirmed"},
		{"does not see the floor", "watch, floor, reservoir",
			around(func(_ *guard.State, in *guard.Inputs) { in.Floor = guard.Dry }),
			"wet floor latches at once"},
		{"runs the reservoir dry", "watch, floor, reservoir",
			around(func(_ *guard.State, in *guard.Inputs) { in.ReservoirLow = guard.Wet }),
			"pump off when an input forbids it"},
		{"takes an unreadable watch for a dry one", "watch",
			around(func(_ *guard.State, in *guard.Inputs) {
				if in.Watch == guard.Faulty {
					in.Watch = guard.Dry
				}
			}),
			"unreadable input alarms"},
		{"does not know the return pump", "watch, ceiling, return",
			around(func(_ *guard.State, in *guard.Inputs) { in.ReturnPump = guard.Wet }),
			"pump off when an input forbids it"},
		{"has no run limit", "watch",
			with(func(s *guard.Settings) {
				s.FirstFillLimit, s.RunLimitFloor, s.HardCap = guard.Never, guard.Never, guard.Never
			}),
			"run limit"},
		{"trips a quantum late", "watch",
			with(func(s *guard.Settings) { s.FirstFillLimit += q }),
			"run limit"},
		{"confirms nothing", "watch",
			with(func(s *guard.Settings) { s.ConfirmDry = 0 }),
			"a fill starts on confirmed need alone"},
		{"makes no pause", "watch",
			with(func(s *guard.Settings) { s.MinOff = 0 }),
			"a fill starts on confirmed need alone"},
		{"believes the level after a restart", "watch, ceiling, return",
			with(func(s *guard.Settings) { s.RestartSettle = 0 }),
			"a fill starts on confirmed need alone"},
		{"lets resume end a latch", "watch, floor, reservoir",
			around(func(_ *guard.State, in *guard.Inputs) {
				if in.Request == guard.Resume {
					in.Request = guard.Clear
				}
			}),
			"latch left by clear on site only"},
		{"loses its latch in a power cut", "watch, floor, reservoir",
			forgetting(func(saved *guard.State) { saved.Latch = guard.NoReason }),
			"latch left by clear on site only"},
		{"loses a hold in a power cut", "watch",
			forgetting(func(saved *guard.State) { saved.OnHold = false }),
			"hold ends by resume or expiry only"},
		{"ends a hold too soon", "watch",
			with(func(s *guard.Settings) { s.HoldExpires -= q }),
			"hold ends by resume or expiry only"},
		{"cannot be cleared", "watch, floor, reservoir",
			around(func(_ *guard.State, in *guard.Inputs) {
				if in.Request == guard.Clear {
					in.Request = guard.NoRequest
				}
			}),
			"a need is met in the end"},
		{"forgets the pump time spent", "watch, budget",
			around(func(state *guard.State, _ *guard.Inputs) { state.Owed = 0 }),
			"budget"},
		{"forgets the pump time spent in a power cut", "watch, budget",
			forgetting(func(saved *guard.State) { saved.Owed = 0 }),
			"budget over a power cut"},
		{"spends twice the budget", "watch, budget",
			with(func(s *guard.Settings) { s.DailyBudget *= 2 }),
			"budget"},
		{"waits for a standing clock", "watch",
			with(func(s *guard.Settings) { s.StallCalls = 1000 }),
			"clock at fault"},
		{"learns from every fill", "watch",
			around(func(state *guard.State, _ *guard.Inputs) { state.Learned = 0 }),
			"learned once, from a fill the watch ended"},
		{"does not mind a watch that stays wet", "watch",
			with(func(s *guard.Settings) { s.WetTooLong = 0 }),
			"watch wet too long alarms"},
		{"gives without end", "watch, budget, asked from afar",
			around(func(state *guard.State, _ *guard.Inputs) {
				if state.Measure > 0 {
					state.Measure = guard.Never
				}
			}),
			"a give ends at its measure"},
		{"forgets what it gave", "watch, budget, asked from afar",
			around(func(state *guard.State, _ *guard.Inputs) { state.Above = 0 }),
			"what is given together stays within the most"},
		{"forgets in a power cut what it gave", "watch, budget, asked from afar",
			forgetting(func(saved *guard.State) { saved.Above, saved.Measure = 0, 0 }),
			"what was given over a power cut"},
		{"gives twice the most", "watch, budget, asked from afar",
			with(func(s *guard.Settings) { s.GiveMost *= 2 }),
			"what is given together stays within the most"},
		{"gives to a level that has not settled", "watch, ceiling, asked from afar",
			around(func(state *guard.State, in *guard.Inputs) {
				if in.Request == guard.Give && state.Phase == guard.Settling {
					state.Phase = guard.Resting
				}
			}),
			"a fill starts on confirmed need alone"},
		{"learns from a give", "watch, budget, asked from afar",
			around(func(state *guard.State, in *guard.Inputs) { state.Measure = 0 }),
			"learned once, from a fill the watch ended"},
		{"says yes and does nothing", "watch, budget, asked from afar", yesMan,
			"a give is refused with its reason, or begins"},
		{"is cleared from afar", "watch, ceiling, asked from afar",
			around(func(_ *guard.State, in *guard.Inputs) { in.Remote = false }),
			"latch left by clear on site only"},
		{"says that a fault is cleared", "watch, ceiling", yesMan,
			"a clear is refused with its reason, or no latch is left"},
		{"lets a shut valve open by itself", "watch, budget, asked from afar",
			around(func(state *guard.State, _ *guard.Inputs) { state.Shut = false }),
			"hold ends by resume or expiry only"},
		{"stays silent for a new alarm", "watch, budget, asked from afar",
			around(func(state *guard.State, _ *guard.Inputs) {
				if state.Silenced != 0 {
					state.Silenced = 1<<32 - 1
				}
			}),
			"the horn sounds for every alarm not silenced"},
		{"leaves the valve open", "watch", hangingValve, "valve with the pump"},
		{"wakes a moment late", "watch", late(1), "deadline is exact"},
		{"wakes a moment early", "watch", late(-1), "deadline is exact"},
		{"counts steps for time", "watch",
			around(func(state *guard.State, _ *guard.Inputs) { state.WatchFor++ }),
			"steps between change nothing"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			asked := slices.DeleteFunc(slices.Clone(invariants), func(inv invariant) bool { return inv.name != tt.breaks })
			_, broken := explore(kitNamed(t, tt.kit), tt.broken, asked)
			if broken == nil || broken.invariant != tt.breaks {
				t.Fatalf("not caught: %v", broken)
			}
			t.Log(broken)
		})
	}
}

func kitNamed(t *testing.T, name string) *kit {
	for _, k := range kits() {
		if k.name == name {
			return k
		}
	}
	t.Fatalf("no kit %q", name)
	return nil
}
