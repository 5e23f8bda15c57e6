package store

import "time"

// level is one resolution of roll-ups.
type level struct {
	name string // of the table, rollup_<name>
	span time.Duration
}

// levels from fine to coarse.
var levels = []level{{"minute", time.Minute}, {"hour", time.Hour}, {"day", 24 * time.Hour}}

// floor is the start of the span that a time is in, both in microseconds since
// 1970, before which there are no readings. Days are those of UTC.
func (l level) floor(at int64) int64 { return at - at%l.span.Microseconds() }

// rollup is what is kept of one channel's readings in one span of time.
type rollup struct {
	channel, start, n int64
	low, high         float64
	// sum + sumErr is the sum: the second is what rounding took from the first.
	sum, sumErr float64
	lastAt      int64
	last        float64
}

func (r *rollup) mean() float64 { return (r.sum + r.sumErr) / float64(r.n) }

// add takes in a later roll-up, of one reading or many.
func (r *rollup) add(later *rollup) {
	r.n += later.n
	r.low, r.high = min(r.low, later.low), max(r.high, later.high)
	sum := r.sum + later.sum
	part := sum - r.sum
	r.sumErr += later.sumErr + ((r.sum - (sum - part)) + (later.sum - part)) // TwoSum, as in mergeRollup
	r.sum = sum
	r.lastAt, r.last = later.lastAt, later.last
}

// fold rolls up readings that are in order.
func fold(l level, rows []row) []rollup {
	var rollups []rollup
	for _, r := range rows {
		one := rollup{
			channel: r.channel, start: l.floor(r.at), n: 1,
			low: r.value, high: r.value, sum: r.value, lastAt: r.at, last: r.value,
		}
		if n := len(rollups); n > 0 && rollups[n-1].channel == one.channel && rollups[n-1].start == one.start {
			rollups[n-1].add(&one)
		} else {
			rollups = append(rollups, one)
		}
	}
	return rollups
}
