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

// BeatEvent is a sign of life: when the stream opens, and every minute, since a
// silent line may be dead. Whoever shows more than the stream brings asks for it
// again, because what the stream did not bring may have changed too.
type BeatEvent struct {
	At time.Time `json:"at"`
}

// roundsEvery is how often changes of Rounds are sent at most, however much happens,
// and beatEvery how often at least, since figures move.
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

type liveIn struct {
	Tank string `query:"tank" maxLength:"64" example:"lobby-reef" doc:"what happens at this tank: readings, findings, alarms, its edge"`
	View string `query:"view" enum:"rounds,alarms" doc:"Rounds and its changes, or the alarms of all tanks"`
}

// Views of the live updates.
const (
	roundsView = "rounds"
	alarmsView = "alarms"
)

// wants says whether a browser needs an event for what it looks at.
func (in *liveIn) wants(e *monitor.Event) bool {
	switch {
	case in.Tank != "" && e.TankID == in.Tank:
		return true
	case in.View == roundsView:
		return e.Reading == nil
	case in.View == alarmsView:
		return e.Alarm != nil
	}
	return false
}

// live sends one browser what happens where it looks, until it goes, the feed ends,
// or who may see what has changed: a browser then asks again, and is asked who it
// is. A browser that is slow gets the latest of everything, and less in between.
func (a *API) live(ctx context.Context, in *liveIn, send sse.Sender) {
	person := personOf(ctx)
	changed := a.shown.changed()
	events := a.monitor.Feed.Subscribe(func(e monitor.Event) bool { return in.wants(&e) && person.sees(e.SiteID) })
	defer events.Leave()
	edges := a.remote.Changes.Subscribe(func(tankID string) bool { return tankID == in.Tank })
	defer edges.Leave()
	list := roundsList{a: a, person: person, send: send}
	beat := func() error {
		if in.View == roundsView {
			if err := list.whole(); err != nil {
				return err
			}
		}
		return send.Data(BeatEvent{a.now()})
	}
	if beat() != nil {
		return
	}
	beats := time.NewTicker(beatEvery)
	defer beats.Stop()
	var due <-chan time.Time // when changes of Rounds are to be sent; nil: there are none
	for {
		var err error
		select {
		case <-ctx.Done():
			return
		case <-changed:
			return
		case _, open := <-events.Ready():
			if !open {
				return
			}
			for _, e := range events.Take() {
				if in.View == roundsView && e.Reading == nil {
					list.touch(e.TankID)
					if due == nil {
						due = time.After(roundsEvery)
					}
				}
				if shown := a.showEvent(&e); shown != nil && err == nil && (in.View != roundsView || e.TankID == in.Tank) {
					err = send.Data(shown)
				}
			}
		case _, open := <-edges.Ready():
			if !open {
				return
			}
			for _, tankID := range edges.Take() {
				if e, ok := a.showEdge(tankID); ok && err == nil {
					err = send.Data(EdgeEvent{TankID: tankID, Edge: e})
				}
			}
		case <-due:
			due = nil
			err = list.changes()
		case <-beats.C:
			// Another server of the fleet may have made the change.
			if now, err := a.signedIn(ctx); err != nil || now == nil || !reflect.DeepEqual(now, person) {
				return
			}
			err = beat()
		}
		if err != nil {
			return
		}
	}
}

// tellTank tells whoever looks that what is known of a tank as such has changed.
func (a *API) tellTank(v *monitor.View) {
	e := monitor.Event{TankID: v.ID, SiteID: v.SiteID}
	a.monitor.Feed.Publish(e.Topic(), e)
}

// showEvent is an event as browsers get it, nil where there is nothing to show.
func (a *API) showEvent(e *monitor.Event) any {
	switch {
	case e.Reading != nil:
		return ReadingEvent{TankID: e.TankID, Channel: e.Reading.Channel, Value: e.Reading.Value, AtS: seconds(e.Reading.At)}
	case e.Finding != nil:
		return FindingEvent{TankID: e.TankID, Finding: showFinding(e.Finding, a.now())}
	case e.Alarm != nil:
		return AlarmEvent{Alarm: a.showAlarm(e.SiteID, e.Alarm)}
	}
	return nil
}
