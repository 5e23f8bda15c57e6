package guard

import (
	"math/bits"
	"time"
)

// Day is the time in which a full budget comes back.
const Day = 24 * time.Hour

// The daily budget B is a leaky bucket. Pump time pours in; it drains at B per
// Day, always; it holds B. A fill starts only while there is room and ends when
// there is none.
//
// State keeps it as Owed: how long the pump would have to rest for the bucket
// to be empty, 0 to Day. Rest is then a plain subtraction, exact however it is
// cut into steps. A fill of length r adds r·Day/B, less the r in which the
// bucket drained: r·(Day − B)/B, rounded up, worked out once from the whole r
// so that it does not depend on the steps either.
//
// The bound. Let the pump run for a time R within any window W. The bucket
// holds at least 0 before it and at most B after it, and at most W·B/Day
// drained within it, so R ≤ B + W·B/Day: no more than 2B in any 24 h, and B
// a day in the long run. A step that comes late overruns by as much as it is
// late, no more.

// room is how long a fill may last before the bucket is full.
func room(budget, owed time.Duration) time.Duration {
	if budget >= Day {
		return Never
	}
	if budget <= 0 {
		return 0
	}
	longest, _ := mulDiv(Day-owed, budget, Day-budget)
	return longest
}

// charge is what is owed after a fill.
func charge(budget, owed, ran time.Duration) time.Duration {
	if budget >= Day {
		return owed
	}
	if budget <= 0 {
		return Day
	}
	added, rest := mulDiv(ran, Day-budget, budget)
	if rest > 0 {
		added++
	}
	return owed + min(added, Day-owed)
}

// timeToRoom is how long until room is above 0; not above 0 if it is already.
func timeToRoom(budget, owed time.Duration) time.Duration {
	if budget <= 0 {
		return Never
	}
	restPerUnit := (Day - 1) / budget // ⌈(Day − budget)/budget⌉, for one unit of pump time
	return owed - (Day - restPerUnit)
}

// mulDiv is a·b/c rounded down and what rounding left over; Never, 0 where the
// quotient does not fit. a and b are not negative, c is positive.
func mulDiv(a, b, c time.Duration) (quotient, rest time.Duration) {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if hi >= uint64(c) {
		return Never, 0
	}
	q, r := bits.Div64(hi, lo, uint64(c))
	if q >= uint64(Never) {
		return Never, 0
	}
	return time.Duration(q), time.Duration(r)
}
