package api

import (
	"context"
	"reflect"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"

	"isohaline/internal/server/monitor"
)

// ReadingEvent is a reading by which a channel changed.
type ReadingEvent struct {
	TankID  string  `json:"tankId"`
	Channel string  `json:"channel"`
	Value   float64 `json:"value"`
	AtS     float64 `json:"atS" doc:"seconds since 1970, UTC"`
}

// FindingEvent is a finding that began or ended.
type FindingEvent struct {
	TankID  string  `json:"tankId"`
	Finding Finding `json:"finding"`
}

// AlarmEvent is an alarm that changed its state.
type AlarmEvent struct {
	Alarm Alarm `json:"alarm"`
}

// RoundsEvent is how Rounds reads now: when the stream opens, and whenever a
// finding or an alarm changes it.
type RoundsEvent struct {
	Rounds Rounds `json:"rounds"`
}

// roundsEvery is how often Rounds is sent at most, however much happens, and
// beatEvery how often at least, since figures move and a silent line may be dead.
const (
	roundsEvery = time.Second
	beatEvery   = time.Minute
)

// turnover tells everybody who looks on that who may see what has changed. The
// zero value is ready.
type turnover struct {
	mu   sync.Mutex
	next chan struct{}
}

// changed is closed at the next change.
func (t *turnover) changed() <-chan struct{} {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.next == nil {
		t.next = make(chan struct{})
	}
	return t.next
}

func (t *turnover) change() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.next != nil {
		close(t.next)
		t.next = nil
	}
}

// live sends what happens to one browser, until it goes, the feed ends, or who
// may see what has changed: a browser then asks again, and is asked who it is.
func (a *API) live(ctx context.Context, _ *struct{}, send sse.Sender) {
	person := personOf(ctx)
	changed := a.shown.changed()
	events, leave := a.monitor.Feed.Subscribe()
	defer leave()
	edges, leaveEdges := a.remote.Changes.Subscribe()
	defer leaveEdges()
	if send.Data(RoundsEvent{a.roundsFor(person)}) != nil {
		return
	}
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	var due <-chan time.Time // when Rounds is to be sent; nil: nothing new
	for {
		var err error
		select {
		case <-ctx.Done():
			return
		case <-changed:
			return
		case e, open := <-events:
			if !open {
				return
			}
			if !person.sees(e.SiteID) {
				continue
			}
			if e.Reading == nil && due == nil {
				due = time.After(roundsEvery)
			}
			err = send.Data(a.showEvent(&e))
		case tankID, open := <-edges:
			if !open {
				return
			}
			siteID, _ := a.monitor.SiteOfTank(tankID)
			if e, ok := a.showEdge(tankID); ok && person.sees(siteID) {
				err = send.Data(EdgeEvent{TankID: tankID, Edge: e})
			}
		case <-due:
			due = nil
			err = send.Data(RoundsEvent{a.roundsFor(person)})
		case <-beat.C:
			// Another server of the fleet may have made the change.
			if now, err := a.signedIn(ctx); err != nil || now == nil || !reflect.DeepEqual(now, person) {
				return
			}
			err = send.Data(RoundsEvent{a.roundsFor(person)})
		}
		if err != nil {
			return
		}
	}
}

func (a *API) showEvent(e *monitor.Event) any {
	switch {
	case e.Reading != nil:
		return ReadingEvent{TankID: e.TankID, Channel: e.Reading.Channel, Value: e.Reading.Value, AtS: seconds(e.Reading.At)}
	case e.Finding != nil:
		return FindingEvent{TankID: e.TankID, Finding: showFinding(e.Finding, a.now())}
	}
	return AlarmEvent{Alarm: a.showAlarm(e.SiteID, e.Alarm)}
}
