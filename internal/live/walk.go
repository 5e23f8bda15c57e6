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

// Walk takes a value of its own through recorded readings as if they came live. Unlike
// Step it changes that value as it goes. One goroutine may use it at a time.
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

// NewWalk returns a walk that begins with a new account of the sheet's tank. A
// recorder need not report heartbeats, and silence then means nothing; from the first
// heartbeat on, the account expects them. The error says what cannot be calculated.
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

// See adds observations by people, in any order. Each is taken at its own time.
func (k *Walk) See(seen ...account.Observation) {
	k.seen = append(k.seen, seen...)
	slices.SortStableFunc(k.seen, func(a, b account.Observation) int { return a.At.Compare(b.At) })
}

// Through takes readings in the order of time. None may be older than the newest of
// the call before.
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

// End lets time pass up to at, the end of the records.
func (k *Walk) End(at time.Time) {
	k.until(at)
	k.pass(at)
	k.advance(at)
	k.value.Entered, k.seen = append(k.value.Entered, k.seen...), nil
}

// Value returns the value that the walk has reached. The walk must not go on after it.
func (k *Walk) Value() *Value { return k.value }

// Beliefs returns the estimates that were noted on the way, one an hour.
func (k *Walk) Beliefs() []Belief { return k.changes.Beliefs }

// NotTaken returns how many readings and observations the account refused.
func (k *Walk) NotTaken() int { return k.notTaken }

// Told returns every beginning and end of a finding on the way. Of conditions it has
// only those for which the account has no finding of its own.
func (k *Walk) Told() []account.Finding {
	told := slices.Clone(k.changes.Findings)
	for _, f := range k.changes.Conditions {
		if ByContact(f.Code) {
			told = append(told, f)
		}
	}
	return told
}

// Findings returns each finding of the way once, as it ended or as it is now, in the
// order in which they were found.
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

// Recording is what an account found in a recording.
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

// Replay takes a new account of a tank through readings in the order of time, and
// keeps nothing: memory does not grow with them. total is how many there are, for
// progress, which is called with the readings done so far and may be nil. The error is
// ctx's, or says what cannot be calculated. Without readings the recording is empty.
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
