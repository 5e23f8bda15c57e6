package guard_test

import (
	"time"

	"isohaline/internal/guard"
)

// witness watches a guard from outside and keeps its own account, so that an
// invariant need not believe the guard's. Its ages are -1 while what they count
// is not so.
type witness struct {
	on, latched bool
	held, shut  bool          // shut: a hold that does not expire
	measure     time.Duration // what was asked for, in a fill by measure; 0: to the watch
	given       time.Duration // by measure, since a fill began that the watch asked for
	silenced    guard.Alarms
	ran         time.Duration // pump-on time in this fill
	heldFor     time.Duration // since the last hold was asked for
	dryFor      time.Duration // the watch has read dry
	wetFor      time.Duration // the watch has read wet
	ceilingFor  time.Duration // the ceiling has read wet
	quietFor    time.Duration // pump off and nothing forbidding a fill
	steadyFor   time.Duration // power on and return pump running, as far as known
	learned     time.Duration // the first fill that the watch ended
	stalls      int           // steps without time in this fill
}

const notSo = -1

func newWitness() witness {
	return witness{heldFor: notSo, dryFor: notSo, wetFor: notSo, ceilingFor: notSo, quietFor: notSo, steadyFor: notSo}
}

// afterBoot keeps what must survive a power cut. Nobody knows when a fill that
// it cut off ended: not before its measure.
func (w witness) afterBoot(s *guard.Settings) witness {
	next := newWitness()
	next.latched, next.held, next.shut, next.learned = w.latched, w.held, w.shut, w.learned
	next.given = w.given
	if w.on && w.measure > 0 {
		next.given = min(w.given+max(w.measure, w.ran), s.GiveMost)
	}
	if next.held {
		next.heldFor = 0
	}
	return next
}

// grow continues an age.
func grow(age time.Duration, so bool, elapsed, enough time.Duration) time.Duration {
	switch {
	case !so:
		return notSo
	case age == notSo:
		return 0
	}
	return min(age+elapsed, enough)
}

// see accounts for one step of the guard; broken says that its clock was at
// fault.
func (w witness) see(k *kit, in guard.Inputs, elapsed time.Duration, phase guard.Phase, out guard.Outputs) (next witness, broken bool) {
	s := &k.settings
	if w.on && elapsed == 0 {
		w.stalls++
	} else {
		w.stalls = 0
	}
	broken = elapsed < 0 || w.stalls >= s.StallCalls
	if broken {
		w, elapsed = w.afterBoot(s), 0
	}

	w.heldFor = grow(w.heldFor, w.held, elapsed, s.HoldExpires)
	if s.HoldExpires > 0 && w.heldFor == s.HoldExpires && !w.shut {
		w.held = false
	}
	switch in.Request {
	case guard.Hold:
		w.held, w.heldFor = true, 0
	case guard.ShutValve:
		w.held, w.shut = true, true
	case guard.Resume:
		w.held, w.shut = false, false
	case guard.Silence:
		w.silenced = out.Alarms
	}
	w.silenced &= out.Alarms
	if !w.held || w.shut {
		w.heldFor = notSo
	}
	w.latched = phase == guard.Latched

	w.dryFor = grow(w.dryFor, in.Watch == guard.Dry, elapsed, s.ConfirmDry)
	w.wetFor = grow(w.wetFor, in.Watch == guard.Wet, elapsed, max(s.ConfirmWet, s.WetTooLong))
	w.ceilingFor = grow(w.ceilingFor, s.CeilingFitted && in.Ceiling == guard.Wet, elapsed, s.CeilingConfirm)
	w.steadyFor = grow(w.steadyFor, !s.ReturnFitted || in.ReturnPump == guard.Wet, elapsed, s.RestartSettle)

	wasOn := w.on
	if wasOn {
		w.ran = min(w.ran+elapsed, s.HardCap+q)
		w.quietFor = notSo
		byWatch := w.measure == 0 && phase != guard.Held && !w.latched && !w.held && forbidden(s, in) == "" && w.wetFor >= s.ConfirmWet
		if !out.Pump && byWatch && w.learned == 0 {
			w.learned = w.ran
		}
	}
	quiet := !w.latched && !w.held && forbidden(s, in) == ""
	w.quietFor = grow(w.quietFor, quiet, elapsed, s.MinOff+s.ConfirmDry)
	if wasOn && !out.Pump && w.measure > 0 {
		w.given = min(w.given+w.ran, s.GiveMost)
	}
	w.on = out.Pump
	switch {
	case !w.on:
		w.measure = 0
	case !wasOn && in.Request == guard.Give && out.Refused == guard.NoReason:
		w.measure = in.GiveFor
	case !wasOn:
		w.measure, w.given = 0, 0
	}
	if !w.on || !wasOn {
		w.ran = 0
	}
	if !w.on {
		w.stalls = 0
	}
	return w, broken
}

// forbidden says which reading in itself forbids a fill, "" if none.
func forbidden(s *guard.Settings, in guard.Inputs) string {
	switch {
	case in.Watch != guard.Dry && in.Watch != guard.Wet:
		return "watch"
	case s.CeilingFitted && in.Ceiling != guard.Dry:
		return "ceiling"
	case s.FloorFitted && in.Floor != guard.Dry:
		return "floor"
	case s.ReservoirLowFitted && in.ReservoirLow != guard.Wet:
		return "reservoir"
	case s.ReturnFitted && in.ReturnPump != guard.Wet:
		return "return pump"
	case s.LevelFitted && in.LevelMM != in.LevelMM:
		return "level"
	}
	return ""
}

// fault says whether an input is unreadable.
func fault(s *guard.Settings, in guard.Inputs) bool {
	bad := func(fitted bool, c guard.Contact) bool { return fitted && c != guard.Dry && c != guard.Wet }
	return bad(true, in.Watch) || bad(s.CeilingFitted, in.Ceiling) || bad(s.FloorFitted, in.Floor) ||
		bad(s.ReservoirLowFitted, in.ReservoirLow) || bad(s.ReturnFitted, in.ReturnPump) ||
		s.LevelFitted && in.LevelMM != in.LevelMM
}

// limit is the run limit as the documents state it.
func limit(s *guard.Settings, learned time.Duration) time.Duration {
	if learned == 0 {
		return min(s.FirstFillLimit, s.HardCap)
	}
	return min(max(time.Duration(float64(learned)*s.RunLimitFactor), s.RunLimitFloor), s.HardCap)
}
