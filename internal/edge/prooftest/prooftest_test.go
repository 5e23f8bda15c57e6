package prooftest

import (
	"strings"
	"testing"
	"time"

	"isohaline/internal/guard"
)

// bench is a real guard under test, stepped ten times a second.
type bench struct {
	t        *testing.T
	settings guard.Settings
	state    guard.State
	in       guard.Inputs
	out      guard.Outputs
	now      time.Duration
	test     Test
}

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func newBench(t *testing.T, fitted bool) *bench {
	s := guard.Typical()
	s.CeilingFitted, s.FloorFitted, s.ReservoirLowFitted = fitted, fitted, fitted
	b := &bench{t: t, settings: s, in: guard.Inputs{Watch: guard.Wet, Ceiling: guard.Dry, Floor: guard.Dry, ReservoirLow: guard.Wet}}
	b.state = guard.Boot(&s, guard.State{}, 0)
	b.until(func() bool { return b.state.Phase == guard.Resting })
	b.test = Begin(&s, b.wall())
	return b
}

func (b *bench) wall() time.Time { return noon.Add(b.now) }

func (b *bench) step(asked guard.Request) {
	b.now += 100 * time.Millisecond
	b.in.Request = asked
	b.state, b.out = guard.Step(&b.settings, b.state, b.in, b.now)
	b.in.Request = guard.NoRequest
	b.test = b.test.Look(&b.settings, &b.state, &b.in, &b.out, b.wall())
}

// until steps until something is so, for an hour at most.
func (b *bench) until(so func() bool) {
	b.t.Helper()
	for end := b.now + time.Hour; !so(); b.step(guard.NoRequest) {
		if b.now > end {
			b.t.Fatalf("never: %v, %v, step %s", b.state.Phase, b.out.Reason, b.test.At.ID())
		}
	}
}

func (b *bench) pumping() bool { return b.out.Pump }
func (b *bench) latched() bool { return b.state.Phase == guard.Latched }
func (b *bench) say(s Saying)  { b.test = b.test.Say(s, b.wall()) }

func (b *bench) want(s Step, o Outcome, evidence string) {
	b.t.Helper()
	if r := b.test.Results[s]; r.Outcome != o || !strings.Contains(r.Evidence, evidence) {
		b.t.Errorf("%s: %v, %q; want %v, %q", s.ID(), r.Outcome, r.Evidence, o, evidence)
	}
}

// TestAWholeTest goes through every step with a real guard, as a person would.
func TestAWholeTest(t *testing.T) {
	b := newBench(t, true)
	b.in.Watch = guard.Dry
	b.until(b.pumping)
	for range 300 {
		b.step(guard.NoRequest)
	}
	b.in.Watch = guard.Wet
	b.until(func() bool { return !b.out.Pump })
	b.want(Watch, Seen, "pump ran 30.")
	b.say(SawItStop)

	b.in.Watch = guard.Dry
	b.until(b.pumping)
	b.in.Ceiling = guard.Wet
	b.until(b.latched)
	b.want(Ceiling, Seen, "went off as the ceiling got wet")
	b.say(SawItStop)
	b.in.Ceiling, b.in.Watch = guard.Dry, guard.Wet
	b.step(guard.Clear)

	b.in.Floor = guard.Wet
	b.until(b.latched)
	b.say(SawItStop)
	b.in.Floor = guard.Dry
	b.step(guard.Clear)

	b.in.ReservoirLow = guard.Dry
	b.step(guard.NoRequest)
	b.say(SawItStop)
	b.in.ReservoirLow = guard.Wet

	b.in.Watch = guard.Dry
	b.until(b.latched)
	b.want(RunLimit, Seen, "its limit") // learned: 30.5 s × 1.5
	if b.test.Running() != true {
		t.Error("over before the last word")
	}
	b.say(SawItStop)
	if b.test.Running() || b.test.Verdict() != "passed: all 5 steps" {
		t.Errorf("%s; %+v", b.test.Verdict(), b.test)
	}
}

// TestWhatFails: a guard that does the wrong thing, and a pump that does.
func TestWhatFails(t *testing.T) {
	t.Run("the watch is never heard", func(t *testing.T) {
		b := newBench(t, false)
		b.in.Watch = guard.Dry
		b.until(b.latched)
		b.want(Watch, Failed, "fill ran to its time limit")
		if b.test.At != RunLimit {
			t.Errorf("goes on with %s", b.test.At.ID())
		}
	})
	t.Run("the ceiling is never heard", func(t *testing.T) {
		b := newBench(t, true)
		b.say(Skip)
		b.in.Watch = guard.Dry
		b.until(b.latched)
		b.want(Ceiling, Failed, "before the ceiling was wet")
	})
	t.Run("the relay has welded", func(t *testing.T) {
		b := newBench(t, false)
		b.in.Watch = guard.Dry
		b.until(b.pumping)
		b.in.Watch = guard.Wet
		b.until(func() bool { return !b.out.Pump })
		b.say(SawItRun)
		b.want(Watch, Failed, "a person saw it run on")
		b.say(Skip)
		if !strings.HasPrefix(b.test.Verdict(), "failed: 1 of 2") {
			t.Error(b.test.Verdict())
		}
	})
	t.Run("a ceiling wet with the pump off proves nothing", func(t *testing.T) {
		b := newBench(t, true)
		b.say(Skip)
		b.in.Ceiling = guard.Wet
		b.until(b.latched)
		b.want(Ceiling, Open, "")
	})
}

// TestATestEnds: by a person, by time, by a clock that went back; and what was
// not done is not passed.
func TestATestEnds(t *testing.T) {
	s := guard.Typical()
	for _, tt := range []struct {
		name string
		end  func(Test) Test
	}{
		{"by a person", func(t Test) Test { return t.Say(Stop, noon) }},
		{"by time", func(t Test) Test {
			return t.Look(&s, &guard.State{}, &guard.Inputs{}, &guard.Outputs{}, noon.Add(Lasts+1))
		}},
		{"by the clock", func(t Test) Test { return t.Look(&s, &guard.State{}, &guard.Inputs{}, &guard.Outputs{}, noon.Add(-1)) }},
	} {
		test := tt.end(Begin(&s, noon))
		if test.Running() || test.Results[Watch].Outcome != NotDone || test.Verdict() != "not complete: 0 of 2 steps passed" {
			t.Errorf("%s: %s %+v", tt.name, test.Verdict(), test)
		}
		if again := test.Say(SawItStop, noon); again != test {
			t.Errorf("%s: a word after its end changed it", tt.name)
		}
	}
	for _, early := range []Saying{SawItStop, SawItRun, Nothing} {
		if b := Begin(&s, noon); b.Say(early, noon) != b {
			t.Errorf("saying %d before anything was seen changed the test", early)
		}
	}
}
