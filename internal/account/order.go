package account

import (
	"cmp"
	"slices"
	"time"
)

// Observations of one tank come from a device, through a store that forwards
// them after a broken link, and from people who enter what they read hours ago.
// The account waits ReorderWindow before it believes that it has seen all of a
// moment; within that window the order of arrival makes no difference.
//
// What comes later than that is dropped and counted, but for what people write
// down by hand: a salinity, a filled reservoir, a water change counts for up to
// LateByHand, taken as of now with the error that the delay adds.
//
// The same observation twice (kind, time, instrument) counts once. Where the two
// differ in value the lower one is kept, so that order makes no difference.
const (
	ReorderWindow = 2 * time.Minute
	LateByHand    = 48 * time.Hour
	// maxPending bounds the window: beyond it the oldest is taken at once.
	maxPending = 512
	// handKeys is how many hand readings are remembered, to know them again.
	handKeys = 32
)

// key knows an observation again.
type key struct {
	At         time.Time
	Kind       Kind
	Instrument string
}

// Window holds the observations that are not taken yet, and what is needed to
// recognise late and repeated ones.
type Window struct {
	// Newest is the newest time heard of.
	Newest   time.Time
	Pending  []Observation
	LateHand []Observation `json:",omitempty"`
	Hand     [handKeys]key
	// What was not taken: too late, or seen before.
	Late, Duplicates int
}

func (o *Observation) key() key { return key{o.At, o.Kind, o.Instrument} }

func compareKeys(a, b *Observation) int {
	return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Instrument, b.Instrument))
}

// file puts an observation into the window, of a tank of which all is known up to
// done.
func (w *Window) file(o Observation, done time.Time) {
	if !o.At.After(done) {
		w.fileLate(o, done)
		return
	}
	// Most come in order: look from the end.
	i := len(w.Pending)
	for i > 0 && compareKeys(&w.Pending[i-1], &o) > 0 {
		i--
	}
	if i > 0 && compareKeys(&w.Pending[i-1], &o) == 0 {
		w.Duplicates++
		if lower(&o, &w.Pending[i-1]) {
			w.Pending[i-1] = o
		}
		return
	}
	w.Pending = slices.Insert(w.Pending, i, o)
	if o.At.After(w.Newest) {
		w.Newest = o.At
	}
}

// lower orders two observations of one key by what they say.
func lower(a, b *Observation) bool {
	return cmp.Or(cmp.Compare(a.Value, b.Value), cmp.Compare(a.Second, b.Second), cmp.Compare(a.SD, b.SD)) < 0
}

// fileLate takes what people wrote down and drops the rest.
func (w *Window) fileLate(o Observation, done time.Time) {
	if slices.Contains(w.Hand[:], o.key()) {
		w.Duplicates++
		return
	}
	// Older than all that is remembered, it may be one that was forgotten.
	if !kindTable[o.Kind].byHand || done.Sub(o.At) > LateByHand || o.At.Before(w.oldestHand().At) {
		w.Late++
		return
	}
	w.LateHand = append(w.LateHand, o)
}

// remember keeps the key of a hand reading that was taken.
func (w *Window) remember(o *Observation) {
	if kindTable[o.Kind].byHand {
		*w.oldestHand() = o.key()
	}
}

// oldestHand is the remembered key that goes first.
func (w *Window) oldestHand() *key {
	oldest := &w.Hand[0]
	for i := range w.Hand {
		if w.Hand[i].At.Before(oldest.At) {
			oldest = &w.Hand[i]
		}
	}
	return oldest
}

// due is the next observation that may be taken, if any: one as old as the
// window, or the oldest of a window that is full.
func (w *Window) due() (Observation, bool) {
	if len(w.Pending) == 0 {
		return Observation{}, false
	}
	o := w.Pending[0]
	if len(w.Pending) <= maxPending && o.At.After(w.Newest.Add(-ReorderWindow)) {
		return Observation{}, false
	}
	w.Pending = slices.Delete(w.Pending, 0, 1)
	return o, true
}
