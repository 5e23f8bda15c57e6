package api

import (
	"cmp"
	"encoding/json"
	"hash/maphash"
	"maps"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"

	"isohaline/internal/account"
	"isohaline/internal/server/monitor"
)

// RoundsEvent is Rounds, when the stream opens, and then what has changed of it. An
// event whose time is before that of the list that a browser has is overtaken.
type RoundsEvent struct {
	At         time.Time  `json:"at"`
	Whole      bool       `json:"whole" doc:"this is the whole list: nothing of what a browser had stays"`
	NeedPerson []RoundRow `json:"needPerson" doc:"tanks that need a person, new or changed; order has theirs"`
	Quiet      []Quiet    `json:"quiet" doc:"tanks that need nobody, new or changed, by name"`
	Gone       []string   `json:"gone" doc:"tanks that are no longer among those to be seen"`
	Order      []string   `json:"order" doc:"all tanks that need a person, worst first"`
}

// roundsList is what one browser has of Rounds.
type roundsList struct {
	a      *API
	person *Person
	send   sse.Sender
	sent   map[string]sentRow // by tank
	due    map[string]bool    // the tanks of which something may have changed
}

// sentRow is a row that a browser has: what it said, and the finding that puts it in
// its place, nil for a quiet tank.
type sentRow struct {
	sum   uint64
	worst *account.Finding
}

// rowSeed is of the sums that tell whether a row has changed.
var rowSeed = maphash.MakeSeed()

func (l *roundsList) touch(tankID string) {
	if l.due == nil {
		l.due = map[string]bool{}
	}
	l.due[tankID] = true
}

// whole sends the whole list the first time, and then what has changed since it was
// sent.
func (l *roundsList) whole() error {
	first := l.sent == nil
	e := l.event(first)
	seen := map[string]bool{}
	for _, v := range l.a.monitor.Tanks() {
		if l.person.sees(v.SiteID) {
			seen[v.ID] = true
			l.put(&e, &v)
		}
	}
	for id := range l.sent {
		if !seen[id] {
			l.drop(&e, id)
		}
	}
	return l.deliver(&e)
}

// changes sends what has changed of the tanks that were touched.
func (l *roundsList) changes() error {
	e := l.event(false)
	for id := range l.due {
		if v, known := l.a.monitor.Tank(id); known && l.person.sees(v.SiteID) {
			l.put(&e, &v)
		} else {
			l.drop(&e, id)
		}
	}
	return l.deliver(&e)
}

func (l *roundsList) event(whole bool) RoundsEvent {
	if l.sent == nil {
		l.sent = map[string]sentRow{}
	}
	return RoundsEvent{At: l.a.now(), Whole: whole, NeedPerson: []RoundRow{}, Quiet: []Quiet{}, Gone: []string{}}
}

// put puts a tank's row into an event unless the browser has it.
func (l *roundsList) put(e *RoundsEvent, v *monitor.View) {
	if needsPerson(v) {
		if row := l.a.roundRow(v, e.At); l.changed(v.ID, row, &v.Findings[0]) {
			e.NeedPerson = append(e.NeedPerson, row)
		}
	} else if row := l.a.quiet(v); l.changed(v.ID, row, nil) {
		e.Quiet = append(e.Quiet, row)
	}
}

func (l *roundsList) drop(e *RoundsEvent, tankID string) {
	if _, has := l.sent[tankID]; has {
		delete(l.sent, tankID)
		e.Gone = append(e.Gone, tankID)
	}
}

// changed notes a row as sent and says whether it is another than before. One that
// cannot be compared counts as changed.
func (l *roundsList) changed(tankID string, row any, worst *account.Finding) bool {
	text, err := json.Marshal(row)
	next := sentRow{maphash.Bytes(rowSeed, text), worst}
	before, has := l.sent[tankID]
	l.sent[tankID] = next
	return err != nil || !has || before.sum != next.sum || (before.worst == nil) != (worst == nil)
}

// deliver puts an event in order and sends it, unless it says nothing new.
func (l *roundsList) deliver(e *RoundsEvent) error {
	l.due = nil
	if !e.Whole && len(e.NeedPerson)+len(e.Quiet)+len(e.Gone) == 0 {
		return nil
	}
	e.Order = []string{}
	for _, id := range slices.Sorted(maps.Keys(l.sent)) {
		if l.sent[id].worst != nil {
			e.Order = append(e.Order, id)
		}
	}
	slices.SortStableFunc(e.Order, func(x, y string) int { return monitor.Worse(l.sent[x].worst, l.sent[y].worst) })
	slices.SortStableFunc(e.Quiet, func(x, y Quiet) int { return cmp.Compare(x.Tank.Name, y.Tank.Name) })
	slices.Sort(e.Gone)
	return l.send.Data(*e)
}
