package alarm

import (
	"fmt"
	"strings"
	"time"
)

// Message is what a contact gets.
type Message struct {
	ID      string
	Subject string // one line
	Text    string
	// What a program wants to know.
	Site     string
	Key      Key
	Priority Priority
	State    State
	Called   time.Time
	End      bool
}

// Compose writes the message of a notice about an alarm of the named site, as
// of now. Times are said in the site's own zone.
func Compose(s *Settings, site string, zone *time.Location, a Alarm, n Notice, now time.Time) Message {
	title, caution := string(a.Code), ""
	if kind := find(s.Kinds, a.Code); kind != nil {
		title, caution = kind.Title, kind.Caution
	}
	place := oneLine(strings.Join(notEmpty(site, a.Tank, a.Device), ", "))
	m := Message{
		ID: n.ID, Site: site, Key: a.Key, Priority: a.Peak, State: a.State(), Called: a.Called, End: n.End,
	}
	const clock = "Mon 2 Jan 15:04 MST"
	since := a.Called.In(zone).Format(clock)
	latched := a.Live == LatchedUnacknowledged || a.Live == LatchedAcknowledged
	var lines []string
	if n.End {
		m.Subject = fmt.Sprintf("Over: %s: %s", place, title)
		lines = append(lines, fmt.Sprintf("The condition is gone. It called at %s.", since))
		if latched {
			lines = append(lines, "The alarm is latched: acknowledge and reset it when you know why it came.")
		}
	} else {
		m.Subject = fmt.Sprintf("%s: %s: %s", capital(a.Peak.String()), place, title)
		lines = append(lines, oneLine(a.Sentence), fmt.Sprintf("Calls since %s; %s.", since, a.harmWords(now)))
		if latched {
			lines = append(lines, "The condition itself is gone, but the alarm is latched.")
		}
		lines = append(lines, fmt.Sprintf("You are told because %s.", n.Reason), caution)
	}
	m.Text = strings.Join(notEmpty(lines...), "\n") + "\n"
	return m
}

// harmWords says how long until harm.
func (a *Alarm) harmWords(now time.Time) string {
	left := a.left(now)
	switch {
	case left == never:
		return "it does not harm by itself"
	case left <= 0:
		return "harm may be happening now"
	case left < time.Hour:
		return "harm within the hour"
	case left < 2*24*time.Hour:
		return fmt.Sprintf("harm in about %.0f h", left.Hours())
	}
	return fmt.Sprintf("harm in about %.0f days", left.Hours()/24)
}

// oneLine makes every run of white space a blank, so that no name or sentence
// can begin a line of its own in a message.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func notEmpty(parts ...string) []string {
	var full []string
	for _, p := range parts {
		if p != "" {
			full = append(full, p)
		}
	}
	return full
}
