package odds

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"isohaline/internal/plant"
)

// present is a fault that stands.
type present struct {
	fault          int
	sinceH, untilH float64
	// covered: a proof test would find it.
	covered bool
}

// life is one tank from an overhaul to the next.
type life struct {
	sim    *simulation
	random *rand.Rand
	tally  *Tally
	// phaseH is where in the year the overhaul is.
	phaseH float64
	nowH   float64
	// weight is how likely this history is, over how likely it is made.
	weight   float64
	presents []present
	year     [harmCount]float64
}

// live goes through a life: causes arrive, tests are due.
func (l *life) live() error {
	s := l.sim
	l.phaseH = l.random.Float64() * lifeH
	l.weight, l.presents, l.year = 1, l.presents[:0], [harmCount]float64{}
	l.nowH = 0
	if err := l.leaveBarriersOff(); err != nil {
		return err
	}
	arrivalH := l.random.ExpFloat64() / s.totalPerHour
	for due := 1; ; {
		dueH := float64(due) * s.w.intervalH
		switch {
		case min(arrivalH, dueH) >= lifeH:
			return nil
		case dueH < arrivalH:
			l.nowH = dueH
			due++
			if err := l.test(); err != nil {
				return err
			}
		default:
			l.nowH = arrivalH
			c := s.pick(l.random)
			l.weight *= s.ratios[c]
			if err := l.arrive(s.w.causes[c].hits, false); err != nil {
				return err
			}
			arrivalH += l.random.ExpFloat64() / s.totalPerHour
		}
	}
}

// test is a proof test that is due: skipped, or done by a person who may leave
// a barrier off.
func (l *life) test() error {
	if l.random.Float64() < l.sim.skip {
		return nil
	}
	l.presents = slices.DeleteFunc(l.presents, func(p present) bool {
		stands := l.sim.w.stands[p.fault]
		return stands.hidden && stands.test == proofTest && p.covered
	})
	return l.leaveBarriersOff()
}

// leaveBarriersOff forgets to put barriers back: each by itself, or all at once.
func (l *life) leaveBarriersOff() error {
	s := l.sim
	if l.random.Float64() >= s.anyOff {
		return nil
	}
	var off set
	for off == 0 { // drawn again until it is one of the cases that leave something
		if l.random.Float64() < s.togetherOff {
			off = s.barriers
		}
		s.barriers.each(func(i int) {
			if l.random.Float64() < s.ownOff {
				off = off.with(i)
			}
		})
	}
	return l.arrive(off, true)
}

// arrive lets faults begin now, and asks the twin what they do with all that
// stands. A fault takes the place of another of its part; one that stands
// already changes nothing.
func (l *life) arrive(hits set, leftOff bool) error {
	w := l.sim.w
	l.presents = slices.DeleteFunc(l.presents, func(p present) bool { return p.untilH <= l.nowH })
	standing, _ := l.all()
	fresh := hits &^ standing
	if fresh == 0 {
		return nil
	}
	fresh.each(func(i int) {
		l.presents = slices.DeleteFunc(l.presents, func(p present) bool { return w.clash(p.fault, i) })
		l.presents = append(l.presents, present{fault: i, sinceH: l.nowH, untilH: math.Inf(1),
			covered: leftOff || l.random.Float64() < testCoverage})
	})
	all, firstH := l.all()
	season := l.season()
	met, err := l.sim.memory.together(season, all)
	if err != nil {
		return err
	}
	if met.harm != 0 && firstH < l.nowH {
		// Something was under way already: when each began decides.
		if met, err = l.sim.memory.apart(season, all, l.after(firstH)); err != nil {
			return err
		}
	}
	l.judge(met, season, all, fresh, firstH)
	return nil
}

// all is the set of what stands, and when the first that anybody notices began:
// now, if none did. What shows nothing sets no clock: it was there before.
func (l *life) all() (s set, firstH float64) {
	firstH = l.nowH
	for _, p := range l.presents {
		s = s.with(p.fault)
		if l.sim.w.stands[p.fault].shows() {
			firstH = min(firstH, p.sinceH)
		}
	}
	return s, firstH
}

// after is when each fault began, in the catalogue's order, since the first
// that shows; what was there before stands from the beginning.
func (l *life) after(firstH float64) []time.Duration {
	s, _ := l.all()
	var out []time.Duration
	s.each(func(i int) {
		for _, p := range l.presents {
			if p.fault == i {
				out = append(out, hours(max(0, p.sinceH-firstH)))
			}
		}
	})
	return out
}

func (l *life) season() int {
	at := math.Mod(l.nowH+l.phaseH, lifeH) / lifeH
	for i, share := range l.sim.w.seasonShares {
		if at -= share; at < 0 {
			return i
		}
	}
	return len(l.sim.w.seasonShares) - 1
}

// judge counts harm, after which everything is put right.
func (l *life) judge(met meeting, season int, all, fresh set, firstH float64) {
	// The true history is likelier than the made one by this for what did not
	// arrive so far.
	weight := l.weight * math.Exp(l.sim.excessPerHour*l.nowH)
	if met.unsettled {
		l.tally.Unsettled += weight
	}
	for kind := range harmCount {
		expected := l.sim.foreseen(season, kind, all, fresh)
		if met.harm.has(kind) {
			l.year[kind] += weight
			if !expected.any {
				l.tally.Unforeseen[kind] += weight
			}
		} else if expected.found {
			l.tally.Averted[kind] += weight
		}
	}
	if met.harm != 0 {
		l.presents = l.presents[:0]
		return
	}
	l.letStand(met, firstH)
}

// letStand says until when what has just begun goes on. Where it began alone
// that is until the twin sees somebody come, which a silent alarm delays; where
// something was under way already, at the latest until somebody comes for that,
// for who comes mends everything.
func (l *life) letStand(met meeting, firstH float64) {
	w := l.sim.w
	comesH := math.Inf(1)
	for _, p := range l.presents {
		if w.stands[p.fault].shows() && p.sinceH < l.nowH {
			comesH = min(comesH, p.untilH)
		}
	}
	for i := range l.presents {
		p := &l.presents[i]
		stands := w.stands[p.fault]
		if stands.hidden || p.sinceH < l.nowH {
			continue
		}
		p.untilH = l.nowH + stands.briefH
		if firstH == l.nowH && w.rows[p.fault].waits != passes && !met.quiet && met.found != plant.NotReached {
			p.untilH = l.nowH + met.found.Hours()
		}
		if stands.shows() {
			p.untilH = min(p.untilH, comesH)
		}
	}
}
