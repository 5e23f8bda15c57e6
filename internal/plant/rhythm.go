package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// A healthy system fills, rests and fills again thousands of times a year, each
// cycle all but the same as the last. rhythm notices when two cycles in a row
// were alike and lets the next ones pass at once: every mass changes by so many
// times what it changed in the last cycle, and the guard's account with it.
//
// It stops short of anything that would break the rhythm: the calendar, the
// reservoir's end, a full cup, a spent budget, the border of a harm class. How
// far it may go is measured, not assumed: the difference between the last two
// cycles is how fast the cycle itself changes, and the jump is kept so short
// that this change, summed over it, stays below tolerance.
type rhythm struct {
	beats int // cycles seen since the rhythm last broke: 0, 1, 2
	last  beat
	cycle beat // what the last cycle changed
	// The last fill began at this alkalinity, and since then each began within
	// steadyDKH of the one before. A jump would pass over the worst of a day that
	// began with anything else.
	dkh         float64
	steadySince time.Duration
}

// beat is what a cycle changes, at the start of a fill.
type beat struct {
	at                               time.Duration
	display, chamber, reservoir, cup parcel
	topOffM3, evaporatedM3           float64
	in, out                          parcel
	owed                             time.Duration
	animals                          water
}

const (
	// jumpTolerance is the share of the system's water, of its salt and of its
	// alkalinity that a jump may be off by, and jumpTimeTolerance the time.
	jumpTolerance     = 3e-6
	jumpTimeTolerance = 10 * time.Second
	// jumpDKH is how far a jump may carry alkalinity, so that no border of the
	// harm classes in alkalinity or pH is passed by more.
	jumpDKH = 0.02
	// shortestJump: fewer cycles than this are not worth it.
	shortestJump = 3
	// steadyDKH is what alkalinity may differ by from fill to fill.
	steadyDKH = 0.02
	// jumpMargin is how many cycles are left to go through one by one before
	// anything that would break the rhythm.
	jumpMargin = 2
)

func (r *run) beat() beat {
	o := &r.out
	return beat{
		at: r.now, display: r.display, chamber: r.chamber, reservoir: r.reservoir, cup: r.cup,
		topOffM3: o.TopOffM3, evaporatedM3: o.EvaporatedM3, in: o.Books.in, out: o.Books.out,
		owed: r.guardState.Owed, animals: r.animals(),
	}
}

func (p parcel) minus(q parcel) parcel {
	return parcel{p.waterKg - q.waterKg, p.saltKg - q.saltKg, p.alkMol - q.alkMol}
}
func (p parcel) times(n float64) parcel { return parcel{p.waterKg * n, p.saltKg * n, p.alkMol * n} }

func (b *beat) minus(c *beat) beat {
	return beat{
		at: b.at - c.at, display: b.display.minus(c.display), chamber: b.chamber.minus(c.chamber),
		reservoir: b.reservoir.minus(c.reservoir), cup: b.cup.minus(c.cup),
		topOffM3: b.topOffM3 - c.topOffM3, evaporatedM3: b.evaporatedM3 - c.evaporatedM3,
		in: b.in.minus(c.in), out: b.out.minus(c.out), owed: b.owed - c.owed, animals: b.animals.minus(c.animals),
	}
}

// keepTime is called at the start of a fill, with the masses brought up to now.
// It may carry the run forward by whole cycles.
func (r *run) keepTime() {
	rh := &r.rhythm
	now := r.beat()
	if math.Abs(now.animals.dkh-rh.dkh) > steadyDKH {
		rh.steadySince = r.now
	}
	rh.dkh = now.animals.dkh
	if rh.beats == 0 || !r.rhythmic() {
		rh.beats, rh.last = 1, now
		r.signature = r.sign()
		return
	}
	cycle := now.minus(&rh.last)
	if rh.beats < 2 || r.sign() != r.signature {
		rh.beats, rh.last, rh.cycle = 2, now, cycle
		if r.sign() != r.signature {
			rh.beats, r.signature = 1, r.sign()
		}
		return
	}
	n := r.jump(&cycle)
	rh.last, rh.cycle = now, cycle
	if n < shortestJump {
		return
	}
	r.skip(&cycle, float64(n))
	rh.beats, rh.dkh = 0, r.animals().dkh
}

// rhythmic says whether nothing but the cycle itself is going on.
func (r *run) rhythmic() bool {
	return hasReservoir(r.tw.tank) && !hasRefill(r.tw.tank) && !r.tw.tank.TopOff.LevelGauge &&
		(r.mode == pinned || !r.tw.tank.HasSump()) && r.watch.flipAt == never && r.ceiling.flipAt == never &&
		r.cond.Controller != Rebooting && r.now-r.rhythm.steadySince >= day
}

// signature is what must be the same from beat to beat.
type signature struct {
	state              guard.State
	floorM3            float64
	alarms             guard.Alarms
	pumpDry, returnDry time.Duration
	found              Finder
	cupFull            bool
	since              time.Duration
}

func (r *run) sign() signature {
	st := r.guardState
	st.Last, st.Owed = 0, 0
	return signature{
		state: st, floorM3: r.wetM3, alarms: r.guardOut.Alarms, since: r.since,
		pumpDry: r.out.PumpDry, returnDry: r.out.ReturnDry, found: r.result.FoundBy,
		cupFull: r.segment.governors.cupFull,
	}
}

// jump is how many cycles may pass at once.
func (r *run) jump(cycle *beat) int {
	tw, f := r.tw, r.tw.fluid
	most := math.Inf(1)
	// room for so much, at so much a cycle, with the margin left over.
	bound := func(room, perCycle float64) {
		if perCycle > 0 {
			most = min(most, room/perCycle-jumpMargin)
		}
	}
	bound(float64(r.nextCalendarEvent()-r.now), float64(cycle.at))
	bound(r.reservoirM3-max(tw.reservoirIntakeM3, tw.reservoirLowM3), -f.volumeM3(cycle.reservoir))
	if s := tw.tank.Skimmer; s != nil {
		bound(s.CupM3-r.cupM3, f.volumeM3(cycle.cup))
	}
	bound(float64(guard.Day-r.guardState.Owed)-float64(cycle.at), float64(cycle.owed))
	off := r.animals().psu - tw.target.psu
	for _, limit := range tw.tank.Limits.SalinityOffPSU {
		if limit > math.Abs(off) {
			bound(limit-math.Abs(off), math.Abs(cycle.animals.psu))
			break
		}
	}
	if moves := math.Abs(cycle.animals.dkh); moves > 0 {
		most = min(most, jumpDKH/moves)
	}
	// The cycle's own change, summed over n cycles, is n^2/2 of it.
	change := cycle.minus(&r.rhythm.cycle)
	drift := func(tolerance, change float64) {
		if change != 0 {
			most = min(most, math.Sqrt(2*tolerance/math.Abs(change)))
		}
	}
	all := r.display
	all.add(r.chamber)
	for _, c := range []parcel{change.display, change.chamber, change.reservoir} {
		drift(jumpTolerance*all.waterKg, c.waterKg)
		drift(jumpTolerance*all.saltKg, c.saltKg)
		drift(jumpTolerance*all.alkMol, c.alkMol)
	}
	drift(float64(jumpTimeTolerance), float64(change.at))
	if !(most > 0) {
		return 0
	}
	return int(min(most, math.MaxInt32))
}

// skip carries the run forward by n cycles.
func (r *run) skip(cycle *beat, n float64) {
	o := &r.out
	r.display.add(cycle.display.times(n))
	r.chamber.add(cycle.chamber.times(n))
	r.reservoir.add(cycle.reservoir.times(n))
	r.cup.add(cycle.cup.times(n))
	o.TopOffM3 += n * cycle.topOffM3
	o.EvaporatedM3 += n * cycle.evaporatedM3
	o.Books.in.add(cycle.in.times(n))
	o.Books.out.add(cycle.out.times(n))
	by := time.Duration(n) * cycle.at
	r.now += by
	r.guardState.Last += by
	r.guardState.Owed = max(r.guardState.Owed+time.Duration(n)*cycle.owed, 0)
	if r.guardDue != guard.Never {
		r.guardDue += by
	}
	r.suppliedSince += by
	r.segment.since = r.now
	r.measure()
}
