package monitor

import (
	"encoding/json"
	"fmt"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// quietAtMost is how often a device says something at least: the account counts
// one as silent after a few times that. Common practice, no source.
const quietAtMost = 15 * time.Minute

// longestBudget is no limit at all, to the account.
const longestBudget = 24 * time.Hour

// tank is one tank under watch.
type tank struct {
	id, siteID string
	sheet      *Sheet
	account    *account.Account
	state      account.State
	lasts      Lasts
	// plain are the conditions that contacts tell by themselves, by code.
	plain map[account.Code]account.Finding
	// saved is the state as the store has it.
	saved []byte
	// meanwhile is what came while the tank's records are worked through again;
	// nil: they are not.
	meanwhile *meanwhile
	// beliefs are those that were noted and are not in the store yet, noted is
	// the full hour of the last one.
	beliefs []store.Belief
	noted   time.Time
	// anew: they take the place of those since then, because the account has
	// worked through its readings again; zero: they do not.
	anew time.Time
}

// begin takes up a tank from what the store has of it; nothing for a new one.
// What cannot be read, because another version of the program wrote it, is begun
// afresh: unread says why.
func (t *tank) begin(sheet *Sheet, saved []byte, now time.Time) (unread, err error) {
	a, err := sheet.account(quietAtMost)
	if err != nil {
		return nil, fmt.Errorf("tank %s: %w", t.id, err)
	}
	t.sheet, t.account = sheet, a
	t.recallPlain()
	if len(saved) > 0 {
		t.saved = saved
		if unread = t.restore(); unread == nil {
			return nil, nil
		}
	}
	t.state, t.saved = a.Begin(now), nil
	return unread, nil
}

// restore goes back to what the store has.
func (t *tank) restore() error {
	if len(t.saved) == 0 {
		return nil
	}
	t.state = account.State{}
	if err := json.Unmarshal(t.saved, &t.state); err != nil {
		return fmt.Errorf("tank %s: reading its saved account: %w", t.id, err)
	}
	return nil
}

// hear lets the account take a reading. What it refuses is no reason to stop:
// the reading stays in the store and the refusal is returned to be counted.
func (t *tank) hear(r *wire.Reading) (changed bool, told []account.Finding, err error) {
	if len(t.lasts) == 0 {
		t.noted = r.At.Truncate(store.BeliefEvery) // nothing was believed before
	}
	changed = t.lasts.take(r)
	o, ok := channel.Observation(r, t.lasts.value)
	// A contact may be repeated as often as a device likes; what counts is the
	// turn.
	if !ok || r.Channel == channel.TopOffPump && !changed {
		return changed, nil, nil
	}
	told, err = t.account.Observe(&t.state, o)
	return changed, told, err
}

// place is a site with its alarms.
type place struct {
	id, name string
	tanks    []string
	alarms   alarm.Site
	// record is who was told of them, toTell who is to be, and decideAt when
	// that has to be asked next; zero: not until something happens.
	record   alarm.Record
	toTell   Plan
	zone     *time.Location
	decideAt time.Time
}

func (p *place) settings() *alarm.Settings {
	return &alarm.Settings{Kinds: kinds, Devices: len(p.tanks)}
}

// kinds is the catalogue of alarms, made once.
var kinds = alarm.Kinds()
