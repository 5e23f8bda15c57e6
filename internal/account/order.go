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

func (o *Observation) key() key { return key{o.At, o.Kind, o.Instrument} }

func compareKeys(a, b *Observation) int {
	return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Instrument, b.Instrument))
}

// file puts an observation into the window.
func (s *State) file(o Observation) {
	if !o.At.After(s.Done) {
		s.fileLate(o)
		return
	}
	// Most come in order: look from the end.
	i := len(s.Pending)
	for i > 0 && compareKeys(&s.Pending[i-1], &o) > 0 {
		i--
	}
	if i > 0 && compareKeys(&s.Pending[i-1], &o) == 0 {
		s.Duplicates++
		if lower(&o, &s.Pending[i-1]) {
			s.Pending[i-1] = o
		}
		return
	}
	s.Pending = slices.Insert(s.Pending, i, o)
	if o.At.After(s.Newest) {
		s.Newest = o.At
	}
}

// lower orders two observations of one key by what they say.
func lower(a, b *Observation) bool {
	return cmp.Or(cmp.Compare(a.Value, b.Value), cmp.Compare(a.Second, b.Second), cmp.Compare(a.SD, b.SD)) < 0
}

// fileLate takes what people wrote down and drops the rest.
func (s *State) fileLate(o Observation) {
	if slices.Contains(s.Hand[:], o.key()) {
		s.Duplicates++
		return
	}
	// Older than all that is remembered, it may be one that was forgotten.
	if !kindTable[o.Kind].byHand || s.Done.Sub(o.At) > LateByHand || o.At.Before(s.oldestHand().At) {
		s.Late++
		return
	}
	s.LateHand = append(s.LateHand, o)
}

// remember keeps the key of a hand reading that was taken.
func (s *State) remember(o *Observation) {
	if kindTable[o.Kind].byHand {
		*s.oldestHand() = o.key()
	}
}

// oldestHand is the remembered key that goes first.
func (s *State) oldestHand() *key {
	oldest := &s.Hand[0]
	for i := range s.Hand {
		if s.Hand[i].At.Before(oldest.At) {
			oldest = &s.Hand[i]
		}
	}
	return oldest
}

// due is the next observation that may be taken, if any: one as old as the
// window, or the oldest of a window that is full.
func (s *State) due() (Observation, bool) {
	if len(s.Pending) == 0 {
		return Observation{}, false
	}
	o := s.Pending[0]
	if len(s.Pending) <= maxPending && o.At.After(s.Newest.Add(-ReorderWindow)) {
		return Observation{}, false
	}
	s.Pending = slices.Delete(s.Pending, 0, 1)
	return o, true
}
