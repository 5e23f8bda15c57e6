package alarm

import (
	"fmt"
	"slices"
	"time"
)

// Settings is what a site's alarms are judged by.
type Settings struct {
	// Kinds is the catalogue, which has passed CheckKinds.
	Kinds []Kind
	// Devices is how many devices the site has, for kinds that gather: when
	// every one of two or more has the gathered alarm's condition, the site has
	// it.
	Devices int
}

// Site is every alarm of one site, in the order of their keys, and when it was
// last stepped. The zero Site has no alarms. A condition that once was an alarm
// stays listed as normal.
type Site struct {
	Alarms []Alarm
	Last   time.Time
}

// Find is the alarm with this key, nil if the site has none.
func (st *Site) Find(key Key) *Alarm {
	if i, found := st.search(key); found {
		return &st.Alarms[i]
	}
	return nil
}

func (st *Site) search(key Key) (int, bool) {
	return slices.BinarySearchFunc(st.Alarms, key, func(a Alarm, k Key) int { return a.Key.compare(k) })
}

// Step takes a site's alarms through everything that time brought since they
// were last stepped, each at its own time, and then through one event now. It
// returns the alarms as they are, leaving the ones it was given untouched, and
// every change with its reason. It is total: every event has an answer, also
// with a clock that was set back.
func Step(s *Settings, st Site, e Event, now time.Time) (Site, []Transition) {
	b := book{settings: s, site: Site{Alarms: slices.Clone(st.Alarms), Last: st.Last}}
	b.forget(now)
	for i := range b.site.Alarms {
		b.site.Alarms[i].believe(now)
	}
	// Each alarm has few timers and each runs out once, so this ends.
	for {
		next := Deadline(s, b.site)
		if next.IsZero() || next.After(now) {
			break
		}
		b.settle(next)
	}
	b.take(e, now)
	b.gather(now)
	b.settle(now)
	return b.site, b.said
}

// Deadline is when Step next has something to do without an event, zero if
// never.
func Deadline(s *Settings, st Site) time.Time {
	var first time.Time
	for i := range st.Alarms {
		a := &st.Alarms[i]
		kind := find(s.Kinds, a.Code)
		if kind == nil {
			continue
		}
		if t := a.deadline(kind, st.Last); !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}

// book is one Step at work.
type book struct {
	settings *Settings
	site     Site
	said     []Transition
}

// forget lets go of alarms whose kind is no longer in the catalogue.
func (b *book) forget(now time.Time) {
	b.drop(func(a *Alarm) bool { return find(b.settings.Kinds, a.Code) == nil }, Forgotten, now)
}

func (b *book) drop(gone func(*Alarm) bool, why Reason, now time.Time) {
	b.site.Alarms = slices.DeleteFunc(b.site.Alarms, func(a Alarm) bool {
		if !gone(&a) {
			return false
		}
		b.said = append(b.said, Transition{Key: a.Key, From: a.State(), To: Normal, Reason: why, At: now, Priority: a.Priority})
		return true
	})
}

// Forget lets go of the alarms of tanks that are no longer watched, and leaves the
// alarms it was given untouched. An alarm of the whole site has an empty tank.
func Forget(st Site, watched func(tank string) bool, now time.Time) (Site, []Transition) {
	b := book{site: Site{Alarms: slices.Clone(st.Alarms), Last: st.Last}}
	b.drop(func(a *Alarm) bool { return !watched(a.Tank) }, Unwatched, now)
	return b.site, b.said
}

// kind is the kind of an alarm of this site.
func (b *book) kind(a *Alarm) *Kind { return find(b.settings.Kinds, a.Code) }

// say records a change of an alarm that was in a state.
func (b *book) say(a *Alarm, from State, why Reason, by string, now time.Time) {
	t := Transition{Key: a.Key, From: from, To: a.State(), Reason: why, At: now, By: by, Priority: a.Priority}
	if t.To == SuppressedByDesign {
		t.Cause = a.Cause
	}
	if t.To == Shelved {
		t.Until = a.ShelvedUntil
	}
	b.said = append(b.said, t)
}

// take lets one event do what it does.
func (b *book) take(e Event, now time.Time) {
	var why Reason
	var state State
	switch e.Do {
	case Tick:
		b.lasted(&e, now)
	case Raise, Clear:
		why = b.report(&e, now)
	default:
		state, why = b.ask(&e, now)
	}
	if why.Refused() {
		b.said = append(b.said, Transition{Key: e.Key, From: state, To: state, Reason: why, At: now, By: e.By})
	}
}

// report takes in what is reported of a condition, and returns a refusal or "".
func (b *book) report(e *Event, now time.Time) Reason {
	kind := find(b.settings.Kinds, e.Key.Code)
	switch {
	case kind == nil:
		return RefusedUnknownKind
	case kind.Gathers != "":
		return RefusedGathered
	case e.Do == Raise && e.Class > 0:
		a := b.present(e.Key, true, now)
		a.Sentence, a.Class = e.Sentence, min(e.Class, worstClass)
		a.HarmAt = harmAt(a.Class, e.HarmIn, now)
	default:
		b.lasted(e, now)
		b.present(e.Key, false, now)
	}
	return ""
}

// lasted lets a condition that still waits for its on-delay be an alarm, where it
// was there for as long.
func (b *book) lasted(e *Event, now time.Time) {
	a := b.site.Find(e.Key)
	if a != nil && a.Present && !a.Active && e.Lasted >= b.kind(a).OnDelay {
		a.activate()
		b.settle(now)
	}
}

// present says whether the condition of an alarm is there, and returns the
// alarm; nil for an alarm that never was and is not.
func (b *book) present(key Key, present bool, now time.Time) *Alarm {
	i, known := b.site.search(key)
	switch {
	case !known && !present:
		return nil
	case !known:
		b.site.Alarms = slices.Insert(b.site.Alarms, i, Alarm{Key: key})
	}
	a := &b.site.Alarms[i]
	if a.Present != present {
		a.Present, a.Turned = present, now
	}
	return a
}

// harmAt is when harm comes, zero for never. A class that is harm to animals or
// a building, with harm that never comes, contradicts itself: it is read as
// harm now.
func harmAt(class int, in time.Duration, now time.Time) time.Time {
	const animalsAtRisk = 3
	switch {
	case in >= 0:
		return now.Add(in)
	case class >= animalsAtRisk:
		return now
	}
	return time.Time{}
}

// ask lets a person ask something of an alarm, and returns the state it was in
// and what came of it.
func (b *book) ask(e *Event, now time.Time) (State, Reason) {
	a := b.site.Find(e.Key)
	if a == nil {
		return Normal, RefusedNoAlarm
	}
	from := a.State()
	if e.By == "" {
		return from, RefusedNoPerson
	}
	why := RefusedUnknownAction
	switch e.Do {
	case Acknowledge:
		var to State
		if to, why = from.acknowledge(); !why.Refused() {
			a.Live, a.AckedBy = to, e.By
		}
	case Reset:
		var to State
		if to, why = from.reset(); !why.Refused() {
			a.Live = to
		}
	case Shelve:
		why = a.shelve(e.By, e.For, now)
	case TakeOut:
		why = RefusedOutOfService
		if a.OutBy == "" {
			a.OutBy, why = e.By, TakenOut
		}
	case Unshelve:
		if a.ShelvedUntil.IsZero() {
			return from, RefusedNotShelved
		}
		b.emerge(a, UnshelvedByPerson, e.By, now, a.unshelve)
		return from, UnshelvedByPerson
	case PutBackIn:
		if a.OutBy == "" {
			return from, RefusedInService
		}
		b.emerge(a, PutBack, e.By, now, func() { a.OutBy = "" })
		return from, PutBack
	}
	if !why.Refused() {
		b.say(a, from, why, e.By, now)
	}
	return from, why
}

// emerge takes one thing away that hides an alarm, and lets it show itself if
// nothing else hides it.
func (b *book) emerge(a *Alarm, why Reason, by string, now time.Time, lift func()) {
	from := a.State()
	lift()
	if !a.hidden() {
		a.follow(b.kind(a), why, now)
	}
	if a.State() != from {
		b.say(a, from, why, by, now)
	}
}

// gather raises and clears the kinds that stand for every device of the site.
func (b *book) gather(now time.Time) {
	for i := range b.settings.Kinds {
		kind := &b.settings.Kinds[i]
		if kind.Gathers == "" {
			continue
		}
		var count, class int
		var harm time.Time // the soonest
		for j := range b.site.Alarms {
			a := &b.site.Alarms[j]
			if a.Code != kind.Gathers || !a.Present || a.OutBy != "" {
				continue
			}
			count++
			class = max(class, a.Class)
			if harm.IsZero() || !a.HarmAt.IsZero() && a.HarmAt.Before(harm) {
				harm = a.HarmAt
			}
		}
		const several = 2 // one device alone is no site
		all := count >= several && count >= b.settings.Devices && b.settings.Devices > 0
		if a := b.present(Key{Code: kind.Code}, all, now); a != nil && all {
			a.Sentence, a.Class, a.HarmAt = fmt.Sprintf("%s: all %d devices.", kind.Title, count), class, harm
		}
	}
}

// settle brings every alarm up to now: conditions first, then what hides what,
// then what shows.
func (b *book) settle(now time.Time) {
	b.site.Last = now
	for i := range b.site.Alarms {
		a := &b.site.Alarms[i]
		a.age(b.kind(a), now)
	}
	for i := range b.site.Alarms {
		a := &b.site.Alarms[i]
		b.silence(a, b.cause(a), now)
	}
	for i := range b.site.Alarms {
		a := &b.site.Alarms[i]
		switch {
		case a.ShelvedUntil.IsZero():
		case a.Priority > a.ShelvedAt:
			b.emerge(a, ShelfOutranked, "", now, a.unshelve)
		case !a.ShelvedUntil.After(now):
			b.emerge(a, ShelfEnded, "", now, a.unshelve)
		}
	}
	for i := range b.site.Alarms {
		a := &b.site.Alarms[i]
		if a.hidden() {
			continue
		}
		from := a.State()
		if why := a.follow(b.kind(a), "", now); why != "" {
			b.say(a, from, why, "", now)
		}
	}
}

// silence lets a cause, or none, have its effect on an alarm.
func (b *book) silence(a *Alarm, cause Key, now time.Time) {
	switch {
	case cause == a.Cause:
	case cause == Key{}:
		b.emerge(a, CauseGone, "", now, func() { a.Cause = Key{} })
	default:
		from := a.State()
		a.Cause = cause
		if a.State() != from {
			b.say(a, from, CauseUp, "", now)
		}
	}
}

// cause is the first alarm, in the order its kind names them, that is up, is
// somewhere that covers this one, and is no less urgent; the zero Key if none.
func (b *book) cause(a *Alarm) Key {
	for _, code := range b.kind(a).SilencedBy {
		for i := range b.site.Alarms {
			c := &b.site.Alarms[i]
			if c.Code == code && c.up(b.kind(c)) && c.Key.covers(a.Key) && c.Priority >= a.Priority {
				return c.Key
			}
		}
	}
	return Key{}
}
