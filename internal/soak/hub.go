package soak

import (
	"context"
	"fmt"
	"time"

	"isohaline/internal/edge/requests"
	"isohaline/internal/server/remote"
	"isohaline/internal/wire"
)

const tankID = "tank"

var edgeID = wire.DeviceID{Site: "site", Device: "edge"}

// startHub starts a hub that has forgotten what it had asked; its log and its audit
// log it has.
func (w *life) startHub() {
	w.hubUp = true
	w.hubRuns++
	run := w.hubRuns
	w.hub = remote.New(remote.Options{
		Edge: func(string) (wire.DeviceID, bool) { return edgeID, true },
		Tank: func(wire.DeviceID) string { return tankID },
		Ask: func(_ wire.DeviceID, message []byte) error {
			w.send(func() { w.asked(message) })
			return nil
		},
		Note: func(context.Context, string, string, string, any) error { return nil },
		Log:  silent,
		Now:  func() time.Time { return w.began.Add(w.now) },
		ID:   func() string { return fmt.Sprintf("%d-%d", run, w.random.Uint64()) },
	})
}

func (w *life) hubFalls() {
	if !w.hubUp {
		return
	}
	w.verdict.HubFalls++
	w.hubUp = false
	w.timetable.at(w.now+exponential(w.random, hubDownFor), w.startHub)
}

// take takes a frame of readings. The log has them, whatever becomes of the
// answer.
func (w *life) take(from, to, frame, run int) {
	if !w.hubUp {
		return
	}
	for n := from; n < to; n++ {
		w.log[n] = true // by its key: once, however often it comes
	}
	w.send(func() { w.acknowledged(to, frame, run) })
}

// somebodyAsks asks for something, wisely or not, and sometimes at once for the
// opposite.
func (w *life) somebodyAsks() {
	if !w.hubUp {
		return
	}
	kinds := []requests.Kind{requests.Hold, requests.Resume, requests.Resume, requests.Give, requests.Give, requests.ShutValve,
		requests.Silence, requests.ProofTest, requests.Clear}
	for range 1 + w.random.IntN(3) {
		kind := kinds[w.random.IntN(len(kinds))]
		ml := 0.0
		if kind == requests.Give {
			ml = 1 + w.random.ExpFloat64()*200
		}
		if _, err := w.hub.Ask(context.Background(), remote.Person{Name: "somebody"}, tankID, kind, ml); err != nil {
			panic(err)
		}
		w.verdict.Asked++
	}
	w.tick()
}

// tick lets the desk ask again while something has no answer yet.
func (w *life) tick() {
	if w.ticking {
		return
	}
	w.ticking = true
	w.timetable.at(w.now+tickEvery, func() {
		w.ticking = false
		if !w.hubUp {
			return
		}
		if err := w.hub.Tick(context.Background()); err != nil {
			panic(err)
		}
		if v, _ := w.hub.Tank(tankID); len(v.Asks) > 0 && waits(v.Asks) {
			w.tick()
		}
	})
}

func waits(asks []remote.Request) bool {
	for i := range asks {
		if asks[i].Settled.IsZero() {
			return true
		}
	}
	return false
}

// settleUp ends every trouble, gives the network time, and counts what has not
// arrived.
func (w *life) settleUp() {
	if w.verdict.First != "" {
		return
	}
	w.cut, w.full, w.kind = false, false, true
	if !w.hubUp {
		w.startHub()
	}
	w.hung = false
	if !w.up {
		w.startAgent()
	}
	w.push()
	const enough = 10 * time.Minute
	for end := w.now + enough; w.now < end && w.edge.pushed < w.edge.kept; {
		do, due := w.due(w.now)
		if due {
			do()
			w.cut, w.full, w.hubUp = false, false, true
			continue
		}
		w.now = w.timetable.next(end)
	}
	for n := range w.edge.kept {
		if !w.log[n] {
			w.verdict.LostReading++
		}
	}
	if w.verdict.LostReading > 0 {
		w.wrong("%d of %d readings are lost", w.verdict.LostReading, w.edge.kept)
	}
}
