package guard_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"isohaline/internal/guard"
)

// event is something that happens to a guard: time passes, then a reading
// changes, a person asks, the clock jumps or the power goes.
type event struct {
	after time.Duration // since the event before
	jump  time.Duration // by which the clock is then wrong
	power bool
	in    guard.Inputs
}

// smallSettings draws settings of a few nanoseconds each, so that timers end
// together, one moment apart, or not at all.
func smallSettings(t *rapid.T) guard.Settings {
	few := func(label string) time.Duration {
		return time.Duration(rapid.IntRange(0, 7).Draw(t, label))
	}
	fitted := func(label string) bool { return rapid.IntRange(0, 3).Draw(t, label) > 0 }
	return guard.Settings{
		CeilingFitted: fitted("ceiling fitted"), FloorFitted: fitted("floor fitted"),
		ReservoirLowFitted: fitted("reservoir fitted"), ReturnFitted: fitted("return fitted"),
		LevelFitted: fitted("level fitted"),
		ConfirmDry:  few("ConfirmDry"), ConfirmWet: few("ConfirmWet"),
		FirstFillLimit: 2 * few("FirstFillLimit"), RunLimitFactor: rapid.Float64Range(0, 4).Draw(t, "RunLimitFactor"),
		RunLimitFloor: few("RunLimitFloor"), HardCap: 3 * few("HardCap"),
		MinOff: few("MinOff"), RestartSettle: few("RestartSettle"),
		DailyBudget: rapid.SampledFrom([]time.Duration{
			0, 1, guard.Day / 7, guard.Day / 2, guard.Day * 2 / 3, guard.Day - 1, guard.Day, 2 * guard.Day,
		}).Draw(t, "DailyBudget"),
		GiveMost:       3 * few("GiveMost"),
		CeilingConfirm: few("CeilingConfirm"),
		LevelAnswer:    few("LevelAnswer"), LevelAnswerMM: 1,
		WetTooLong: 3 * few("WetTooLong"), HoldExpires: few("HoldExpires"),
		StallCalls: rapid.IntRange(2, 5).Draw(t, "StallCalls"),
	}
}

// savedState draws a bucket that is empty or nearly full.
func savedState(t *rapid.T) guard.State {
	var saved guard.State
	if rapid.Bool().Draw(t, "nearly spent") {
		saved.Owed = guard.Day - time.Duration(rapid.IntRange(0, 40).Draw(t, "room"))
	}
	return saved
}

// history draws events. Most change one reading; readings that stop a fill are
// rare enough for fills to happen.
func history(t *rapid.T) []event {
	in := guard.Inputs{Watch: guard.Dry, Ceiling: guard.Dry, Floor: guard.Dry, ReservoirLow: guard.Wet, ReturnPump: guard.Wet, LevelMM: 100}
	// How often a reading that stops a fill comes, in this history.
	percent := rapid.SampledFrom([]int{0, 3, 20}).Draw(t, "trouble in percent")
	events := []event{{in: in}}
	for range rapid.IntRange(1, 40).Draw(t, "events") {
		e := event{after: time.Duration(rapid.IntRange(0, 30).Draw(t, "after"))}
		one := func(c *guard.Contact, usual guard.Contact) {
			*c = usual
			if rapid.IntRange(0, 99).Draw(t, "trouble") < percent {
				*c = rapid.SampledFrom([]guard.Contact{guard.Dry, guard.Wet, guard.Faulty}).Draw(t, "contact")
			}
		}
		in.Watch = rapid.SampledFrom([]guard.Contact{guard.Dry, guard.Dry, guard.Wet}).Draw(t, "watch")
		one(&in.Watch, in.Watch)
		one(&in.Ceiling, guard.Dry)
		one(&in.Floor, guard.Dry)
		one(&in.ReservoirLow, guard.Wet)
		one(&in.ReturnPump, guard.Wet)
		in.LevelMM = rapid.SampledFrom([]float64{100, 101, 102, 103}).Draw(t, "level")
		if rapid.IntRange(0, 99).Draw(t, "trouble") < percent {
			in.LevelMM = math.NaN()
		}
		in.Request = rapid.SampledFrom([]guard.Request{
			guard.NoRequest, guard.Clear, guard.Clear, guard.Resume, guard.Resume,
			guard.Give, guard.Give, guard.ShutValve, guard.Silence,
		}).Draw(t, "asked")
		in.GiveFor = time.Duration(rapid.IntRange(0, 6).Draw(t, "measure"))
		if rapid.IntRange(0, 9).Draw(t, "hold") == 0 {
			in.Request = guard.Hold
		}
		e.in = in
		switch rapid.IntRange(0, 40).Draw(t, "clock and power") {
		case 0:
			e.power = true
		case 1:
			e.jump = time.Duration(rapid.IntRange(1, 30).Draw(t, "forwards"))
		case 2: // further than any pause between steps, so that every caller notices
			e.jump = -1_000_000
		}
		events = append(events, e)
	}
	return events
}

// answer is what a caller sees.
type answer struct {
	phase guard.Phase
	out   guard.Outputs
}

// play drives a guard through a history and returns its answer at every
// nanosecond of it. wake says when to step next if nothing happens.
func play(s *guard.Settings, saved guard.State, events []event, wake func(guard.State, guard.Inputs) time.Duration) []answer {
	var (
		answers []answer
		wrong   time.Duration // by how much the clock is
		at      time.Duration
		now     answer
		state   = guard.Boot(s, saved, 0)
		in      guard.Inputs
	)
	step := func() {
		var out guard.Outputs
		state, out = guard.Step(s, state, in, at+wrong)
		in.Request = guard.NoRequest
		out.Refused = guard.NoReason // belongs to the request's own step
		now = answer{state.Phase, out}
	}
	for i, e := range events {
		until := at + e.after
		for at < until {
			if i > 0 && wake(state, in) == at+wrong {
				step()
			}
			answers = append(answers, now)
			at++
		}
		if e.power || e.jump < 0 {
			step() // the time since the last step is lost with the clock
		}
		wrong += e.jump
		if e.power {
			state = guard.Boot(s, state, at+wrong)
		}
		in = e.in
		step()
		answers = append(answers, now)
	}
	return answers
}

// TestDeadlinesAreEnough: stepping only when something happens and at deadlines
// gives the same answers at the same times as stepping always.
func TestDeadlinesAreEnough(t *testing.T) {
	fills, gives, all := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := smallSettings(t)
		saved := savedState(t)
		events := history(t)
		always := play(&s, saved, events, func(state guard.State, _ guard.Inputs) time.Duration { return state.Last + 1 })
		seldom := play(&s, saved, events, func(state guard.State, in guard.Inputs) time.Duration { return guard.Deadline(&s, state, in) })
		for i := range always {
			if always[i] != seldom[i] {
				t.Fatalf("answer %d: stepped always %+v, by deadlines %+v", i, always[i], seldom[i])
			}
			if always[i].out.Pump {
				fills++
			}
			if always[i].out.Reason == guard.GivingMeasure {
				gives++
			}
		}
		all += len(always)
	})
	t.Logf("the pump was on for %d of %d answers, for %d by measure", fills, all, gives)
	if fills == 0 { // measured ones are rarer; the stories have them
		t.Error("no history led to a fill")
	}
}

// TestDeadlineLiesAhead: whatever the settings, the history and the clock, a
// deadline lies after the step it belongs to, and at it the answer changes.
func TestDeadlineLiesAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := smallSettings(t)
		state := guard.Boot(&s, savedState(t),
			rapid.SampledFrom([]time.Duration{math.MinInt64, -5, 0, guard.Never - 50}).Draw(t, "origin"))
		for _, e := range history(t) {
			now := state.Last + e.after // near Never this wraps round: a jump back
			var out guard.Outputs
			state, out = guard.Step(&s, state, e.in, now)
			out.Refused = guard.NoReason
			e.in.Request = guard.NoRequest
			for range 3 {
				deadline := guard.Deadline(&s, state, e.in)
				if deadline == guard.Never {
					break
				}
				if deadline <= state.Last {
					t.Fatalf("deadline %d after a step at %d", deadline, state.Last)
				}
				next, outNext := guard.Step(&s, state, e.in, deadline)
				if outNext == out && next.Phase == state.Phase {
					t.Fatalf("nothing happened at %d: %+v", deadline, next)
				}
				state, out = next, outNext
			}
		}
	})
}
