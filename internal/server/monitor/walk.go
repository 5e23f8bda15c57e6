package monitor

import (
	"context"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// walk takes a tank's account through recorded readings as if they came live.
type walk struct {
	tank *tank
	// seen is what people saw and the account has not heard of yet, in the order
	// of time.
	seen []account.Observation
	// told are the findings that began and ended on the way.
	told []account.Finding
	// notTaken counts what the account refused.
	notTaken int64
	// promised is the account of a device that says that it lives; nil: tank's is.
	promised *account.Account
}

// newWalk begins with a new account. Not every recorder writes down that it lives,
// and what is silent then says nothing; from the first time on that it does, it is
// held to it.
func newWalk(sheet *Sheet, began time.Time) (*walk, error) {
	const never = 0
	quiet, err := sheet.account(never)
	if err != nil {
		return nil, err
	}
	promised, err := sheet.account(quietAtMost)
	if err != nil {
		return nil, err
	}
	t := &tank{sheet: sheet, account: quiet, state: quiet.Begin(began), lasts: Lasts{}}
	t.recallPlain()
	return &walk{tank: t, promised: promised}, nil
}

// through goes on with readings in the order of time, none before those of the
// last call.
func (k *walk) through(readings []wire.Reading) {
	for i := range readings {
		r := &readings[i]
		k.until(r.At)
		k.pass(r.At)
		if r.Channel == channel.Heartbeat && k.promised != nil {
			k.tank.account, k.promised = k.promised, nil
		}
		changed, found, err := k.tank.hear(r)
		if err != nil {
			k.notTaken++
		}
		k.told = append(k.told, found...)
		if f, ok := k.tank.touched(r); ok && changed && unaccounted(f.Code) {
			k.told = append(k.told, f)
		}
	}
}

// longestNoted is the longest silence over which beliefs are noted hour by hour.
const longestNoted = 366 * 24 * time.Hour

// pass lets the account pass every full hour up to a time, to note what it
// believes there.
func (k *walk) pass(at time.Time) {
	t := k.tank
	if len(t.lasts) == 0 {
		return
	}
	if at.Sub(t.noted) > longestNoted {
		t.noted = at.Truncate(store.BeliefEvery)
	}
	for {
		// What came up to a moment ago is all that there is, to the account.
		past := t.noted.Add(store.BeliefEvery + account.ReorderWindow)
		if past.After(at) {
			return
		}
		k.told = append(k.told, t.account.Advance(&t.state, past)...)
		before := t.noted
		if t.note(); !t.noted.After(before) {
			t.noted = before.Add(store.BeliefEvery) // never the same hour again
		}
	}
}

// until lets the account hear what people saw up to a time.
func (k *walk) until(at time.Time) {
	for len(k.seen) > 0 && !k.seen[0].At.After(at) {
		k.pass(k.seen[0].At)
		found, err := k.tank.account.Observe(&k.tank.state, k.seen[0])
		if err != nil {
			k.notTaken++
		}
		k.told = append(k.told, found...)
		k.seen = k.seen[1:]
	}
}

// end lets time pass up to the end of the records.
func (k *walk) end(at time.Time) {
	k.until(at)
	k.pass(at)
	k.told = append(k.told, k.tank.account.Advance(&k.tank.state, at)...)
}

// each is every finding once, in the order in which they were found, as it ended
// or as it stood.
func each(told []account.Finding) []account.Finding {
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

// Told is what an account made of a recording.
type Told struct {
	// Findings are in the order in which they were found; those without an end
	// were open at the end of the records.
	Findings []account.Finding
	// Estimate is what was believed at the end.
	Estimate account.Estimate
	// NotTaken counts readings that the account refused.
	NotTaken int64
}

// replayedAtOnce is how many readings a replay takes between looks at the clock.
const replayedAtOnce = 5000

// Replay lets a new account of a tank work through a recording: readings in the
// order of time. Nothing is kept. progress may be nil.
func Replay(ctx context.Context, sheet *Sheet, readings []wire.Reading, progress func(done, total int)) (*Told, error) {
	if len(readings) == 0 {
		return &Told{}, nil
	}
	k, err := newWalk(sheet, readings[0].At)
	if err != nil {
		return nil, err
	}
	done := 0
	for batch := range slices.Chunk(readings, replayedAtOnce) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		k.through(batch)
		if done += len(batch); progress != nil {
			progress(done, len(readings))
		}
	}
	k.end(readings[len(readings)-1].At.Add(account.ReorderWindow))
	return &Told{Findings: each(k.told), Estimate: k.tank.account.Estimate(&k.tank.state), NotTaken: k.notTaken}, nil
}
