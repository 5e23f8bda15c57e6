package feed

import (
	"maps"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

func TestEverySubscriberGetsWhatItWants(t *testing.T) {
	var f Feed[int, int]
	all, even := f.Subscribe(nil), f.Subscribe(func(e int) bool { return e%2 == 0 })
	defer all.Leave()
	defer even.Leave()
	for e := range 5 {
		f.Publish(e, e)
	}
	<-all.Ready()
	<-even.Ready()
	if got := all.Take(); !slices.Equal(got, []int{0, 1, 2, 3, 4}) {
		t.Errorf("all: %v", got)
	}
	if got := even.Take(); !slices.Equal(got, []int{0, 2, 4}) {
		t.Errorf("even: %v", got)
	}
	if got := all.Take(); len(got) != 0 {
		t.Errorf("what was taken came again: %v", got)
	}
}

// However publishing and taking go, a subscriber has the latest of every topic in
// the end, never one that is older than what it had, and no more waits than there
// are topics.
func TestTheLatestWins(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var f Feed[int, [2]int] // topic and number
		s := f.Subscribe(nil)
		defer s.Leave()
		const topics = 3
		want, got := map[int]int{}, map[int]int{}
		take := func() {
			events := s.Take()
			if len(events) > topics {
				t.Fatalf("%d events waited", len(events))
			}
			for _, e := range events {
				if e[1] <= got[e[0]] {
					t.Fatalf("topic %d: %d came after %d", e[0], e[1], got[e[0]])
				}
				got[e[0]] = e[1]
			}
		}
		for n, topic := range rapid.SliceOf(rapid.IntRange(-1, topics-1)).Draw(t, "topics, -1: take") {
			if topic < 0 {
				take()
				continue
			}
			f.Publish(topic, [2]int{topic, n + 1})
			want[topic] = n + 1
		}
		take()
		if !maps.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

// A reader that is stuck holds nobody up, and keeps no more than one event a topic.
func TestAStuckReader(t *testing.T) {
	var f Feed[int, int]
	stuck := f.Subscribe(nil)
	defer stuck.Leave()
	quick := f.Subscribe(nil)
	const publishers, each, topics = 4, 10_000, 7
	seen := make(chan int)
	go func() {
		last := 0
		for range quick.Ready() {
			for _, e := range quick.Take() {
				last = max(last, e)
			}
		}
		seen <- last
	}()
	var wg sync.WaitGroup
	for range publishers {
		wg.Go(func() {
			for e := range each {
				f.Publish(e%topics, e)
			}
		})
	}
	wg.Wait()
	f.Publish(0, each)
	f.Close()
	if last := <-seen; last != each {
		// Closing may come before the last was taken; then it still waits.
		if rest := quick.Take(); !slices.Contains(rest, each) {
			t.Errorf("the quick reader saw %d and has %v left", last, rest)
		}
	}
	if got := stuck.Take(); len(got) != topics || !slices.Contains(got, each) {
		t.Errorf("%v waited for the stuck reader", got)
	}
}

func TestCloseEndsPresentAndFutureSubscribers(t *testing.T) {
	var f Feed[int, int]
	before := f.Subscribe(nil)
	if f.Subscribers() != 1 {
		t.Error("nobody looks")
	}
	f.Close()
	f.Close()
	after := f.Subscribe(nil)
	for _, s := range []*Subscriber[int, int]{before, after} {
		if _, open := <-s.Ready(); open {
			t.Error("a subscriber outlives the feed")
		}
		s.Leave()
	}
	f.Publish(1, 1)
	if f.Subscribers() != 0 {
		t.Error("somebody still looks")
	}
}
