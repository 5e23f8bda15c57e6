package alarm_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
)

// t0 is when every test begins.
var t0 = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

const (
	cause    account.Code = "cause"
	plain    account.Code = "plain"
	latching account.Code = "latching"
)

// diagram has kinds without delays, so that an event is an arrow.
var diagram = alarm.Settings{Kinds: []alarm.Kind{
	{Code: cause, Title: "Cause"},
	{Code: plain, Title: "Plain", SilencedBy: []account.Code{cause}},
	{Code: latching, Title: "Latching", SilencedBy: []account.Code{cause}, Latches: true},
}}

// subject is one alarm under test.
type subject struct {
	code account.Code
	site alarm.Site
	now  time.Time
}

// do applies an event of the table and returns the transition it made.
func (s *subject) do(event string) *alarm.Transition {
	const harmless, longestShelf = 1000 * time.Hour, 7 * 24 * time.Hour
	e := alarm.Event{Key: alarm.Key{Code: s.code, Tank: "lobby"}, By: "Ines"}
	s.now = s.now.Add(time.Second)
	switch event {
	case "comes":
		e.Do, e.Class, e.HarmIn = alarm.Raise, 3, harmless
	case "worsens":
		e.Do, e.Class, e.HarmIn = alarm.Raise, 4, 0
	case "goes":
		e.Do = alarm.Clear
	case "acknowledge":
		e.Do = alarm.Acknowledge
	case "reset":
		e.Do = alarm.Reset
	case "shelve":
		e.Do, e.For = alarm.Shelve, longestShelf
	case "unshelve":
		e.Do = alarm.Unshelve
	case "shelf ends":
		s.now = s.now.Add(longestShelf)
	case "cause comes":
		e.Do, e.Key, e.Class = alarm.Raise, alarm.Key{Code: cause}, 4
	case "cause goes":
		e.Do, e.Key = alarm.Clear, alarm.Key{Code: cause}
	case "take out":
		e.Do = alarm.TakeOut
	case "put back":
		e.Do = alarm.PutBackIn
	default:
		panic(event)
	}
	var said []alarm.Transition
	s.site, said = alarm.Step(&diagram, s.site, e, s.now)
	for i := range said {
		if said[i].Key.Code == s.code {
			return &said[i]
		}
	}
	return nil
}

func (s *subject) state() alarm.State {
	return s.site.Find(alarm.Key{Code: s.code, Tank: "lobby"}).State()
}

// ways lead from nothing to each state that shows. Normal is an alarm that was.
var ways = map[string][]string{
	"A": {"comes", "acknowledge", "goes", "acknowledge", "reset"},
	"B": {"comes"},
	"C": {"comes", "acknowledge"},
	"D": {"comes", "goes"},
	"E": {"comes", "goes"},
	"F": {"comes", "goes", "acknowledge"},
}

// hide leads into each state that hides.
var hide = map[string]string{"G": "shelve", "H": "cause comes", "I": "take out"}

// reach makes an alarm in a state written as in the table.
func reach(code account.Code, state string) *subject {
	s := &subject{code: code, now: t0}
	hidden, under, _ := strings.Cut(state, "/")
	if under == "" {
		hidden, under = "", state
	}
	for _, event := range ways[under[:1]] {
		s.do(event)
	}
	if hidden == "" {
		return s
	}
	s.do(hide[hidden])
	switch under[1:] {
	case "+":
		s.do("comes")
	case "-":
		s.do("goes")
	case "~":
		s.do("goes")
		s.do("comes")
		s.do("goes")
	}
	return s
}

// arrow is one row of the table.
type arrow struct {
	line                          int
	from, event, kind, to, reason string
	used                          bool
}

// matches says whether the row's first column means the state.
func (a *arrow) matches(state string) bool {
	switch {
	case a.from == "A-F":
		return len(state) == 1
	case strings.HasSuffix(a.from, "*"):
		return strings.HasPrefix(state, a.from[:2])
	case strings.Contains(a.from, "?"):
		return len(state) == 4 && state[:2] == a.from[:2] && state[3] == a.from[3]
	}
	return a.from == state
}

func readArrows(t *testing.T) []*arrow {
	text, err := os.ReadFile("testdata/lifecycle.txt")
	if err != nil {
		t.Fatal(err)
	}
	var arrows []*arrow
	for n, line := range strings.Split(string(text), "\n") {
		if line == "" || line[0] == '#' || strings.HasPrefix(line, "from ") {
			continue
		}
		reason := strings.TrimSuffix(line[35:], "!")
		arrows = append(arrows, &arrow{
			line: n + 1, from: strings.TrimSpace(line[:7]), event: strings.TrimSpace(line[7:21]),
			kind: strings.TrimSpace(line[21:31]), to: strings.TrimSpace(line[31:35]),
			reason: strings.TrimSpace(reason),
		})
	}
	return arrows
}

// TestLifeCycle tries every event in every state, shown and hidden, against the
// table of the standard's diagram. Every pair must have exactly one row, and
// every row must be met.
func TestLifeCycle(t *testing.T) {
	arrows := readArrows(t)
	events := []string{"comes", "worsens", "goes", "acknowledge", "reset", "shelve", "unshelve",
		"shelf ends", "cause comes", "cause goes", "take out", "put back"}
	tried := 0
	for _, code := range []account.Code{plain, latching} {
		shows := map[account.Code]string{plain: "ABCD", latching: "ABCEF"}[code]
		states := strings.Split(shows, "")
		for _, hidden := range "GHI" {
			for _, under := range shows {
				for _, since := range "+-~" {
					states = append(states, fmt.Sprintf("%c/%c%c", hidden, under, since))
				}
			}
		}
		for _, state := range states {
			for _, event := range events {
				tried++
				s := reach(code, state)
				if got := s.state().Letter(); got != state[:1] {
					t.Fatalf("%s alarm: the way to %s leads to %s", code, state, got)
				}
				var row *arrow
				for _, a := range arrows {
					if a.event != event || !a.matches(state) || a.kind != "both" && a.kind != string(code) {
						continue
					}
					if row != nil {
						t.Fatalf("%s alarm, %s, %s: lines %d and %d both speak of it", code, state, event, row.line, a.line)
					}
					row = a
				}
				if row == nil {
					t.Errorf("%s alarm, %s, %s: no row", code, state, event)
					continue
				}
				row.used = true
				check(t, s, row, code, state, event)
			}
		}
	}
	for _, a := range arrows {
		if !a.used {
			t.Errorf("line %d speaks of what cannot be: %s, %s", a.line, a.from, a.event)
		}
	}
	t.Logf("%d pairs of state and event against %d rows", tried, len(arrows))
}

func check(t *testing.T, s *subject, row *arrow, code account.Code, state, event string) {
	t.Helper()
	said := s.do(event)
	want := row.to
	if want == "=" {
		want = state[:1]
	}
	reason := "-"
	if said != nil {
		reason = string(said.Reason)
		if said.To != s.state() || said.From.Letter() != state[:1] {
			t.Errorf("line %d: %s alarm, %s, %s: told %v to %v, it is %v", row.line, code, state, event, said.From, said.To, s.state())
		}
	}
	if got := s.state().Letter(); got != want || reason != row.reason {
		t.Errorf("line %d: %s alarm, %s, %s: got %s %q, want %s %q", row.line, code, state, event, got, reason, want, row.reason)
	}
}
