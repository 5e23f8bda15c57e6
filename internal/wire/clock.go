package wire

import "time"

// MaxAhead is how far a reading may lie in the future and still be believed: a
// device that keeps its clock by the network is never minutes off.
const MaxAhead = 5 * time.Minute

// neverSet is a time before which no reading can have been taken. Clocks that
// nobody set start at 1970, 1980, 2000 or the like; this is years before the
// first of our readings and years after those.
var neverSet = time.Date(2020, time.January, 1, 0, 0, 0, 0, time.UTC)

// restamp moves readings whose time cannot be, and marks them: those more than
// MaxAhead in the future, and those before any clock was set. All readings of a
// message that are wrong in the same way come from one wrong clock, so all move
// by the same amount, the one that puts the newest of them at its arrival: what
// lay between them stays.
//
// Refusing them instead would blind the account because of a clock, and a 3.1.1
// device would send the same message for ever. The past is no fault: a reading
// that waited for a lost link is welcome however late.
func restamp(readings []Reading, received time.Time) {
	received = received.UTC().Round(time.Microsecond)
	latest := received.Add(MaxAhead)
	move(readings, received, func(at time.Time) bool { return at.After(latest) })
	move(readings, received, func(at time.Time) bool { return at.Before(neverSet) })
}

// maxSpread is the longest time that one message is believed to tell of once its
// clock is known to be wrong.
const maxSpread = 366 * 24 * time.Hour

func move(readings []Reading, received time.Time, wrong func(time.Time) bool) {
	var newest time.Time
	for i := range readings {
		if at := readings[i].At; wrong(at) && at.After(newest) {
			newest = at
		}
	}
	for i := range readings {
		if r := &readings[i]; wrong(r.At) {
			at := received.Add(-min(newest.Sub(r.At), maxSpread))
			r.Clock, r.Skew, r.At = Restamped, r.At.Sub(at), at
		}
	}
}
