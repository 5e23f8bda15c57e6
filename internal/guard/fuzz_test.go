package guard_test

import (
	"math"
	"testing"
	"time"

	"isohaline/internal/guard"
)

// fuzzElapsed are the movements of the clock that one byte picks: either side
// of the typical settings, and far beyond.
var fuzzElapsed = []time.Duration{
	-1, 0, 1, time.Millisecond, 500*time.Millisecond - 1, 500 * time.Millisecond,
	5*time.Second - 1, 5 * time.Second, 10*time.Second - 1, 10 * time.Second, 20 * time.Second,
	30*time.Second - 1, 30 * time.Second, time.Minute, 2*time.Minute - 1, 2 * time.Minute,
	5*time.Minute - 1, 5 * time.Minute, 10*time.Minute - 1, 10 * time.Minute,
	time.Hour, 12 * time.Hour, 48 * time.Hour, 1000 * time.Hour, -1000 * time.Hour,
}

// FuzzStep: a guard with everything fitted and typical settings, booted from
// whatever was saved and stepped through whatever happens, keeps every
// invariant that the exploration proves for small settings.
func FuzzStep(f *testing.F) {
	calm := []byte{1, 0, 1, 0, 19, 0, 1, 0, 9, 0, 1, 0} // settles and pauses, confirms: fills
	f.Add(uint8(0), uint8(0), uint32(0), int64(0), calm)
	f.Add(uint8(0), uint8(0), uint32(0), int64(0), append(calm[:12:12], 10, 0, 6, 0, 5, 0, 6, 0, 9, 1, 2, 0))
	f.Add(uint8(9), uint8(3), uint32(40_000), int64(guard.Day), calm)
	f.Add(uint8(guard.Filling), uint8(255), uint32(1), int64(math.MinInt64), []byte{0, 255, 255, 255})

	k := &kit{settings: guard.Typical()}
	s := &k.settings
	s.CeilingFitted, s.FloorFitted, s.ReservoirLowFitted, s.ReturnFitted, s.LevelFitted = true, true, true, true, true
	s.GiveMost = 30 * time.Second

	f.Fuzz(func(t *testing.T, phase, flags uint8, learnedMS uint32, owed int64, steps []byte) {
		saved := guard.State{
			Phase:   guard.Phase(phase),
			Last:    time.Duration(owed),
			For:     -time.Duration(owed),
			Learned: time.Duration(learnedMS) * time.Millisecond,
			Owed:    time.Duration(owed),
			OnHold:  flags&1 != 0,
			Shut:    flags&8 != 0,
			Measure: time.Duration(flags>>4) * time.Second,
			Above:   time.Duration(learnedMS) * time.Microsecond,
			Spent:   flags&2 != 0,
		}
		if flags&4 != 0 {
			saved.Latch = guard.RunLimit
		}
		w := newWitness()
		w.latched, w.held, w.learned = saved.Latch != guard.NoReason, saved.OnHold || saved.Shut, saved.Learned
		w.shut, w.given = saved.Shut, min(saved.Above, s.GiveMost)
		if saved.Phase == guard.Filling && saved.Measure > 0 {
			w.on, w.measure = true, saved.Measure
		}
		from := node{guard.Boot(s, saved, 0), w.afterBoot(s)}
		steps = steps[:min(len(steps), 1<<10)]
		var path []move
		for ; len(steps) >= 4; steps = steps[4:] {
			pick := func(n byte, usual guard.Contact) guard.Contact { // 0: nothing to worry about
				return (usual + guard.Contact(n)) % 4
			}
			a, b := steps[1], steps[2]
			in := guard.Inputs{
				Watch:   pick(b&3, guard.Absent), // 1 dry, 2 wet, 3 faulty
				Ceiling: pick(a&3, guard.Dry), Floor: pick(a>>2&3, guard.Dry),
				ReservoirLow: pick(a>>4&3, guard.Wet), ReturnPump: pick(a>>6&3, guard.Wet),
				LevelMM: [...]float64{100, 102, 104, math.NaN()}[b>>2&3],
				Request: guard.Request(steps[3] & 7), Remote: steps[3]&8 != 0,
				GiveFor: time.Duration(steps[3]>>4) * 2 * time.Second,
			}
			var m move
			m.take(genuine, k, &from, in, fuzzElapsed[int(steps[0])%len(fuzzElapsed)])
			path = append(path, m)
			broken := check(invariants, atMove, &m, genuine)
			if broken == nil && len(steps) < 8 { // once per input: it is the slow one
				broken = check(invariants, atState, &m, genuine)
			}
			if broken != nil {
				broken.path = path
				t.Fatal(broken)
			}
			from = m.to
		}
	})
}
