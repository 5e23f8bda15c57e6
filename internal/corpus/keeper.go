package corpus

import (
	"math/rand/v2"
	"sort"
	"time"
)

// interval is a stretch of a history.
type interval struct{ from, to time.Duration }

func (v interval) holds(t time.Duration) bool { return t >= v.from && t < v.to }

func anyHolds(vs []interval, t time.Duration) bool {
	i := sort.Search(len(vs), func(i int) bool { return vs[i].to > t })
	return i < len(vs) && vs[i].holds(t)
}

// diary is what people and the grid do around the tank.
type diary struct {
	feedings []interval // the return pump off
	cuts     []interval // no power
	gaps     []interval // nothing arrives; what was said then is lost
	// notes says whether a water change or a reservoir filled is written down.
	notesChanges, notesFills, measuresMix bool
	measuresFills                         bool
}

// Judgements: how often things happen around a tank.
const (
	feeds           = 0.6 // share of keepers who stop the return pump to feed
	feedingMinutes  = 12.0
	cutEveryDays    = 40.0
	cutMinutesLo    = 3.0
	cutMinutesHi    = 40.0
	gapEveryDays    = 15.0
	gapMinutesLo    = 5.0
	gapMinutesHi    = 45.0
	notesChangeFrac = 0.85
	notesFillFrac   = 0.97
)

func keep(seed uint64, length time.Duration, sump bool) diary {
	r := stream(seed, "keeper")
	var d diary
	if r.Float64() < feeds && sump {
		hour := time.Duration(uniform(r, 7, 20) * float64(time.Hour))
		for t := hour; t < length; t += day {
			if r.Float64() < 0.1 {
				continue
			}
			from := t + minutes(uniform(r, -40, 40))
			d.feedings = append(d.feedings, interval{from, from + minutes(feedingMinutes*uniform(r, 0.6, 1.6))})
		}
	}
	d.cuts = scattered(r, length, cutEveryDays, cutMinutesLo, cutMinutesHi)
	d.gaps = scattered(r, length, gapEveryDays, gapMinutesLo, gapMinutesHi)
	d.notesChanges = r.Float64() < notesChangeFrac
	d.notesFills = r.Float64() < notesFillFrac
	d.measuresMix = r.Float64() < 0.7
	d.measuresFills = r.Float64() < 0.8
	return d
}

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// scattered are intervals that begin at random.
func scattered(r *rand.Rand, length time.Duration, everyDays, fromMin, toMin float64) []interval {
	var out []interval
	at := time.Duration(0)
	for {
		at += time.Duration(r.ExpFloat64() * everyDays * float64(day))
		if at >= length {
			return out
		}
		to := at + minutes(uniform(r, fromMin, toMin))
		out = append(out, interval{at, to})
		at = to
	}
}
