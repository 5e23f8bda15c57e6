// Package decide is one step of the agent without the world: inputs, at most one
// request and the time go in; outputs, the request's answer and the events for
// the record come out. Transport, disk, clocks and wires are elsewhere, and so
// everything here can be tried in every order: see the exploration in its tests.
//
// What survives a restart is State, and it is saved as one. A step that says
// Save takes effect only after its State is on the disk; one that could not be
// saved has not happened, and Unable is what happens instead.
package decide

import (
	"fmt"
	"strings"
	"time"

	"isohaline/internal/edge/prooftest"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
)

// Config is what the design check says of this tank.
type Config struct {
	Settings guard.Settings
	// FlowMLS is what the pump brings, mL/s: it turns millilitres into time.
	FlowMLS float64
}

// NewConfig is a guard's settings and a pump's flow in m³/s.
func NewConfig(settings guard.Settings, topOffM3S float64) Config {
	const mlPerM3 = 1e6
	return Config{Settings: settings, FlowMLS: topOffM3S * mlPerM3}
}

// State is all that the agent remembers of one tank.
type State struct {
	Guard  guard.State     `json:"guard"`
	Ledger requests.Ledger `json:"ledger"`

	// What a restart forgets: the test under way, and the last answer, which
	// tells what is new.
	Test prooftest.Test `json:"-"`
	Said guard.Outputs  `json:"-"`
}

// Boot is the state at power-up, from what was saved.
func Boot(c *Config, saved State, now time.Duration) State {
	return State{Guard: guard.Boot(&c.Settings, saved.Guard, now), Ledger: saved.Ledger}
}

// Moment is the time, twice: rules go by Clock, which is monotonic; Wall dates
// events and requests.
type Moment struct {
	Clock time.Duration
	Wall  time.Time
}

// Ask is one request, from afar or from the tank's own page.
type Ask struct {
	Request requests.Request
	// OnSite says that it was made at the tank. It needs no number and no age:
	// nothing repeats or delays it.
	OnSite bool
	// Saying is a person's word on the proof test under way.
	Saying prooftest.Saying
}

// Result is what a step makes.
type Result struct {
	State  State
	Out    guard.Outputs
	Answer *requests.Answer // nil without an ask
	Events []Event
	// Save says that State has to be on the disk before anything is done.
	Save bool
}

// Step is the whole decision.
func Step(c *Config, s State, in guard.Inputs, ask *Ask, now Moment) Result {
	in.Request, in.Remote, in.GiveFor = guard.NoRequest, false, 0
	var answer *requests.Answer
	heard := false // the guard hears the request
	if ask != nil {
		if answer = s.consider(ask, now); answer == nil {
			heard = true
			in.Request, _ = ask.Request.Kind.Guard()
			in.Remote = !ask.OnSite
			in.GiveFor = c.giveFor(ask.Request.GiveML)
		}
	}
	before := s
	var out guard.Outputs
	s.Guard, out = guard.Step(&c.Settings, s.Guard, in, now.Clock)
	s.Test = s.Test.Look(&c.Settings, &s.Guard, &in, &out, now.Wall)
	if heard {
		a := requests.Answer{ID: ask.Request.ID, Taken: out.Refused == guard.NoReason, At: now.Wall, LastSeq: s.Ledger.LastSeq}
		why := out.Reason
		if !a.Taken {
			why = out.Refused
		}
		a.Code, a.Why = code(why), why.String()
		if ask.Request.Kind == requests.ProofTest {
			s.beginTest(c, &a, now)
		}
		if !ask.OnSite {
			s.Ledger, a = s.Ledger.With(ask.Request, a)
		}
		answer = &a
	}
	if ask != nil && ask.Saying != prooftest.Nothing {
		s.Test = s.Test.Say(ask.Saying, now.Wall)
	}
	s.Said = out
	return Result{
		State: s, Out: out, Answer: answer,
		Events: events(&before, &s, ask, answer, now.Wall),
		Save:   heard && !ask.OnSite || mustSave(&before.Guard, &s.Guard),
	}
}

// Unable is the step of an agent that cannot save: from the state as it was, as
// if no input could be read, and whatever is asked is refused. The pump is off.
func Unable(c *Config, s State, ask *Ask, now Moment) Result {
	in := guard.Inputs{Watch: guard.Faulty}
	r := Step(c, s, in, nil, now)
	r.Save = false
	if ask != nil {
		r.Answer = &requests.Answer{ID: ask.Request.ID, Code: requests.Unsaved, At: now.Wall, LastSeq: s.Ledger.LastSeq,
			Why: "cannot be recorded: the agent's disk is full or broken, and the pump stays off"}
	}
	return r
}

// consider is the answer that a request gets without the guard, nil if the guard
// has to hear it.
func (s *State) consider(ask *Ask, now Moment) *requests.Answer {
	if ask.Saying != prooftest.Nothing {
		return &requests.Answer{Taken: s.Test.Running(), Code: "proof-test", Why: s.Test.At.Title(), At: now.Wall}
	}
	if ask.OnSite {
		if _, known := ask.Request.Kind.Guard(); known {
			return nil
		}
		return &requests.Answer{Code: requests.Malformed, Why: fmt.Sprintf("there is no request %q", ask.Request.Kind), At: now.Wall}
	}
	verdict, a := s.Ledger.Consider(&ask.Request, now.Wall)
	if verdict == requests.Pass {
		return nil
	}
	return &a
}

// beginTest begins a proof test where the guard rests, so that the first thing it
// does is what the test asks for.
func (s *State) beginTest(c *Config, a *requests.Answer, now Moment) {
	switch {
	case s.Test.Running():
		a.Taken, a.Code, a.Why = false, requests.Busy, "a proof test is under way"
	case s.Guard.Phase != guard.Resting:
		a.Taken = false // and the guard's reason is why
	default:
		s.Test = prooftest.Begin(&c.Settings, now.Wall)
		a.Taken, a.Code, a.Why = true, "proof-test", "go to the tank: "+s.Test.At.Do()
	}
}

// giveFor is how long the pump runs for so much. What no Duration holds is far
// more than any guard gives.
func (c *Config) giveFor(ml float64) time.Duration {
	if ml == 0 {
		return 0
	}
	s := ml / c.FlowMLS
	if !(s < guard.MaxRun.Seconds()+1) {
		return guard.Never
	}
	return time.Duration(s * float64(time.Second))
}

// GiveMostML is the most that may be given now, and no promise that it will be.
func (c *Config) GiveMostML(s *State) float64 {
	return max(c.Settings.GiveMost-s.Guard.Above-s.Guard.Measure, 0).Seconds() * c.FlowMLS
}

// mustSave says whether a change must not be lost in a power cut.
func mustSave(a, b *guard.State) bool {
	return a.Phase != b.Phase || a.Latch != b.Latch || a.OnHold != b.OnHold || a.Shut != b.Shut || a.Learned != b.Learned
}

// code is a reason as one word for programs.
func code(r guard.Reason) string {
	return strings.ReplaceAll(strings.ReplaceAll(r.String(), ",", ""), " ", "-")
}
