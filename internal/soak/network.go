package soak

import (
	"container/heap"
	"math/rand/v2"
	"time"
)

// What the network does to a message. Judgements: much worse than any link that
// people would put up with.
const (
	lostFrac     = 0.10
	repeatedFrac = 0.10
	usualDelay   = 200 * time.Millisecond
	// slowFrac of messages take up to slowest: longer than a request is good for.
	slowFrac = 0.03
	slowest  = 90 * time.Second
)

// happening is something that is due.
type happening struct {
	at time.Duration
	n  int // of two at one time the one made first
	do func()
}

// agenda is what is due, the soonest first.
type agenda []happening

func (a agenda) Len() int { return len(a) }
func (a agenda) Less(i, j int) bool {
	return a[i].at < a[j].at || a[i].at == a[j].at && a[i].n < a[j].n
}
func (a agenda) Swap(i, j int) { a[i], a[j] = a[j], a[i] }
func (a *agenda) Push(x any)   { *a = append(*a, x.(happening)) }
func (a *agenda) Pop() any {
	last := len(*a) - 1
	x := (*a)[last]
	*a = (*a)[:last]
	return x
}

// timetable makes things happen at their times.
type timetable struct {
	agenda agenda
	made   int
}

func (t *timetable) at(when time.Duration, do func()) {
	t.made++
	heap.Push(&t.agenda, happening{when, t.made, do})
}

// next is when the soonest is due.
func (t *timetable) next(otherwise time.Duration) time.Duration {
	if len(t.agenda) == 0 {
		return otherwise
	}
	return min(t.agenda[0].at, otherwise)
}

// due is what happens by now, false if nothing.
func (t *timetable) due(now time.Duration) (func(), bool) {
	if len(t.agenda) == 0 || t.agenda[0].at > now {
		return nil, false
	}
	return heap.Pop(&t.agenda).(happening).do, true
}

// send lets a message arrive not at all, once or twice, sooner or later.
func (w *life) send(arrive func()) {
	if w.cut || w.random.Float64() < lostFrac && !w.kind {
		return
	}
	w.timetable.at(w.now+w.delay(), arrive)
	if !w.kind && w.random.Float64() < repeatedFrac {
		w.timetable.at(w.now+w.delay(), arrive)
	}
}

func (w *life) delay() time.Duration {
	if !w.kind && w.random.Float64() < slowFrac {
		return upTo(w.random, slowest)
	}
	return exponential(w.random, usualDelay)
}

func exponential(r *rand.Rand, mean time.Duration) time.Duration {
	return time.Duration(r.ExpFloat64() * float64(mean))
}

func upTo(r *rand.Rand, most time.Duration) time.Duration {
	return time.Duration(r.Int64N(int64(most)))
}
