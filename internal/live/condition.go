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

// ByContact says whether only a contact tells a condition: the account has no
// finding of its own for it.
func ByContact(c account.Code) bool { return c == alarm.FloorWet || c == alarm.GuardLatched }

// take notes what a contact says and returns the finding that begins or ends by
// it, nil if none does. The condition goes on while any device's contact says so.
func (v *Value) take(t *Tank, r *wire.Reading) *account.Finding {
	for i := range conditions {
		c := &conditions[i]
		if c.channel != r.Channel {
			continue
		}
		v.say(r)
		return v.turn(t, c, r.At)
	}
	return nil
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

// say notes a contact's word, unless a newer one of the same device is there.
func (v *Value) say(r *wire.Reading) {
	word := Word{Channel: r.Channel, Device: r.Device, On: r.Value != 0, At: r.At}
	for i := range v.Contacts {
		w := &v.Contacts[i]
		if w.Channel == r.Channel && w.Device == r.Device {
			if !r.At.Before(w.At) {
				*w = word
			}
			return
		}
	}
	v.Contacts = append(v.Contacts, word)
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
