package plant

import "time"

// recent remembers the water of the last hour or day, thinned.
type recent struct {
	span       time.Duration
	at         [recentSize]time.Duration
	water      [recentSize]water
	head, tail int // newest, oldest: indices that only grow
}

// recentSize is how many readings are kept, a few more than a span is thinned
// to.
const (
	recentSize  = 128
	recentSpare = 8
)

func (w *recent) reset(span, now time.Duration, first water) {
	w.span, w.head, w.tail = span, 0, 0
	w.at[0], w.water[0] = now, first
}

// jump notes that the water has just become another: what it was until then
// counts as a reading of this instant.
func (w *recent) jump(now time.Duration, to water) {
	w.push(now, w.water[w.head%recentSize])
	w.push(now, to)
}

func (w *recent) push(now time.Duration, reading water) {
	if w.head-w.tail == recentSize-1 {
		w.tail++
	}
	w.head++
	j := w.head % recentSize
	w.at[j], w.water[j] = now, reading
}

// ago adds a reading and returns the water one span earlier, or at the beginning
// if that is nearer.
func (w *recent) ago(now time.Duration, reading water) water {
	from := now - w.span
	for w.tail < w.head && w.at[(w.tail+1)%recentSize] <= from {
		w.tail++
	}
	i := w.tail % recentSize
	old := w.water[i]
	if w.at[i] < from {
		// The oldest is more than a span old: walk the line to the span.
		nextAt, next := now, reading
		if w.tail < w.head {
			j := (w.tail + 1) % recentSize
			nextAt, next = w.at[j], w.water[j]
		}
		if nextAt > w.at[i] {
			share := float64(from-w.at[i]) / float64(nextAt-w.at[i])
			old.psu += (next.psu - old.psu) * share
			old.dkh += (next.dkh - old.dkh) * share
		}
	}
	if now-w.at[w.head%recentSize] >= w.span/(recentSize-recentSpare) {
		w.push(now, reading)
	}
	return old
}
