package alarm_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
)

// A story in testdata/stories is a table that a practitioner can read. Lines
// before the table say how many devices the site has and who is told:
//
//	devices 9
//	high    0m Ines, 15m Jon + Mara
//	again   high 1h x3
//	tell the end
//
// In the table a row is a time, what happens then, and what must come of it:
// every change of an alarm, with its reason, and everybody who is told, with
// why. A row that begins with | goes on with the row above. What is not in the
// table must not happen: between rows the site is stepped whenever it asked to
// be. A "." is a row where only time passes. "asleep until T" is a process that
// does not run.
//
// After every step everything is written down and read back, as by a process
// that took over.

type story struct {
	settings alarm.Settings
	plan     alarm.Plan
	rows     []storyRow
}

type storyRow struct {
	line    int
	at      time.Duration
	event   string
	becomes []string
	told    []string
}

func TestStories(t *testing.T) {
	files, err := filepath.Glob("testdata/stories/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			st := readStory(t, file)
			(&player{story: st, now: t0, down: map[string]bool{}}).play(t)
		})
	}
}

// player runs a site and delivers its messages.
type player struct {
	*story
	now    time.Time
	site   alarm.Site
	record alarm.Record
	again  time.Time
	down   map[string]bool // whom no message reaches
	// What happened since the last row.
	becomes, told []string
}

func (p *player) play(t *testing.T) {
	awake := true
	for _, r := range p.rows {
		at := t0.Add(r.at)
		for awake {
			next := alarm.Deadline(&p.settings, p.site)
			if next.IsZero() || !p.again.IsZero() && p.again.Before(next) {
				next = p.again
			}
			if next.IsZero() || !next.Before(at) {
				break
			}
			p.step(t, alarm.Event{}, next)
			if len(p.becomes)+len(p.told) > 0 {
				t.Fatalf("before line %d, at %v: %q, told %q: no row says so", r.line, next.Sub(t0), p.becomes, p.told)
			}
		}
		awake = true
		words := strings.Fields(r.event)
		switch {
		case words[0] == "unreachable" || words[0] == "reachable":
			p.down[words[1]] = words[0] == "unreachable"
		case words[0] == "asleep":
			awake = false
		default:
			p.step(t, readEvent(t, r, words), at)
		}
		if got, want := strings.Join(p.becomes, "\n"), strings.Join(r.becomes, "\n"); got != want {
			t.Fatalf("line %d: alarms:\n%s\nwant\n%s", r.line, got, want)
		}
		if got, want := strings.Join(p.told, "\n"), strings.Join(r.told, "\n"); got != want {
			t.Fatalf("line %d: told:\n%s\nwant\n%s", r.line, got, want)
		}
		p.becomes, p.told = nil, nil
	}
}

// step takes the site and its record through one event, and delivers.
func (p *player) step(t *testing.T, e alarm.Event, at time.Time) {
	var said []alarm.Transition
	p.site, said = alarm.Step(&p.settings, p.site, e, at)
	for _, s := range said {
		when := ""
		if !s.At.Equal(at) {
			when = fmt.Sprintf(" (at %v)", short(s.At.Sub(t0)))
		}
		p.becomes = append(p.becomes, fmt.Sprintf("%s: %v, %s%s", name(s.Key), s.To, s.Reason, when))
	}
	for range 20 { // each failure may decide again
		var d alarm.Decision
		p.record, d = alarm.Decide(&p.plan, p.site, p.record, at)
		p.again = d.Again
		p.site, p.record = rewrite(t, p.site), rewrite(t, p.record)
		if len(d.Send) == 0 {
			return
		}
		for _, n := range d.Send {
			problem := ""
			if p.down[n.Contact.Person] {
				problem = "no connection"
			}
			var known bool
			p.record, n, known = p.record.Report(n.ID, at, problem, false)
			if !known {
				t.Fatalf("the record does not know %s", n.ID)
			}
			line := fmt.Sprintf("%s: %s %s, %s", n.Contact.Person, name(n.Alarm), n.Outcome, n.Reason)
			if n.Outcome == alarm.Pending {
				line = fmt.Sprintf("%s: %s not reached", n.Contact.Person, name(n.Alarm))
			}
			p.told = append(p.told, line)
		}
	}
	t.Fatalf("at %v: messages without end", at.Sub(t0))
}

// rewrite writes a value down and reads it back.
func rewrite[V any](t *testing.T, v V) V {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var read V
	if err := json.Unmarshal(text, &read); err != nil {
		t.Fatalf("reading back %s: %v", text, err)
	}
	return read
}

func name(k alarm.Key) string {
	place := strings.TrimPrefix(strings.TrimSuffix(k.Tank+"."+k.Device, "."), ".")
	return strings.TrimSpace(place + " " + string(k.Code))
}

// readEvent reads "raise lobby.float device-silent class 3 in 6h", "shelve Ines
// lobby tank-leak for 2h" and the like.
func readEvent(t *testing.T, r storyRow, words []string) alarm.Event {
	var e alarm.Event
	e.HarmIn = -1
	if words[0] == "." {
		return e
	}
	actions := map[string]alarm.Action{"raise": alarm.Raise, "clear": alarm.Clear, "acknowledge": alarm.Acknowledge,
		"reset": alarm.Reset, "shelve": alarm.Shelve, "unshelve": alarm.Unshelve, "takeout": alarm.TakeOut, "putback": alarm.PutBackIn}
	e.Do = actions[words[0]]
	if e.Do == "" {
		t.Fatalf("line %d: unknown event %q", r.line, words[0])
	}
	words = words[1:]
	if e.Do != alarm.Raise && e.Do != alarm.Clear {
		e.By, words = words[0], words[1:]
	}
	if !isCode(words[0]) {
		e.Key.Tank, e.Key.Device, _ = strings.Cut(words[0], ".")
		words = words[1:]
	}
	e.Key.Code, words = account.Code(words[0]), words[1:]
	for len(words) >= 2 {
		switch words[0] {
		case "class":
			e.Class = atoi(t, words[1])
		case "in":
			e.HarmIn = duration(t, words[1])
		case "for":
			e.For = duration(t, words[1])
		default:
			t.Fatalf("line %d: unknown word %q", r.line, words[0])
		}
		words = words[2:]
	}
	return e
}

func isCode(word string) bool {
	for _, k := range alarm.Kinds() {
		if string(k.Code) == word {
			return true
		}
	}
	return false
}

func atoi(t *testing.T, s string) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// duration reads 3d, or what time.ParseDuration reads.
func duration(t *testing.T, s string) time.Duration {
	if days, ok := strings.CutSuffix(s, "d"); ok {
		return time.Duration(atoi(t, days)) * 24 * time.Hour
	}
	d, err := time.ParseDuration(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// short writes a duration without its empty parts.
func short(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

func readStory(t *testing.T, file string) *story {
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	st := &story{settings: alarm.Settings{Kinds: alarm.Kinds()}}
	table := false
	for i, line := range strings.Split(string(text), "\n") {
		words := strings.Fields(line)
		switch {
		case len(words) == 0 || line[0] == '#':
		case words[0] == "time":
			table = true
		case table:
			st.readRow(t, i+1, line)
		case words[0] == "devices":
			st.settings.Devices = atoi(t, words[1])
		case words[0] == "again":
			r := st.plan.Own(priority(t, words[1]))
			r.Repeat, r.Rounds = duration(t, words[2]), atoi(t, words[3][1:])
		case line == "tell the end":
			st.plan.TellEnd = true
		default:
			r := st.plan.Own(priority(t, words[0]))
			for _, rung := range strings.Split(strings.TrimPrefix(line, words[0]), ",") {
				parts := strings.Fields(rung)
				var contacts []alarm.Contact
				for _, person := range parts[1:] {
					if person != "+" {
						contacts = append(contacts, alarm.Contact{Person: person, Channel: alarm.Mail, Address: strings.ToLower(person) + "@example.org"})
					}
				}
				r.Rungs = append(r.Rungs, alarm.Rung{Wait: duration(t, parts[0]), Contacts: contacts})
			}
		}
	}
	if err := st.plan.Check(); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return st
}

func priority(t *testing.T, s string) alarm.Priority {
	var p alarm.Priority
	if err := p.UnmarshalText([]byte(s)); err != nil {
		t.Fatal(err)
	}
	return p
}

func (st *story) readRow(t *testing.T, n int, line string) {
	parts := strings.Split(line, "|")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	if parts[0] != "" {
		at, event, _ := strings.Cut(parts[0], " ")
		var sum time.Duration
		for _, term := range strings.Split(at, "+") {
			sum += duration(t, term)
		}
		st.rows = append(st.rows, storyRow{line: n, at: sum, event: strings.TrimSpace(event)})
	}
	r := &st.rows[len(st.rows)-1]
	if len(parts) > 1 && parts[1] != "" {
		r.becomes = append(r.becomes, parts[1])
	}
	if len(parts) > 2 && parts[2] != "" {
		r.told = append(r.told, parts[2])
	}
}
