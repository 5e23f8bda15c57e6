package feed

import "testing"

func TestEverySubscriberGetsEverything(t *testing.T) {
	var f Feed[int]
	a, leaveA := f.Subscribe()
	b, leaveB := f.Subscribe()
	defer leaveA()
	defer leaveB()
	f.Publish(1)
	f.Publish(2)
	for _, c := range []<-chan int{a, b} {
		if first, second := <-c, <-c; first != 1 || second != 2 {
			t.Errorf("got %d, %d", first, second)
		}
	}
}

func TestASlowSubscriberIsLetGo(t *testing.T) {
	var f Feed[int]
	slow, leave := f.Subscribe()
	for i := range backlog + 1 {
		f.Publish(i) // must not block
	}
	if f.Subscribers() != 0 {
		t.Error("a subscriber that never reads is still there")
	}
	n := 0
	for range slow {
		n++
	}
	if n != backlog {
		t.Errorf("got %d events before the end, want %d", n, backlog)
	}
	leave()
	f.Publish(0)
}

func TestCloseEndsPresentAndFutureSubscribers(t *testing.T) {
	var f Feed[int]
	before, leave := f.Subscribe()
	f.Close()
	f.Close()
	after, _ := f.Subscribe()
	if _, open := <-before; open {
		t.Error("a subscriber outlives the feed")
	}
	if _, open := <-after; open {
		t.Error("a closed feed takes subscribers")
	}
	leave()
	f.Publish(1)
}
