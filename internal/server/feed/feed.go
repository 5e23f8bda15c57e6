// Package feed passes on what has just happened to whoever is looking: one
// Feed, any number of subscribers, none of whom can hold it up.
package feed

import "sync"

// backlog is how many events a subscriber may be behind. One who falls further
// back is let go and must look anew, which is what a browser does by itself.
const backlog = 256

// Feed passes events on. The zero value is ready; it may be used from several
// goroutines.
type Feed[E any] struct {
	mu          sync.Mutex
	subscribers map[chan E]struct{}
	closed      bool
}

// Subscribe returns the events from now on. The channel is closed when the
// subscriber is too slow or the feed has ended. leave must be called once done
// with, and may be called again.
func (f *Feed[E]) Subscribe() (events <-chan E, leave func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	c := make(chan E, backlog)
	if f.closed {
		close(c)
		return c, func() {}
	}
	if f.subscribers == nil {
		f.subscribers = map[chan E]struct{}{}
	}
	f.subscribers[c] = struct{}{}
	return c, func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.drop(c)
	}
}

// Publish passes one event on and never waits.
func (f *Feed[E]) Publish(e E) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for c := range f.subscribers {
		select {
		case c <- e:
		default:
			f.drop(c)
		}
	}
}

// Subscribers is how many are looking.
func (f *Feed[E]) Subscribers() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.subscribers)
}

// Close ends the feed for everybody.
func (f *Feed[E]) Close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for c := range f.subscribers {
		f.drop(c)
	}
	f.closed = true
}

func (f *Feed[E]) drop(c chan E) {
	if _, there := f.subscribers[c]; there {
		delete(f.subscribers, c)
		close(c)
	}
}
