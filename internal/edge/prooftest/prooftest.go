// Package prooftest guides a person through proving, at the tank, that each
// sensor stops the pump and that the run limit trips.
//
// The guard is not put into a mode for it. It runs as always, on its real inputs
// with its real limits, while this package looks on, says what to do next and
// keeps what was seen as evidence. A person has the last word on each step,
// because only a person can see that the pump itself stood still: a guard whose
// relay has welded would pass every step by its own account.
//
// In the words of IEC 61508 this is a proof test: it finds failures that are
// dangerous and hidden. The package is pure; time comes in.
package prooftest

import (
	"fmt"
	"time"

	"isohaline/internal/guard"
)

// Lasts is how long a test may take before it ends by itself, unfinished.
// Between two fills the guard makes its pauses.
const Lasts = 3 * time.Hour

// late is how long after its limit the pump may go off in a test: a few of the
// agent's steps.
const late = time.Second

// Step is one thing to prove.
type Step uint8

const (
	Watch Step = iota
	Ceiling
	Floor
	Reservoir
	RunLimit
	steps
)

// ID is the step in one word, for programs.
func (s Step) ID() string {
	return [...]string{"watch", "ceiling", "floor", "reservoir", "run-limit", "over"}[min(s, steps)]
}

// Title is what the step proves.
func (s Step) Title() string {
	return [...]string{
		"The watch sensor stops the pump",
		"The ceiling sensor stops the pump and latches",
		"Water on the floor latches",
		"An empty reservoir stops the pump",
		"The run limit stops the pump and latches",
		"The test is over",
	}[min(s, steps)]
}

// Do is what the person does.
func (s Step) Do() string {
	return [...]string{
		"Put the tube's end into a measuring jug. Lift the watch sensor out of the water and wait for the pump to run. Then put the sensor back.",
		"Leave the tube in the jug. Lift the watch sensor, wait for the pump to run, then put the ceiling sensor under water. When it has latched, lift it out, dry it, and clear the fault.",
		"Wet the floor sensor with a damp cloth. When it has latched, dry it and clear the fault.",
		"Lift the reservoir's low sensor out of the water. When the alarm comes, put it back.",
		"Leave the tube in a vessel that holds a whole run. Lift the watch sensor and leave it out until the pump stops by itself. Then put it back and clear the fault.",
		"Put every sensor and the tube's end back where they belong.",
	}[min(s, steps)]
}

// Outcome is what became of a step.
type Outcome uint8

const (
	Open    Outcome = iota
	Seen            // the guard did it; a person has yet to say what the pump did
	Passed          // ... and saw the pump stand still
	Failed          // ... and saw it run, or the guard did something else
	Skipped         // by the person
	NotDone         // the test ended before it
)

// String is the outcome in words.
func (o Outcome) String() string {
	return [...]string{"to do", "seen, to be confirmed", "passed", "failed", "skipped", "not done"}[min(o, NotDone)]
}

// Result is a step's outcome and its evidence.
type Result struct {
	Fitted   bool
	Outcome  Outcome
	Evidence string
}

// Test is a test under way or over. The zero Test is none.
type Test struct {
	Began   time.Time
	Until   time.Time // when it ends by itself
	Ended   time.Time // zero while under way
	At      Step      // the step to do now; steps when there is none left
	Results [steps]Result

	// filled: the pump was on at the last look, for ran.
	filled bool
	ran    time.Duration
	// cut: the ceiling ended a fill in this step.
	cut bool
}

// Saying is what a person says about the step.
type Saying uint8

const (
	Nothing Saying = iota
	SawItStop
	SawItRun
	Skip
	Stop // the whole test
)

// Begin is a test of everything that is fitted.
func Begin(s *guard.Settings, now time.Time) Test {
	t := Test{Began: now, Until: now.Add(Lasts)}
	fitted := [steps]bool{Watch: true, Ceiling: s.CeilingFitted, Floor: s.FloorFitted, Reservoir: s.ReservoirLowFitted, RunLimit: true}
	for i, yes := range fitted {
		t.Results[i].Fitted = yes
	}
	return t
}

// Running says whether a test is under way.
func (t *Test) Running() bool { return !t.Began.IsZero() && t.Ended.IsZero() }

// Now is the result of the step to do now; the zero Result when there is none.
func (t *Test) Now() Result {
	if t.At >= steps {
		return Result{}
	}
	return t.Results[t.At]
}

// Steps are the steps of this test, in their order.
func (t *Test) Steps() []Step {
	var all []Step
	for s := range steps {
		if t.Results[s].Fitted {
			all = append(all, s)
		}
	}
	return all
}

// Look takes one step of the guard into the account: what it saw, what it
// answered, and the state it is in.
func (t Test) Look(s *guard.Settings, state *guard.State, in *guard.Inputs, out *guard.Outputs, now time.Time) Test {
	if !t.Running() {
		return t
	}
	if now.After(t.Until) || now.Before(t.Began) {
		return t.end(now)
	}
	wasOn := t.filled
	t.filled = out.Pump
	if out.Pump {
		t.ran = state.For
	}
	if t.Now().Outcome != Open {
		return t // a person is asked
	}
	stopped := wasOn && !out.Pump
	switch t.At {
	case Watch:
		if stopped {
			t = t.judge(state.Phase != guard.Latched && in.Watch == guard.Wet,
				"pump ran %v and went off with the watch wet", "pump ran %v and went off: %v", out.Reason, now)
		}
	case Ceiling:
		t.cut = t.cut || stopped && in.Ceiling == guard.Wet
		latched := state.Latch == guard.CeilingWet || state.Latch == guard.CeilingWetWatchDry
		switch {
		case t.cut && latched:
			t = t.judge(true, "pump ran %v, went off as the ceiling got wet, and latched", "", out.Reason, now)
		case stopped && !t.cut:
			t = t.judge(false, "", "pump ran %v and went off before the ceiling was wet: %v", out.Reason, now)
		}
	case Floor:
		if state.Latch == guard.FloorWet {
			t.Results[Floor] = Result{true, Seen, "latched as the floor got wet"}
		}
	case Reservoir:
		if out.Alarms.Has(guard.ReservoirEmpty) && !out.Pump {
			t.Results[Reservoir] = Result{true, Seen, "pump forbidden as the reservoir read empty"}
		}
	case RunLimit:
		if stopped {
			limit := s.Limit(state.Learned)
			t.ran = max(t.ran, limit) // the step that stops it is the one at the limit
			t = t.judge(state.Latch == guard.RunLimit && t.ran <= limit+late,
				"pump ran %v, its limit, and latched", "pump ran %v and went off: %v", out.Reason, now)
		}
	}
	return t
}

// judge closes a step: the guard did what it should, or not.
func (t Test) judge(good bool, yes, no string, why guard.Reason, now time.Time) Test {
	ran := t.ran.Round(100 * time.Millisecond)
	if good {
		t.Results[t.At] = Result{true, Seen, fmt.Sprintf(yes, ran)}
		return t
	}
	t.Results[t.At] = Result{true, Failed, fmt.Sprintf(no, ran, why)}
	if t = t.next(); t.At >= steps {
		return t.end(now)
	}
	return t
}

// Say takes a person's word. One that does not fit the step changes nothing.
func (t Test) Say(what Saying, now time.Time) Test {
	if !t.Running() {
		return t
	}
	r := &t.Results[min(t.At, steps-1)]
	switch {
	case what == Stop:
		return t.end(now)
	case what == Skip:
		r.Outcome = Skipped
	case what == SawItStop && r.Outcome == Seen:
		r.Outcome = Passed
	case what == SawItRun && r.Outcome == Seen:
		r.Outcome, r.Evidence = Failed, r.Evidence+"; but a person saw it run on"
	default:
		return t
	}
	if t = t.next(); t.At >= steps {
		return t.end(now)
	}
	return t
}

// next goes to the next step that is fitted.
func (t Test) next() Test {
	t.At, t.cut = t.At+1, false
	for t.At < steps && !t.Results[t.At].Fitted {
		t.At++
	}
	return t
}

func (t Test) end(now time.Time) Test {
	t.Ended, t.At = now, steps
	for i := range t.Results {
		if r := &t.Results[i]; r.Fitted && (r.Outcome == Open || r.Outcome == Seen) {
			r.Outcome = NotDone
		}
	}
	return t
}

// Verdict is the whole test in a sentence.
func (t *Test) Verdict() string {
	count := map[Outcome]int{}
	for _, s := range t.Steps() {
		count[t.Results[s].Outcome]++
	}
	switch {
	case t.Began.IsZero():
		return "no test"
	case count[Failed] > 0:
		return fmt.Sprintf("failed: %d of %d steps; do not rely on this top-off until it is mended", count[Failed], len(t.Steps()))
	case count[Passed] == len(t.Steps()):
		return fmt.Sprintf("passed: all %d steps", count[Passed])
	}
	return fmt.Sprintf("not complete: %d of %d steps passed", count[Passed], len(t.Steps()))
}
