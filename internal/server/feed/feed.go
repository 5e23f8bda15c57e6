// Package feed passes on what has just happened to whoever is looking: one Feed,
// any number of subscribers, none of whom can hold it up. Whoever is slow misses
// what was overtaken, and nothing else: of every topic there is the latest event.
package feed

import "sync"

// Feed passes on events E about topics K. The zero value is ready; it may be used
// from several goroutines.
type Feed[K comparable, E any] struct {
	mu          sync.Mutex
	subscribers map[*Subscriber[K, E]]struct{}
	closed      bool
}

// Subscriber is somebody who looks. What waits for it is bounded by how many topics
// there are.
type Subscriber[K comparable, E any] struct {
	feed   *Feed[K, E]
	wants  func(E) bool
	ready  chan struct{} // of one
	topics []K           // that have an event waiting, in the order of their first
	latest map[K]E
}

// Subscribe looks at the events from now on that wants says yes to; nil: at all.
// wants must be quick, and must not use the feed.
func (f *Feed[K, E]) Subscribe(wants func(E) bool) *Subscriber[K, E] {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := &Subscriber[K, E]{feed: f, wants: wants, ready: make(chan struct{}, 1), latest: map[K]E{}}
	if f.closed {
		close(s.ready)
		return s
	}
	if f.subscribers == nil {
		f.subscribers = map[*Subscriber[K, E]]struct{}{}
	}
	f.subscribers[s] = struct{}{}
	return s
}

// Publish passes one event on and never waits.
func (f *Feed[K, E]) Publish(topic K, e E) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for s := range f.subscribers {
		if s.wants != nil && !s.wants(e) {
			continue
		}
		if _, waits := s.latest[topic]; !waits {
			s.topics = append(s.topics, topic)
		}
		s.latest[topic] = e
		select {
		case s.ready <- struct{}{}:
		default:
		}
	}
}

// Subscribers is how many are looking.
func (f *Feed[K, E]) Subscribers() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.subscribers)
}

// Close ends the feed for everybody.
func (f *Feed[K, E]) Close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for s := range f.subscribers {
		f.drop(s)
	}
	f.closed = true
}

func (f *Feed[K, E]) drop(s *Subscriber[K, E]) {
	if _, there := f.subscribers[s]; there {
		delete(f.subscribers, s)
		close(s.ready)
	}
}

// Ready says that events may wait. It is closed once the feed has ended.
func (s *Subscriber[K, E]) Ready() <-chan struct{} { return s.ready }

// Take takes the events that wait.
func (s *Subscriber[K, E]) Take() []E {
	s.feed.mu.Lock()
	topics, latest := s.topics, s.latest
	s.topics, s.latest = nil, map[K]E{}
	s.feed.mu.Unlock()
	events := make([]E, len(topics))
	for i, topic := range topics {
		events[i] = latest[topic]
	}
	return events
}

// Leave ends looking. It may be called again.
func (s *Subscriber[K, E]) Leave() {
	s.feed.mu.Lock()
	defer s.feed.mu.Unlock()
	s.feed.drop(s)
}
