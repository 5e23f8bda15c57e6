package live

import (
	"fmt"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// Water where it must not be needs no estimate: a contact that says so is
// believed at once, while the account still waits for what may come late.

// condition is something that a contact says by itself.
type condition struct {
	channel string
	code    account.Code
	// class is the harm it leads to, harmIn how soon; negative: by itself not.
	class  int
	harmIn time.Duration
	// words continue the tank's name.
	words string
}

// conditions are all of them. Classes are judgements: water at the ceiling level
// means that something has failed and the margin is being used; water on the
// floor is harm already; a tank whose guard has latched drinks its margin of
// salinity.
var conditions = []condition{
	{channel.CeilingLevel, account.CeilingWet, 2, -1, "has water at its ceiling level"},
	{channel.Floor, alarm.FloorWet, 3, 0, "has water on the floor"},
	{channel.Latched, alarm.GuardLatched, 2, -1, "has a guard that tripped and gives no water until somebody at the tank has looked and cleared it"},
}

// ByContact reports whether a code is told by a contact alone: the account has no
// finding of its own for it.
func ByContact(c account.Code) bool { return c == alarm.FloorWet || c == alarm.GuardLatched }

// take notes what a contact says. news says whether it is something else than the
// device said before, f is the finding that begins or ends by it, nil if none does:
// the condition goes on while any device's contact says so.
func (v *Value) take(t *Tank, r *wire.Reading) (f *account.Finding, news bool) {
	for i := range conditions {
		c := &conditions[i]
		if c.channel == r.Channel {
			news = v.say(r)
			return v.turn(t, c, r.At), news
		}
	}
	return nil, false
}

// turn brings a condition up to what the contacts say at a time.
func (v *Value) turn(t *Tank, c *condition, at time.Time) *account.Finding {
	since, there := v.Conditions[c.code]
	on := v.on(c.channel)
	switch {
	case on && !there:
		v.Conditions[c.code] = at
		f := c.finding(t, at)
		return &f
	case !on && there:
		delete(v.Conditions, c.code)
		f := c.finding(t, since)
		f.Ended = at
		return &f
	}
	return nil
}

// say notes a contact's word, unless a newer one of the same device is there, and
// says whether it is another one.
func (v *Value) say(r *wire.Reading) (news bool) {
	word := Word{Channel: r.Channel, Device: r.Device, On: r.Value != 0, At: r.At}
	for i := range v.Contacts {
		w := &v.Contacts[i]
		if w.Channel == r.Channel && w.Device == r.Device {
			if r.At.Before(w.At) {
				return false
			}
			news = w.On != word.On
			*w = word
			return news
		}
	}
	v.Contacts = append(v.Contacts, word)
	return true
}

// on says whether any device's contact of a channel is on.
func (v *Value) on(channel string) bool {
	for _, w := range v.Contacts {
		if w.Channel == channel && w.On {
			return true
		}
	}
	return false
}

// finding is the condition as a finding since a time.
func (c *condition) finding(t *Tank, since time.Time) account.Finding {
	const certain = 0.99 // a contact can lie
	return account.Finding{Code: c.code, Since: since, Found: since, Confidence: certain, Class: c.class, HarmIn: c.harmIn,
		Sentence: fmt.Sprintf("%s %s, since %s.", t.Name, c.words, account.Clock(since, t.Zone))}
}
