package decide

import (
	"fmt"
	"time"

	"isohaline/internal/edge/prooftest"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
)

// EventKind is what happened.
type EventKind string

const (
	Began     EventKind = "began"       // the agent started
	Phase     EventKind = "phase"       // the guard is in another state
	Raised    EventKind = "alarm"       // a reason that needs a person
	Over      EventKind = "alarm-over"  // ... has gone
	Answered  EventKind = "answer"      // a request was taken or refused
	ProofTest EventKind = "proof-test"  // a test began, a step was judged, it ended
	Trouble   EventKind = "trouble"     // of the agent itself: disk, lines
	Mended    EventKind = "trouble-end" // ... is over
)

// Event is one line of the record. Words is what a person reads; Code is the
// reason for programs.
type Event struct {
	At    time.Time `json:"at"`
	Kind  EventKind `json:"kind"`
	Code  string    `json:"code,omitempty"`
	Words string    `json:"words"`
	// By is who asked, Request its id.
	By      string `json:"by,omitempty"`
	Request string `json:"request,omitempty"`
}

// events is what a step adds to the record.
func events(before, after *State, ask *Ask, answer *requests.Answer, now time.Time) []Event {
	var list []Event
	add := func(e Event) {
		e.At = now
		list = append(list, e)
	}
	if answer != nil && ask.Saying == prooftest.Nothing {
		verb := "taken"
		if !answer.Taken {
			verb = "refused"
		}
		what := string(ask.Request.Kind)
		if ask.Request.Kind == requests.Give {
			what = fmt.Sprintf("give of %.0f mL", ask.Request.GiveML)
		}
		from := "from afar"
		if ask.OnSite {
			from = "on site"
		}
		add(Event{Kind: Answered, Code: answer.Code, By: ask.Request.By, Request: ask.Request.ID,
			Words: fmt.Sprintf("%s %s %s: %s", what, from, verb, answer.Why)})
	}
	if before.Guard.Phase != after.Guard.Phase {
		add(Event{Kind: Phase, Code: code(after.Said.Reason), Words: fmt.Sprintf("%v: %v", after.Guard.Phase, after.Said.Reason)})
	}
	for r := range (after.Said.Alarms &^ before.Said.Alarms).All() {
		add(Event{Kind: Raised, Code: code(r), Words: r.String()})
	}
	for r := range (before.Said.Alarms &^ after.Said.Alarms).All() {
		add(Event{Kind: Over, Code: code(r), Words: "over: " + r.String()})
	}
	list = append(list, testEvents(&before.Test, &after.Test, now)...)
	return list
}

// testEvents is what a step adds of the proof test.
func testEvents(before, after *prooftest.Test, now time.Time) []Event {
	var list []Event
	add := func(code, words string) {
		list = append(list, Event{At: now, Kind: ProofTest, Code: code, Words: words})
	}
	if after.Running() && !before.Running() {
		add("began", "a proof test began")
		return list
	}
	for _, s := range after.Steps() {
		if a, b := after.Results[s], before.Results[s]; a.Outcome != b.Outcome {
			words := fmt.Sprintf("%s: %v", s.Title(), a.Outcome)
			if a.Evidence != "" {
				words += "; " + a.Evidence
			}
			add(s.ID(), words)
		}
	}
	if before.Running() && !after.Running() {
		add("over", "the proof test is over; "+after.Verdict())
	}
	return list
}

// Alarms are the reasons that need a person now, in words.
func (s *State) Alarms() []guard.Reason {
	var list []guard.Reason
	for r := range s.Said.Alarms.All() {
		list = append(list, r)
	}
	return list
}
