package wire

import (
	"context"
	"testing"
	"testing/synctest"
	"time"
)

// TestGather: how long the writer lets more entries come for a frame, in virtual time.
func TestGather(t *testing.T) {
	lobby, attic := DeviceID{"lobby", "head"}, DeviceID{"attic", "head"}
	for name, c := range map[string]struct {
		first  DeviceID
		early  time.Duration
		queued int
		later  DeviceID // comes after a millisecond, if any does
		closed bool
		want   time.Duration
	}{
		"nobody waits for more after a pause":     {first: attic, early: -time.Second},
		"more may come":                           {first: attic, early: framePace, want: framePace},
		"a device of the frame before":            {first: lobby, early: framePace},
		"... comes second":                        {first: attic, early: framePace, later: lobby, want: time.Millisecond},
		"another comes second":                    {first: attic, early: framePace, later: DeviceID{"cellar", "head"}, want: framePace},
		"enough wait":                             {first: attic, early: framePace, queued: frameEntries},
		"the one that makes it enough":            {first: attic, early: framePace, queued: frameEntries - 1, later: DeviceID{"cellar", "head"}, want: time.Millisecond},
		"the log is closed while it waits for it": {first: attic, early: framePace, closed: true},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := &Log{queue: make(chan *entry, queueLen), hurry: make(chan struct{}, 1)}
				l.life, l.end = context.WithCancel(t.Context())
				l.last.Store(&[]*entry{{from: lobby}})
				for range c.queued {
					l.queue <- &entry{from: attic}
				}
				if c.closed {
					l.end()
				}
				if c.later != (DeviceID{}) {
					time.AfterFunc(time.Millisecond, func() { l.enqueue(t.Context(), &entry{from: c.later}) })
				}
				began := time.Now()
				l.gather(&entry{from: c.first}, c.early)
				if got := time.Since(began); got != c.want {
					t.Errorf("it waited %v, want %v", got, c.want)
				}
				time.Sleep(framePace) // virtual: what was to come has come
				l.end()
			})
		})
	}
}
