package hublife

import (
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/wire"
)

// word is what a contact of a device said last, by its own time, while the device
// reported of a tank. unsure: the device was moved since then, and has not spoken.
type word struct {
	known, unsure, on bool
	// at is when it said so last, from when it began to.
	from, at time.Time
}

// condition is what the contacts of a tank say.
type condition int

const (
	off condition = iota
	on
	unsure
)

// telling is a condition and what is told of it.
type telling struct {
	condition
	since time.Time // by the hub's clock, when it was taken in
	from  time.Time // by the device's clock, when it began
	// blurred: since may be off. moved: a device came or went, whose words may be
	// heard again at another tank; the next look at the clock puts that right.
	blurred, moved bool
	// turns is how often it came on, or may have; told how often that became an
	// alarm.
	turns, told int
}

// hear hears a reading that is taken in.
func (o *oracle) hear(r *wire.Reading, frame uint64) {
	w := o.w
	d := w.deviceNumber(r.Device)
	if w.devices[d].unknown {
		return
	}
	key := storedKey{r.Device, r.Channel, r.At.UnixMicro()}
	if _, there := o.readings[key]; !there {
		o.readings[key] = r.Value
	}
	t := w.devices[d].tank
	if t == none {
		return
	}
	if n := len(o.since[t]); n == 0 || o.since[t][n-1] != frame {
		o.since[t] = append(o.since[t], frame)
	}
	for c := range contacts {
		if contacts[c].channel != r.Channel {
			continue
		}
		last := &o.words[t][d][c]
		said := word{known: true, on: r.Value != 0, from: r.At, at: r.At}
		switch {
		case !last.known || !r.At.Before(last.at):
			if last.known && last.on == said.on {
				said.from = last.from
			}
			*last = said
			o.last[d][c] = said
		case w.verdict.PowerCuts > 0 && last.on != said.on && !r.At.Before(last.from):
			last.unsure = true // the log may have lost the later word, which was a repetition
			if said.on {
				o.told[t][c].turns++
			}
		}
		o.turn(t, c, r.At)
	}
}

// says is what the contacts of a tank say together.
func (o *oracle) says(t, c int) condition {
	all := off
	for d := range o.words[t] {
		switch said := &o.words[t][d][c]; {
		case !said.known:
		case said.unsure:
			all = unsure
		case said.on:
			return on
		}
	}
	return all
}

// anyUnsure: a device that was moved has not spoken since.
func (o *oracle) anyUnsure() bool {
	for t := range o.words {
		for c := range contacts {
			if o.says(t, c) == unsure || o.told[t][c].moved {
				return true
			}
		}
	}
	return false
}

// turn notes what a condition has come to by what was said of a time.
func (o *oracle) turn(t, c int, at time.Time) {
	x, now, onDelay := &o.told[t][c], o.w.now, contacts[c].onDelay
	next := o.says(t, c)
	if next == x.condition {
		return
	}
	surely := x.condition == on && next == off && !x.blurred && !x.moved
	switch a := o.alarm(t, c); {
	case next == on:
		x.turns++
		x.since, x.from, x.blurred = now, at, x.condition == unsure
	case surely && (now.Sub(x.since) >= onDelay || at.Sub(x.from) >= onDelay):
		// It lasted: the alarm was there, and stays for its off-delay.
		o.w.verdict.Turns++
		if a == nil || !a.Active {
			o.w.wrong("%s: the %s contact was on from %s to %s, since %s by the hub, and nobody was told", o.w.tanks[t].id, contacts[c].channel,
				x.from.Format(time.DateTime), at.Format(time.DateTime), x.since.Format(time.DateTime))
		}
	}
	x.condition = next
}

// alarm is the alarm of a condition as it was kept last.
func (o *oracle) alarm(t, c int) *alarm.Alarm {
	w := o.w
	step := o.alarms[w.sites[w.tanks[t].site].id]
	return step.Site.Find(alarm.Key{Code: contacts[c].code, Tank: w.tanks[t].id})
}

// moved makes unsure what a device said: what it said of one tank may count at the
// other until it speaks, or not.
func (o *oracle) moved(d, from, to int) {
	for _, t := range []int{from, to} {
		if t != none {
			o.since[t] = nil // what it needs again is another device's now
		}
	}
	for c := range contacts {
		last := o.last[d][c]
		if !last.known {
			continue
		}
		last.unsure = true
		for _, t := range []int{from, to} {
			if t != none {
				o.words[t][d][c] = last
				o.turn(t, c, o.w.now)
				o.told[t][c].moved = true
			}
		}
	}
}

// forgotten: what devices said that have moved away is forgotten by now.
func (o *oracle) forgotten() {
	for t := range o.words {
		for d := range o.words[t] {
			for c := range contacts {
				if o.w.devices[d].tank != t && o.words[t][d][c].known {
					o.words[t][d][c] = word{}
					o.turn(t, c, o.w.now)
				}
			}
		}
	}
}

// blur: the clock was set back.
func (o *oracle) blur() {
	for t := range o.told {
		for c := range contacts {
			o.told[t][c].blurred = true
		}
	}
}
