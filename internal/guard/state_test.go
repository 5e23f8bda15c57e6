package guard_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"
	"unsafe"

	"pgregory.net/rapid"

	"isohaline/internal/guard"
)

// TestBootMendsWhatWasSaved: a damaged file cannot make a guard that runs.
func TestBootMendsWhatWasSaved(t *testing.T) {
	s := guard.Typical()
	for _, tt := range []struct {
		name       string
		saved      guard.State
		phase      guard.Phase
		learned    time.Duration
		owedAtMost time.Duration
	}{
		{"nothing saved", guard.State{}, guard.Settling, 0, 0},
		{"learned and owed", guard.State{Learned: time.Minute, Owed: time.Hour}, guard.Settling, time.Minute, time.Hour},
		{"less than nothing", guard.State{Learned: -1, Owed: -1}, guard.Settling, 0, 0},
		{"more than a day", guard.State{Owed: math.MaxInt64}, guard.Settling, 0, guard.Day},
		{"no such phase", guard.State{Phase: 99}, guard.Settling, 0, 0},
		{"no such latch", guard.State{Latch: 99}, guard.Latched, 0, 0},
		{"held", guard.State{OnHold: true}, guard.Held, 0, 0},
		{"held and latched", guard.State{OnHold: true, Latch: guard.FloorWet}, guard.Latched, 0, 0},
		{"shut without a hold", guard.State{Shut: true}, guard.Held, 0, 0},
		{"filling with less than no time", guard.State{Phase: guard.Filling, For: -5}, guard.Settling, 0, 95 * 2 * time.Minute},
		{"filling for years", guard.State{Phase: guard.Filling, For: math.MaxInt64}, guard.Settling, 0, guard.Day},
	} {
		booted := guard.Boot(&s, tt.saved, 7)
		if booted.Phase != tt.phase || booted.Learned != tt.learned || booted.Owed != tt.owedAtMost || booted.Last != 7 {
			t.Errorf("%s: %+v", tt.name, booted)
		}
		stepped, out := guard.Step(&s, booted, guard.Inputs{Watch: guard.Dry}, 7)
		if out.Pump || stepped.Phase != tt.phase {
			t.Errorf("%s: pump %v, %v", tt.name, out.Pump, stepped.Phase)
		}
	}
}

// TestStateSurvivesJSON: what a device saves is what it reads, in any state,
// level gauge or not.
func TestStateSurvivesJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := smallSettings(t)
		state := guard.Boot(&s, guard.State{}, 0)
		for _, e := range history(t) {
			state, _ = guard.Step(&s, state, e.in, state.Last+e.after)
			text, err := json.Marshal(state)
			if err != nil {
				t.Fatal(err)
			}
			var read guard.State
			if err := json.Unmarshal(text, &read); err != nil || read != state {
				t.Fatalf("%+v came back as %+v: %v", state, read, err)
			}
		}
	})
}

// TestStateIsSmall: the design check holds millions of them.
func TestStateIsSmall(t *testing.T) {
	size := unsafe.Sizeof(guard.State{})
	if size > 128 || unsafe.Sizeof(uintptr(0)) == 8 && size%16 != 0 {
		t.Errorf("State has %d bytes, want a multiple of 16 up to 128", size)
	}
}

// busy is a guard with everything fitted, and inputs that want a fill.
func busy() (guard.Settings, guard.State, guard.Inputs) {
	s := guard.Typical()
	s.CeilingFitted, s.FloorFitted, s.ReservoirLowFitted, s.ReturnFitted = true, true, true, true
	in := guard.Inputs{Watch: guard.Dry, Ceiling: guard.Dry, Floor: guard.Dry, ReservoirLow: guard.Wet, ReturnPump: guard.Wet}
	state, _ := guard.Step(&s, guard.Boot(&s, guard.State{}, 0), in, 0)
	return s, state, in
}

func TestStepAllocatesNothing(t *testing.T) {
	s, state, in := busy()
	phases := map[guard.Phase]bool{}
	if n := testing.AllocsPerRun(1000, func() {
		state, _ = guard.Step(&s, state, in, guard.Deadline(&s, state, in))
		phases[state.Phase] = true
		if state.Phase == guard.Latched {
			in.Request = guard.Clear
		} else {
			in.Request = guard.NoRequest
		}
	}); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
	if len(phases) < 4 {
		t.Errorf("only %v were stepped through", phases)
	}
}

// BenchmarkStep steps ten times a second through settling, filling and pauses.
func BenchmarkStep(b *testing.B) {
	s, state, dry := busy()
	wet := dry
	wet.Watch = guard.Wet
	b.ReportAllocs()
	now := time.Duration(0)
	for b.Loop() {
		now += 100 * time.Millisecond
		in := &dry
		if state.Phase == guard.Filling && state.For > time.Minute {
			in = &wet
		}
		state, _ = guard.Step(&s, state, *in, now)
	}
}

// BenchmarkByDeadlines is one event of the design check: a step and the
// deadline after it.
func BenchmarkByDeadlines(b *testing.B) {
	s, state, dry := busy()
	wet := dry
	wet.Watch = guard.Wet
	b.ReportAllocs()
	for b.Loop() {
		in := &dry
		if state.Phase == guard.Filling && state.For > time.Minute {
			in = &wet
		}
		at := guard.Deadline(&s, state, *in)
		state, _ = guard.Step(&s, state, *in, min(at, state.Last+61*time.Second))
	}
}
