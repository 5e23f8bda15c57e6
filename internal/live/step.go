package live

import (
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// Tank is what does not change of a tank while readings come. It is only read, and may
// be shared by goroutines.
type Tank struct {
	ID, SiteID string
	// Name is what people call the tank, Zone what sentences about it say times
	// in; nil: UTC.
	Name string
	Zone *time.Location
	// Account keeps the tank's books; nil where its description cannot be read.
	// Then its contacts alone are heard.
	Account *account.Account
}

// Changes is what one step has changed, in the order in which it happened.
type Changes struct {
	// Findings of the account began or ended, Conditions that contacts tell; one
	// thing may be among both.
	Findings, Conditions []account.Finding
	Beliefs              []Belief
	// Said: a contact that is a condition by itself said something new of a device.
	// By another device's it may change nothing now, and all that is told later.
	Said bool
	// Turned are readings by which a channel's value changed.
	Turned []*wire.Reading
	// Refused are readings that the account does not take. They stay readings.
	Refused []Refusal
}

// Quiet reports whether the step changed nothing that people are told now or may be
// told later.
func (c *Changes) Quiet() bool {
	return len(c.Findings)+len(c.Conditions) == 0 && !c.Said
}

// Refusal is a reading that the account does not take, and why. The reading is still
// kept.
type Refusal struct {
	Reading *wire.Reading
	Err     error
}

// Belief is the account's estimate at a full hour in UTC.
type Belief struct {
	At time.Time
	account.Estimate
}

// BeliefEvery is the interval at which an estimate is noted.
const BeliefEvery = time.Hour

// Begin returns the value of a tank of which nothing has been heard before now.
func (t *Tank) Begin(now time.Time) *Value {
	v := &Value{Last: Lasts{}, Conditions: map[account.Code]time.Time{}}
	if t.Account != nil {
		v.Account = t.Account.Begin(now)
	}
	return v
}

// Adopt returns the value of a tank that had no account and has one now: contacts and
// channels stay, the account begins at now.
func (t *Tank) Adopt(v *Value, now time.Time) *Value {
	next := v.clone()
	next.Account = t.Account.Begin(now)
	return next
}

// Bare returns the value without the account's state, which is zero in it.
func (v *Value) Bare() *Value {
	bare := *v
	bare.Account = account.State{}
	return &bare
}

// Step takes readings in, in the order in which they came, and then lets time pass up
// to now: everything that the tank reported up to then must be among the readings or
// have come before. A zero now lets no time pass. It returns the next value and what
// has changed; v stays as it was. Readings that the account refuses are in
// Changes.Refused.
func (t *Tank) Step(v *Value, readings []*wire.Reading, now time.Time) (*Value, Changes) {
	if len(readings) == 0 && now.IsZero() {
		return v, Changes{}
	}
	s := stepper{tank: t, value: v.clone()}
	for _, r := range readings {
		s.hear(r)
	}
	if !now.IsZero() {
		s.advance(now)
	}
	return s.value, s.changes
}

// Hear takes in what a person saw; known is up to when everything that the tank
// said has come. An observation that cannot be true is refused with an error and
// changes nothing.
func (t *Tank) Hear(v *Value, o account.Observation, known time.Time) (*Value, Changes, error) {
	if t.Account == nil {
		return v, Changes{}, nil
	}
	s := stepper{tank: t, value: v.clone()}
	found, err := t.Account.Observe(&s.value.Account, o)
	if err != nil {
		return v, Changes{}, err
	}
	if o.At.After(known) {
		// To the account all that is still to come would be late: it waits.
		next := v.clone()
		next.Entered = append(next.Entered, o)
		return next, Changes{}, nil
	}
	s.changes.Findings = found
	return s.value, s.changes, nil
}

// Forget drops the contacts of devices that no longer report on the tank, and ends at
// now the conditions that only they reported; reports says whether a device still
// does. It returns v itself where there is nothing to drop.
func (t *Tank) Forget(v *Value, reports func(device string) bool, now time.Time) (*Value, Changes) {
	gone := func(w Word) bool { return !reports(w.Device) }
	if !slices.ContainsFunc(v.Contacts, gone) {
		return v, Changes{}
	}
	s := stepper{tank: t, value: v.clone()}
	s.value.Contacts = slices.DeleteFunc(s.value.Contacts, gone)
	for i := range conditions {
		if f := s.value.turn(t, &conditions[i], now); f != nil {
			s.changes.Conditions = append(s.changes.Conditions, *f)
		}
	}
	return s.value, s.changes
}

// Open returns the codes of the findings and conditions that have not ended.
func (v *Value) Open() map[account.Code]bool {
	open := map[account.Code]bool{}
	for code := range v.Conditions {
		open[code] = true
	}
	for i := range v.Account.Open {
		open[v.Account.Open[i].Code] = true
	}
	return open
}

// Findings returns the findings that have not ended, with their present figures. Where
// the account and a contact have the same code, it is the account's.
func (t *Tank) Findings(v *Value) []account.Finding {
	var all []account.Finding
	if t.Account != nil {
		all = t.Account.Findings(&v.Account)
	}
	for i := range conditions {
		c := &conditions[i]
		since, there := v.Conditions[c.code]
		if there && !slices.ContainsFunc(all, func(f account.Finding) bool { return f.Code == c.code }) {
			all = append(all, c.finding(t, since))
		}
	}
	return all
}

// Estimate returns the account's present estimate; zero without an account.
func (t *Tank) Estimate(v *Value) account.Estimate {
	if t.Account == nil {
		return account.Estimate{}
	}
	return t.Account.Estimate(&v.Account)
}

// stepper is one step at work on a value of its own.
type stepper struct {
	tank    *Tank
	value   *Value
	changes Changes
}

// hear takes one reading in.
func (s *stepper) hear(r *wire.Reading) {
	v := s.value
	if len(v.Last) == 0 {
		v.Noted = r.At.Truncate(BeliefEvery) // nothing was believed before
	}
	changed := v.Last.take(r)
	if changed {
		s.changes.Turned = append(s.changes.Turned, r)
	}
	f, news := v.take(s.tank, r)
	s.changes.Said = s.changes.Said || news
	if f != nil {
		s.changes.Conditions = append(s.changes.Conditions, *f)
	}
	o, ok := channel.Observation(r, v.Last.value)
	// A contact may be repeated as often as a device likes; what counts is the
	// turn.
	if !ok || s.tank.Account == nil || r.Channel == channel.TopOffPump && !changed {
		return
	}
	found, err := s.tank.Account.Observe(&v.Account, o)
	if err != nil {
		s.changes.Refused = append(s.changes.Refused, Refusal{r, err})
	}
	s.found(found...)
	s.note()
}

// advance lets time pass.
func (s *stepper) advance(now time.Time) {
	if s.tank.Account == nil {
		return
	}
	waiting := s.value.Entered
	s.value.Entered = nil
	for _, o := range waiting {
		if o.At.After(now) {
			s.value.Entered = append(s.value.Entered, o)
			continue
		}
		found, _ := s.tank.Account.Observe(&s.value.Account, o) // it was not refused when it was entered
		s.found(found...)
	}
	s.found(s.tank.Account.Advance(&s.value.Account, now)...)
	s.note()
}

func (s *stepper) found(f ...account.Finding) {
	s.changes.Findings = append(s.changes.Findings, f...)
}

// note notes what the account believes when it has passed a full hour. An account
// that has heard nothing believes nothing worth noting.
func (s *stepper) note() {
	v := s.value
	hour := v.Account.At.Truncate(BeliefEvery)
	if len(v.Last) == 0 || !hour.After(v.Noted) {
		return
	}
	v.Noted = hour
	s.changes.Beliefs = append(s.changes.Beliefs, Belief{hour, s.tank.Account.Estimate(&v.Account)})
}
