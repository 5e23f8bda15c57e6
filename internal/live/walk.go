package live

import (
	"context"
	"iter"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// Walk takes a new value of a tank through recorded readings as if they came
// live. Unlike a Step it changes its own value as it goes.
type Walk struct {
	stepper
	// seen is what people saw and the account has not heard of yet, in the order
	// of time.
	seen []account.Observation
	// promised is the account of a device that says that it lives; nil: the tank's
	// is.
	promised *account.Account
	notTaken int
}

// NewWalk begins with a new account of a sheet's tank. Not every recorder writes
// down that it lives, and what is silent then says nothing; from the first time on
// that it does, it is held to it.
func NewWalk(sheet *Sheet, began time.Time) (*Walk, error) {
	const never = 0
	quiet, err := sheet.account(never)
	if err != nil {
		return nil, err
	}
	promised, err := sheet.account(quietAtMost)
	if err != nil {
		return nil, err
	}
	t := &Tank{Name: sheet.Tank.Name, Zone: sheet.Zone, Account: quiet}
	return &Walk{stepper: stepper{tank: t, value: t.Begin(began)}, promised: promised}, nil
}

// See adds what people saw, to be heard at its time.
func (k *Walk) See(seen ...account.Observation) {
	k.seen = append(k.seen, seen...)
	slices.SortStableFunc(k.seen, func(a, b account.Observation) int { return a.At.Compare(b.At) })
}

// Through goes on with readings in the order of time, none before those of the
// last call.
func (k *Walk) Through(readings []wire.Reading) {
	for i := range readings {
		r := &readings[i]
		k.until(r.At)
		k.pass(r.At)
		if r.Channel == channel.Heartbeat && k.promised != nil {
			k.tank.Account, k.promised = k.promised, nil
		}
		k.hear(r)
	}
	k.notTaken += len(k.changes.Refused)
	k.changes.Refused, k.changes.Turned = nil, nil
}

// longestNoted is the longest silence over which beliefs are noted hour by hour.
const longestNoted = 366 * 24 * time.Hour

// pass lets the account pass every full hour up to a time, to note what it
// believes there.
func (k *Walk) pass(at time.Time) {
	v := k.value
	if len(v.Last) == 0 {
		return
	}
	if at.Sub(v.Noted) > longestNoted {
		v.Noted = at.Truncate(BeliefEvery)
	}
	for {
		// What came up to a moment ago is all that there is, to the account.
		past := v.Noted.Add(BeliefEvery + account.ReorderWindow)
		if past.After(at) {
			return
		}
		before := v.Noted
		if k.advance(past); !v.Noted.After(before) {
			v.Noted = before.Add(BeliefEvery) // never the same hour again
		}
	}
}

// until lets the account hear what people saw up to a time.
func (k *Walk) until(at time.Time) {
	for len(k.seen) > 0 && !k.seen[0].At.After(at) {
		k.pass(k.seen[0].At)
		found, err := k.tank.Account.Observe(&k.value.Account, k.seen[0])
		if err != nil {
			k.notTaken++
		}
		k.found(found...)
		k.seen = k.seen[1:]
	}
}

// End lets time pass up to the end of the records. What people saw after that waits.
func (k *Walk) End(at time.Time) {
	k.until(at)
	k.pass(at)
	k.advance(at)
	k.value.Entered, k.seen = append(k.value.Entered, k.seen...), nil
}

// Value is where the walk has come to. The walk must not go on after it.
func (k *Walk) Value() *Value { return k.value }

// Beliefs are what was believed on the way, hour by hour.
func (k *Walk) Beliefs() []Belief { return k.changes.Beliefs }

// NotTaken counts observations that the account refused.
func (k *Walk) NotTaken() int { return k.notTaken }

// Told is every beginning and end of a finding on the way. Of what a contact says
// by itself there are those that the account has no finding for.
func (k *Walk) Told() []account.Finding {
	told := slices.Clone(k.changes.Findings)
	for _, f := range k.changes.Conditions {
		if ByContact(f.Code) {
			told = append(told, f)
		}
	}
	return told
}

// Findings is every finding of the way once, in the order in which they were
// found, as it ended or as it stands.
func (k *Walk) Findings() []account.Finding {
	told := k.Told()
	var out []account.Finding
	for i := range told {
		f := &told[i]
		same := func(g account.Finding) bool { return g.Code == f.Code && g.Found.Equal(f.Found) }
		if at := slices.IndexFunc(out, same); at >= 0 {
			out[at] = *f
		} else {
			out = append(out, *f)
		}
	}
	slices.SortStableFunc(out, func(a, b account.Finding) int { return a.Found.Compare(b.Found) })
	return out
}

// Recording is what an account made of a recording.
type Recording struct {
	// Findings are in the order in which they were found; those without an end
	// were open at the end of the records.
	Findings []account.Finding
	// Estimate is what was believed at the end.
	Estimate account.Estimate
	// NotTaken counts readings that the account refused.
	NotTaken int
}

// replayedAtOnce is how many readings a replay takes between looks at the clock.
const replayedAtOnce = 5000

// Replay lets a new account of a tank work through a recording of so many readings,
// in the order of time. Nothing is kept. progress may be nil.
func Replay(ctx context.Context, sheet *Sheet, total int, readings iter.Seq[wire.Reading], progress func(done, total int)) (*Recording, error) {
	var k *Walk
	var last time.Time
	done, batch := 0, make([]wire.Reading, 0, min(total, replayedAtOnce))
	through := func() error {
		if err := ctx.Err(); err != nil || len(batch) == 0 {
			return err
		}
		if k == nil {
			var err error
			if k, err = NewWalk(sheet, batch[0].At); err != nil {
				return err
			}
		}
		k.Through(batch)
		k.changes.Beliefs = nil // nobody asks for them, and they grow with the recording
		last = batch[len(batch)-1].At
		if done += len(batch); progress != nil {
			progress(done, total)
		}
		batch = batch[:0]
		return nil
	}
	for r := range readings {
		if batch = append(batch, r); len(batch) == replayedAtOnce {
			if err := through(); err != nil {
				return nil, err
			}
		}
	}
	if err := through(); err != nil {
		return nil, err
	}
	if k == nil {
		return &Recording{}, nil
	}
	k.End(last.Add(account.ReorderWindow))
	return &Recording{Findings: k.Findings(), Estimate: k.tank.Estimate(k.value), NotTaken: k.notTaken}, nil
}
